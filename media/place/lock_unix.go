//go:build unix

package place

import (
	"errors"
	"os"

	"golang.org/x/sys/unix"
)

// Lock marks a file or folder as being written for as long as it is open; it
// fails where another run holds it.
func Lock(f *os.File) error {
	err := unix.Flock(int(f.Fd()), unix.LOCK_EX|unix.LOCK_NB)
	if errors.Is(err, unix.ENOLCK) || errors.Is(err, unix.EOPNOTSUPP) {
		return nil // a file system without locks: the random name must do
	}
	return err
}

// SyncFolder makes a renaming in a folder last.
func SyncFolder(path string) error {
	folder, err := os.Open(path)
	if err != nil {
		return err
	}
	err = folder.Sync()
	if errors.Is(err, unix.EINVAL) {
		err = nil // some file systems have nothing to sync in a folder
	}
	return errors.Join(err, folder.Close())
}
