package drive

import (
	"os"

	"golang.org/x/sys/unix"
)

var systemErrors = darwinErrors

// openDirect leaves the reads of files to the cache: F_NOCACHE is a wish, and
// what the cache holds already is read from there. Drives are read raw.
func (s *store) openDirect() {}

// gone is for drives, which are opened otherwise here.
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
