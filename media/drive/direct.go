package drive

import (
	"sync"
	"unsafe"
)

// bounceBytes is the most that is copied through an aligned buffer at a time.
const bounceBytes = 1 << 20

// maxAlign is the largest alignment that is served; a system that asks for
// more is read through its cache.
const maxAlign = 64 << 10

var bounces = sync.Pool{New: func() any {
	raw := make([]byte, bounceBytes+maxAlign)
	skip := -addressOf(raw) & (maxAlign - 1)
	b := raw[skip : skip+bounceBytes : skip+bounceBytes]
	return &b
}}

func addressOf(p []byte) int64 { return int64(uintptr(unsafe.Pointer(unsafe.SliceData(p)))) }

// readDirect fills p from off, all of which is within the medium. What is
// aligned is read into p itself; the rest by way of an aligned buffer.
func (s *store) readDirect(p []byte, off int64) (int, error) {
	for n := 0; n < len(p); {
		got, err := s.readDirectPart(p[n:], off+int64(n))
		n += got
		if err != nil {
			return n, err
		}
	}
	return len(p), nil
}

func (s *store) readDirectPart(p []byte, off int64) (int, error) {
	if whole := int64(len(p)) &^ (s.align - 1); whole > 0 && (off|addressOf(p))&(s.align-1) == 0 {
		return readFull(s.direct, p[:whole], off)
	}
	bounce := bounces.Get().(*[]byte)
	defer bounces.Put(bounce)
	start := off &^ (s.align - 1)
	skip := int(off - start)
	want := min(len(p), bounceBytes-skip)
	rounded := (skip + want + int(s.align) - 1) &^ (int(s.align) - 1)
	got, err := readAtLeast(s.direct, (*bounce)[:rounded], start, skip+want)
	return copy(p[:want], (*bounce)[min(skip, got):got]), err
}

type readerAt interface {
	ReadAt(p []byte, off int64) (int, error)
}

func readFull(f readerAt, p []byte, off int64) (int, error) {
	return readAtLeast(f, p, off, len(p))
}

// readAtLeast allows for a medium that ends within the last aligned block.
func readAtLeast(f readerAt, p []byte, off int64, least int) (int, error) {
	n, err := f.ReadAt(p, off)
	if n >= least {
		return n, nil
	}
	return n, err
}

// writeDirect writes p at off past the cache. Where a sector is written in
// part, the rest of it is read first.
func (s *store) writeDirect(p []byte, off int64) (int, error) {
	for n := 0; n < len(p); {
		put, err := s.writeDirectPart(p[n:], off+int64(n))
		n += put
		if err != nil {
			return n, err
		}
	}
	return len(p), nil
}

func (s *store) writeDirectPart(p []byte, off int64) (int, error) {
	whole := int64(len(p)) &^ (s.sector - 1)
	switch {
	case off&(s.sector-1) != 0 || whole == 0:
		return s.writePartSector(p, off)
	case addressOf(p)&(s.align-1) == 0:
		return s.direct.WriteAt(p[:whole], off)
	}
	bounce := bounces.Get().(*[]byte)
	defer bounces.Put(bounce)
	n := copy((*bounce)[:min(whole, bounceBytes)], p)
	return s.direct.WriteAt((*bounce)[:n], off)
}

func (s *store) writePartSector(p []byte, off int64) (int, error) {
	s.partial.Lock()
	defer s.partial.Unlock()
	bounce := bounces.Get().(*[]byte)
	defer bounces.Put(bounce)
	sector := (*bounce)[:s.sector]
	start := off &^ (s.sector - 1)
	if _, err := readFull(s.direct, sector, start); err != nil {
		return 0, err
	}
	n := copy(sector[off-start:], p)
	if _, err := s.direct.WriteAt(sector, start); err != nil {
		return 0, err
	}
	return n, nil
}
