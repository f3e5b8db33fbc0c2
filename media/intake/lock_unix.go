//go:build unix

package intake

import (
	"errors"
	"os"

	"golang.org/x/sys/unix"
)

// lockFolder waits until no other program holds a folder, or only tries; false
// where one does. A file system without locks lets everybody.
func lockFolder(f *os.File, wait bool) bool {
	how := unix.LOCK_EX | unix.LOCK_NB
	if wait {
		how = unix.LOCK_EX
	}
	for {
		switch err := unix.Flock(int(f.Fd()), how); {
		case errors.Is(err, unix.EINTR):
		default:
			return !errors.Is(err, unix.EWOULDBLOCK)
		}
	}
}
