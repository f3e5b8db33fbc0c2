//go:build unix

package intake

import (
	"errors"
	"io"
	"os"

	"golang.org/x/sys/unix"
)

// lockFolder locks a folder; where another program holds it, it waits, or else
// returns nil. Closing what it returns gives the folder up. A file system without
// locks lets everybody in.
func lockFolder(f *os.File, wait bool) io.Closer {
	how := unix.LOCK_EX | unix.LOCK_NB
	if wait {
		how = unix.LOCK_EX
	}
	for {
		switch err := unix.Flock(int(f.Fd()), how); {
		case errors.Is(err, unix.EINTR):
		case errors.Is(err, unix.EWOULDBLOCK):
			return nil
		default:
			return f
		}
	}
}
