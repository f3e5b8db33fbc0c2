//go:build unix

package place

import (
	"errors"
	"io"
	"os"

	"golang.org/x/sys/unix"
)

// HoldFolder keeps other runs of this program out of a folder until what it returns
// is closed, which also closes the folder. Where another run holds it the error is
// ErrHeld. A file system without locks lets everybody in.
func HoldFolder(f *os.File) (io.Closer, error) {
	if err := unix.Flock(int(f.Fd()), unix.LOCK_EX|unix.LOCK_NB); errors.Is(err, unix.EWOULDBLOCK) {
		return nil, ErrHeld
	}
	return f, nil
}
