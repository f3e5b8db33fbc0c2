//go:build unix

package store

import (
	"errors"
	"fmt"
	"io/fs"
	"syscall"
)

// fileID distinguishes a file from another of the same name.
func fileID(info fs.FileInfo) string {
	if s, ok := info.Sys().(*syscall.Stat_t); ok {
		return fmt.Sprint(s.Dev, ":", s.Ino)
	}
	return ""
}

func explainFile(err error) error {
	switch {
	case errors.Is(err, syscall.ENOSPC), errors.Is(err, syscall.EDQUOT):
		return fmt.Errorf("%w (%w)", ErrFull, err)
	case errors.Is(err, syscall.EROFS):
		return fmt.Errorf("%w (%w)", ErrReadOnly, err)
	}
	return err
}
