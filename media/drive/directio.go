package drive

import (
	"io"
	"sync"
	"unsafe"
)

// bounceBytes is the most that is copied through an aligned buffer at a time.
const bounceBytes = 1 << 20

// maxAlign is the largest alignment that is met; a system that asks for more is
// read through its cache.
const maxAlign = 64 << 10

var bounces = sync.Pool{New: func() any {
	raw := make([]byte, bounceBytes+maxAlign)
	skip := -addressOf(raw) & (maxAlign - 1)
	b := raw[skip : skip+bounceBytes : skip+bounceBytes]
	return &b
}}

func addressOf(p []byte) int64 { return int64(uintptr(unsafe.Pointer(unsafe.SliceData(p)))) }

// aligned reads and writes a file that takes only whole, aligned sectors, at any
// offset and length.
type aligned struct {
	file interface {
		io.ReaderAt
		io.WriterAt
	}
	sector  int64       // the unit of writes
	align   int64       // of offsets and memory for reads
	partial *sync.Mutex // one change of a part of a sector at a time
}

func (s *store) past() aligned { return aligned{s.direct, s.sector, s.align, &s.partial} }

// readAt fills p from off; all of it is within the medium. The aligned part is read
// into p itself, the rest through an aligned buffer.
func (a aligned) readAt(p []byte, off int64) (int, error) {
	for n := 0; n < len(p); {
		got, err := a.readPart(p[n:], off+int64(n))
		n += got
		if err != nil {
			return n, err
		}
	}
	return len(p), nil
}

func (a aligned) readPart(p []byte, off int64) (int, error) {
	if whole := int64(len(p)) &^ (a.align - 1); whole > 0 && (off|addressOf(p))&(a.align-1) == 0 {
		return readFull(a.file, p[:whole], off)
	}
	bounce := bounces.Get().(*[]byte)
	defer bounces.Put(bounce)
	start := off &^ (a.align - 1)
	skip := int(off - start)
	want := min(len(p), bounceBytes-skip)
	rounded := (skip + want + int(a.align) - 1) &^ (int(a.align) - 1)
	got, err := readAtLeast(a.file, (*bounce)[:rounded], start, skip+want)
	return copy(p[:want], (*bounce)[min(skip, got):got]), err
}

func readFull(f io.ReaderAt, p []byte, off int64) (int, error) {
	return readAtLeast(f, p, off, len(p))
}

// readAtLeast allows for a medium that ends within the last aligned block.
func readAtLeast(f io.ReaderAt, p []byte, off int64, least int) (int, error) {
	n, err := f.ReadAt(p, off)
	if n >= least {
		return n, nil
	}
	return n, err
}

// writeAt writes p at off past the cache. Where a part of a sector is written, the
// rest of it is read first.
func (a aligned) writeAt(p []byte, off int64) (int, error) {
	for n := 0; n < len(p); {
		put, err := a.writePart(p[n:], off+int64(n))
		n += put
		if err != nil {
			return n, err
		}
	}
	return len(p), nil
}

func (a aligned) writePart(p []byte, off int64) (int, error) {
	whole := int64(len(p)) &^ (a.sector - 1)
	switch {
	case off&(a.sector-1) != 0 || whole == 0:
		return a.writePartSector(p, off)
	case addressOf(p)&(a.align-1) == 0:
		return a.file.WriteAt(p[:whole], off)
	}
	bounce := bounces.Get().(*[]byte)
	defer bounces.Put(bounce)
	n := copy((*bounce)[:min(whole, bounceBytes)], p)
	return a.file.WriteAt((*bounce)[:n], off)
}

func (a aligned) writePartSector(p []byte, off int64) (int, error) {
	a.partial.Lock()
	defer a.partial.Unlock()
	bounce := bounces.Get().(*[]byte)
	defer bounces.Put(bounce)
	sector := (*bounce)[:a.sector]
	start := off &^ (a.sector - 1)
	if _, err := readFull(a.file, sector, start); err != nil {
		return 0, err
	}
	n := copy(sector[off-start:], p)
	if _, err := a.file.WriteAt(sector, start); err != nil {
		return 0, err
	}
	return n, nil
}
