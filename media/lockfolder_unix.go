//go:build unix

package media

import (
	"errors"
	"io"
	"os"

	"golang.org/x/sys/unix"
)

// lockFolder marks a folder as being written until what it gives is closed; it
// fails where another run holds it.
func lockFolder(f *os.File) (io.Closer, error) {
	err := unix.Flock(int(f.Fd()), unix.LOCK_EX|unix.LOCK_NB)
	if errors.Is(err, unix.EWOULDBLOCK) {
		return nil, err
	}
	return f, nil // held, or a file system without locks
}
