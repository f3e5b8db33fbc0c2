//go:build unix

package store

import (
	"errors"
	"fmt"
	"syscall"
)

func explainFile(err error) error {
	switch {
	case errors.Is(err, syscall.ENOSPC), errors.Is(err, syscall.EDQUOT):
		return fmt.Errorf("%w (%w)", ErrFull, err)
	case errors.Is(err, syscall.EROFS):
		return fmt.Errorf("%w (%w)", ErrReadOnly, err)
	}
	return err
}
