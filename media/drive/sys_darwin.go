package drive

import (
	"os"

	"golang.org/x/sys/unix"
)

var systemErrors = []systemError{
	{unix.EROFS, ErrLocked},
	{unix.EBUSY, ErrBusy},
	{unix.EWOULDBLOCK, ErrBusy}, // a lock that another run holds
	{unix.ENOSPC, ErrFull},
	{unix.EDQUOT, ErrFull},
	{unix.EFBIG, ErrTooLong},
	{unix.EIO, ErrNoAnswer},
	{unix.ENODEV, ErrNoAnswer},
	{unix.ENXIO, ErrNoAnswer},
}

// openDirect leaves reads to the cache: F_NOCACHE is taken for a wish only, so
// that nothing is proven on macOS.
func (s *store) openDirect() {}

func (s *store) forget() error {
	if s.writing {
		if err := s.plain.Sync(); err != nil {
			return err
		}
	}
	_, err := unix.FcntlInt(s.plain.Fd(), unix.F_NOCACHE, 1)
	return err
}

func startWriteOut(*os.File) error { return nil }
