package drive

import (
	"errors"
	"fmt"
	"io"
	"sync"
	"sync/atomic"
)

// rawFile is an open drive on Windows and macOS: every read and write goes past the
// system's cache, in whole sectors.
type rawFile interface {
	io.ReaderAt
	io.WriterAt
	io.Closer
	Flush() error         // the drive empties its own write cache
	Size() (int64, error) // as it is now, in bytes
}

// raw is a raw drive as a medium.
type raw struct {
	path          string
	bytes, sector int64
	writing       bool
	file          rawFile
	on            system
	partial       sync.Mutex
	closed        atomic.Bool
}

// newRaw makes a medium of an open drive of that size and sector.
func newRaw(on system, path string, f rawFile, bytes int64, sector int, writing bool) (*raw, error) {
	doing := "opening drive " + path
	switch {
	case bytes == 0:
		return nil, faultNamedOn(on, ErrNoCard, drive, doing, nil)
	case sector < sectorSize || int64(sector) > maxAlign || sector&(sector-1) != 0:
		return nil, fmt.Errorf("%s: its sectors have %d bytes, expected a power of two from %d to %d", doing, sector, sectorSize, maxAlign)
	}
	return &raw{path: path, bytes: bytes - bytes%int64(sector), sector: int64(sector), writing: writing, file: f, on: on}, nil
}

// Bytes is the measured capacity, a whole number of 512-byte sectors.
func (r *raw) Bytes() int64 { return r.bytes }

// Path is where the drive was opened, as it was named.
func (r *raw) Path() string { return r.path }

// SectorBytes is the drive's logical sector, 512 on nearly every card.
func (r *raw) SectorBytes() int { return int(r.sector) }

// FromMedium is true: reads of a raw drive come from the medium.
func (r *raw) FromMedium() bool { return true }

// HowRead says in a few words where reads come from, for a report.
func (r *raw) HowRead() string { return "read past the system's cache" }

// Forget drops no cache: raw reads have none.
func (r *raw) Forget() error { return nil }

// ReadAt reads from the medium, at any offset and length. Reading past the end
// gives io.EOF; every other error is one of this package's, wrapped.
func (r *raw) ReadAt(p []byte, off int64) (int, error) {
	if off < 0 {
		return 0, fmt.Errorf("reading %s at byte %d: the offset is negative", r.path, off)
	}
	if off >= r.bytes {
		return 0, io.EOF
	}
	whole := int64(len(p)) <= r.bytes-off
	if !whole {
		p = p[:r.bytes-off]
	}
	n, err := r.aligned().readAt(p, off)
	if err != nil {
		if errors.Is(err, io.EOF) {
			err = io.ErrUnexpectedEOF
		}
		return n, r.fault(fmt.Sprintf("reading %s at byte %d", r.path, off+int64(n)), err)
	}
	if !whole {
		return n, io.EOF
	}
	return n, nil
}

// WriteAt writes to a drive that was opened for writing, at any offset within
// its Bytes. Nothing is on the medium for certain before Sync.
func (r *raw) WriteAt(p []byte, off int64) (int, error) {
	doing := fmt.Sprintf("writing %s at byte %d", r.path, off)
	switch {
	case !r.writing:
		return 0, fmt.Errorf("%s: %w", doing, ErrReadOnly)
	case off < 0 || off > r.bytes || int64(len(p)) > r.bytes-off:
		return 0, fmt.Errorf("%s: %w: %d bytes from there would end past its %d", doing, ErrOutside, len(p), r.bytes)
	}
	n, err := r.aligned().writeAt(p, off)
	if err != nil {
		return n, r.fault(fmt.Sprintf("writing %s at byte %d", r.path, off+int64(n)), err)
	}
	return n, nil
}

// Sync returns when every byte written so far is on the medium.
func (r *raw) Sync() error {
	if !r.writing {
		return nil
	}
	if err := r.file.Flush(); err != nil {
		return r.fault("syncing "+r.path, err)
	}
	return nil
}

// Gone is an error where the card has been pulled out since it was opened.
func (r *raw) Gone() error {
	size, err := r.file.Size()
	if err == nil && size > 0 {
		return nil
	}
	name := r.on.nameOf(bareError(err))
	if err == nil || name == ErrNoCard || name == ErrNoAnswer || name == ErrMissing {
		return faultNamedOn(r.on, ErrGone, drive, "writing "+r.path, err)
	}
	return nil // it can't be asked, which says nothing
}

// fault names an error of the system in words, and adds what to do. A drive whose
// card was pulled out can answer with any of several errors.
func (r *raw) fault(doing string, err error) error {
	if r.Gone() != nil {
		return faultNamedOn(r.on, ErrGone, drive, doing, err)
	}
	return faultOn(r.on, drive, doing, err)
}

func (r *raw) aligned() aligned {
	return aligned{file: r.file, sector: r.sector, align: r.sector, partial: &r.partial}
}

// closeFile gives the drive back to the system, once.
func (r *raw) closeFile() error {
	if r.closed.Swap(true) {
		return nil
	}
	if err := r.file.Close(); err != nil {
		return faultOn(r.on, drive, "closing "+r.path, err)
	}
	return nil
}
