// Package drive opens what a card's bytes live on: the block device of a card
// in a reader (Drive), or an image file (Image). Both are media.Medium.
//
// Reads go past the system's cache where it allows that; FromMedium and HowRead
// say whether they do. No program reaches past a cache inside the card: only taking
// the card out and putting it in again does. Which drive is a card, and whether it
// may be erased, is package readers'.
package drive

import (
	"errors"
	"fmt"
	"io"
	"os"
	"sync"
	"sync/atomic"
)

// Reads, and writes to a drive, go past the operating system's cache (O_DIRECT)
// wherever it allows that. Sync returns when the kernel has written everything and
// the drive has been told to empty its write cache.
//
// A loop drive's medium is its backing file. Reads go past the loop drive's cache;
// Forget also asks the system to drop the backing file's, if that file is found.
//
// An image on a file system in memory (tmpfs) has no medium beneath its pages, so
// reads can't differ from it. Of network and user-space file systems nothing can be
// proven from here.

// sectorSize is the unit in which cards are addressed, in bytes.
const sectorSize = 512

// store is the opened bytes beneath a Drive or an Image.
type store struct {
	path    string
	kind    kind
	bytes   int64
	sector  int64 // the unit of direct writes
	align   int64 // of offsets and memory for direct reads
	writing bool

	plain  *os.File // holds the target; goes through the system's cache
	direct *os.File // goes past it; nil where the system refuses

	proof    atomic.Int32 // a proof
	partial  sync.Mutex   // one change of a part of a sector at a time
	unpushed atomic.Int64 // bytes written to the cache since the last write-out was started
	touched  atomic.Bool  // something was written, or tried to be
}

// proof is how reads are known to come from the medium, if they are.
type proof = int32

const (
	unproven proof = iota
	pastCache
	cacheDropped
	inMemory
)

// Bytes is the measured capacity, a whole number of 512-byte sectors.
func (s *store) Bytes() int64 { return s.bytes }

// Path is where the drive or image was opened, as it was named.
func (s *store) Path() string { return s.path }

// FromMedium reports whether reads are known to come from the medium. Where the
// system allows no reads past its cache, that is so only once Forget has seen the
// cache empty.
func (s *store) FromMedium() bool { return s.proof.Load() != unproven }

// HowRead says in a few words where reads come from, for a report.
func (s *store) HowRead() string {
	switch s.proof.Load() {
	case pastCache:
		return "read past the system's cache"
	case cacheDropped:
		return "read after the system's cache was emptied"
	case inMemory:
		return "read from memory, where this file system keeps its files"
	}
	return "perhaps read from a cache: this system or file system allows no reads past it"
}

// ReadAt reads from the medium, at any offset and length. Reading past the end
// gives io.EOF; every other error is one of this package's, wrapped.
func (s *store) ReadAt(p []byte, off int64) (int, error) {
	if off < 0 {
		return 0, fmt.Errorf("reading %s at byte %d: the offset is negative", s.path, off)
	}
	if off >= s.bytes {
		return 0, io.EOF
	}
	whole := int64(len(p)) <= s.bytes-off
	if !whole {
		p = p[:s.bytes-off]
	}
	n, err := s.read(p, off)
	if err != nil {
		return n, s.readFault(off+int64(n), err)
	}
	if !whole {
		return n, io.EOF
	}
	return n, nil
}

func (s *store) read(p []byte, off int64) (int, error) {
	if s.direct != nil {
		return s.past().readAt(p, off)
	}
	return s.plain.ReadAt(p, off)
}

// readFault tells an early end from other faults.
func (s *store) readFault(off int64, err error) error {
	if errors.Is(err, io.EOF) {
		err = io.ErrUnexpectedEOF
	}
	return s.fault(fmt.Sprintf("reading %s at byte %d", s.path, off), err)
}

// WriteAt writes to a medium that was opened for writing, at any offset within
// its Bytes. Nothing is on the medium for certain before Sync.
func (s *store) WriteAt(p []byte, off int64) (int, error) {
	doing := fmt.Sprintf("writing %s at byte %d", s.path, off)
	switch {
	case !s.writing:
		return 0, fmt.Errorf("%s: %w", doing, ErrReadOnly)
	case off < 0 || off > s.bytes || int64(len(p)) > s.bytes-off:
		return 0, fmt.Errorf("%s: %w: %d bytes from there would end past its %d", doing, ErrOutside, len(p), s.bytes)
	}
	s.touched.Store(true)
	n, err := s.write(p, off)
	if err != nil {
		return n, s.fault(fmt.Sprintf("writing %s at byte %d", s.path, off+int64(n)), err)
	}
	return n, nil
}

func (s *store) write(p []byte, off int64) (int, error) {
	if s.kind == drive && s.direct != nil {
		return s.past().writeAt(p, off)
	}
	n, err := s.plain.WriteAt(p, off)
	if err != nil {
		return n, err
	}
	return n, s.push(int64(n))
}

// pushEvery is after how many bytes in the system's cache their writing is started.
// Otherwise the cache fills with gigabytes first, and the last Sync becomes a long
// silence.
const pushEvery = 32 << 20

func (s *store) push(n int64) error {
	if s.unpushed.Add(n) < pushEvery {
		return nil
	}
	s.unpushed.Store(0)
	return startWriteOut(s.plain)
}

// Sync returns when every byte written so far is on the medium.
func (s *store) Sync() error {
	if !s.writing {
		return nil
	}
	if err := s.plain.Sync(); err != nil {
		return s.fault("syncing "+s.path, err)
	}
	return nil
}

// Forget drops the system's caches of the medium. FromMedium then reports whether
// that is known to have worked.
func (s *store) Forget() error {
	if err := s.forget(); err != nil {
		return s.fault("dropping the cache of "+s.path, err)
	}
	return nil
}

// closeFiles gives the target back to the system.
func (s *store) closeFiles() error {
	var err error
	for _, f := range []*os.File{s.direct, s.plain} {
		if f == nil {
			continue
		}
		if closing := f.Close(); closing != nil && !errors.Is(closing, os.ErrClosed) {
			err = errors.Join(err, s.fault("closing "+s.path, closing))
		}
	}
	return err
}

// sizeOf is the number of bytes of an open file or block device.
func sizeOf(f *os.File) (int64, error) {
	return f.Seek(0, io.SeekEnd)
}
