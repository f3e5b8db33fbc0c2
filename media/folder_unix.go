//go:build unix

package media

import (
	"errors"
	"os"

	"golang.org/x/sys/unix"
)

// syncFolder makes the names in a folder durable.
func syncFolder(f *os.File) error { return f.Sync() }

// lockFolder marks a folder as being written for as long as it is open; it
// fails where another run holds it.
func lockFolder(f *os.File) error {
	err := unix.Flock(int(f.Fd()), unix.LOCK_EX|unix.LOCK_NB)
	if errors.Is(err, unix.EWOULDBLOCK) {
		return err
	}
	return nil // held, or a file system without locks
}
