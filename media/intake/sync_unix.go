//go:build unix

package intake

import (
	"errors"
	"os"
)

// syncFolder makes a folder's names as lasting as its files.
func syncFolder(dir string) error {
	f, err := os.Open(dir)
	if err != nil {
		return err
	}
	return errors.Join(f.Sync(), f.Close())
}
