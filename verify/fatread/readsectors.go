package fatread

import (
	"errors"
	"fmt"
	"io"
)

const (
	sectorBytes = 512
	pieceBytes  = 64 << 10 // one read of a FAT or a directory
	retries     = 64       // failed reads, after which a failed piece isn't tried sector by sector
)

var (
	errOutside = errors.New("past the end of the card")
	errGivenUp = errors.New("too many reads have failed: the drive isn't asked again")
)

// source is the only way to the card: it counts, bounds failures and makes
// every short read an error.
type source struct {
	r            io.ReaderAt
	size         int64
	asked        int64
	failed       int
	failuresLeft int
}

func (s *source) read(b []byte, off int64) error {
	if off < 0 || off > s.size-int64(len(b)) {
		return errOutside
	}
	if s.failuresLeft <= 0 {
		return errGivenUp
	}
	s.asked += int64(len(b))
	n, err := s.r.ReadAt(b, off)
	if n == len(b) && (err == nil || errors.Is(err, io.EOF)) {
		return nil
	}
	if err == nil || errors.Is(err, io.EOF) {
		err = fmt.Errorf("%w: %d of %d bytes", io.ErrUnexpectedEOF, n, len(b))
	}
	s.failed++
	s.failuresLeft--
	return err
}

// each hands fn the bytes from off in pieces of at most len(buf), in order,
// until fn has enough. A piece that can't be read comes sector by sector, so
// that a bad sector costs only itself.
func (s *source) each(off, n int64, buf []byte, fn func(off int64, b []byte, err error) bool) {
	for n > 0 {
		b := buf[:min(n, int64(len(buf)))]
		err := s.read(b, off)
		switch {
		case err == nil || len(b) <= sectorBytes || s.failed > retries:
			if !fn(off, b, err) {
				return
			}
		case !s.sectors(off, b, fn):
			return
		}
		off += int64(len(b))
		n -= int64(len(b))
	}
}

func (s *source) sectors(off int64, b []byte, fn func(off int64, b []byte, err error) bool) bool {
	for len(b) > 0 {
		one := b[:min(sectorBytes, len(b))]
		if !fn(off, one, s.read(one, off)) {
			return false
		}
		off += int64(len(one))
		b = b[len(one):]
	}
	return true
}

// head reads from off as far as there are sectors to read; those that fail
// are left zero and reported to bad.
func (s *source) head(off int64, n int, bad func(off, n int64, err error)) []byte {
	n = int(min(int64(n), s.size-off))
	if off < 0 || n <= 0 {
		return nil
	}
	b := make([]byte, n)
	s.each(off, int64(n), b, func(at int64, piece []byte, err error) bool {
		if err != nil {
			clear(piece)
			bad(at, int64(len(piece)), err)
		}
		return true
	})
	return b
}

// ReadError is an error of the drive while a file was read, or the card's digest
// was formed.
type ReadError struct {
	Path   string // "": of no file
	Offset int64  // bytes from the start of the card
	Err    error
}

func (e *ReadError) Error() string {
	return fmt.Sprintf("reading %q at byte %d of the card: %v", e.Path, e.Offset, e.Err)
}

func (e *ReadError) Unwrap() error { return e.Err }

func count(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return fmt.Sprintf("%d %ss", n, what)
}
