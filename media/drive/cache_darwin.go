package drive

import (
	"os"

	"golang.org/x/sys/unix"
)

var systemErrors = darwinErrors

// openDirect leaves files to the cache: F_NOCACHE is only a wish, and what the
// cache holds is still read from it. Drives are read raw.
func (s *store) openDirect() {}

// gone is about drives, which are opened in another way here.
func (s *store) gone() bool { return false }

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
