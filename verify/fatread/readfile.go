package fatread

import (
	"cmp"
	"errors"
	"fmt"
	"io"
	"slices"
)

// ErrChainEnds: a file's own clusters end before its size.
var ErrChainEnds = errors.New("the file's clusters end before its size")

const readBytes = 1 << 20 // one read of a file

// Open reads a file through its chain, at most its size. An error of the
// drive comes after the last byte before it; clusters that
// aren't the file's own are not read (ErrChainEnds), so that reading every
// file reads no part of the card twice.
func (v *Volume) Open(e Entry) io.Reader { return v.open(e, e.Size) }

func (v *Volume) open(e Entry, size int64) *file {
	written := size
	if v.FileSystem == ExFAT && !e.Dir {
		written = min(size, e.Written)
	}
	return &file{v: v, e: e, left: size, written: written, clusters: e.ChainClusters}
}

type file struct {
	v        *Volume
	e        Entry
	left     int64 // bytes not yet in out
	written  int64 // of them, bytes that are not zeros for want of having been written
	clusters int64 // not yet begun
	runs     int   // of e.Chain, used up
	run      Run   // the rest of the one being read
	last     uint32
	buf, out []byte // out is what is left of buf
	err      error
}

// Read reads straight into p where that has room for a cluster.
func (f *file) Read(p []byte) (int, error) {
	if len(p) == 0 {
		return 0, nil
	}
	for len(f.out) == 0 {
		if f.err != nil {
			return 0, f.err
		}
		if len(p) >= f.v.ClusterBytes {
			if n := f.fill(p); n > 0 {
				return n, nil
			}
			continue
		}
		if f.buf == nil {
			f.buf = make([]byte, f.v.ClusterBytes)
		}
		f.out = f.buf[:f.fill(f.buf)]
	}
	n := copy(p, f.out)
	f.out = f.out[n:]
	return n, nil
}

// fill reads the next stretch into buf, whole clusters of which fit; none
// read comes with an error in f.err.
func (f *file) fill(buf []byte) int {
	if f.left <= 0 {
		f.err = io.EOF
		return 0
	}
	if f.run.Count == 0 && !f.nextRun() {
		return 0
	}
	cluster := int64(f.v.ClusterBytes)
	n := min(int64(f.run.Count), max(1, min(int64(len(buf)), readBytes)/cluster), (f.left-1)/cluster+1)
	off := f.v.Place(f.run.First)
	f.last = f.run.First + uint32(n) - 1
	f.run.First += uint32(n)
	f.run.Count -= uint32(n)
	return f.load(buf, off, min(n*cluster, f.left))
}

func (f *file) load(buf []byte, off, n int64) int {
	buf = buf[:(n+sectorBytes-1)/sectorBytes*sectorBytes]
	if f.written > 0 {
		if err := f.v.card.src.read(buf, off); err != nil {
			good, err := f.salvage(buf, off, err)
			f.err = &ReadError{Path: f.e.Path, Offset: off + good, Err: err}
			n = min(n, good)
		}
	}
	clear(buf[min(f.written, int64(len(buf))):])
	f.written = max(0, f.written-n)
	f.left -= n
	return int(n)
}

// salvage finds where in the buffer the drive fails.
func (f *file) salvage(buf []byte, off int64, err error) (int64, error) {
	src := f.v.card.src
	if src.failed > retries {
		return 0, err
	}
	for at := 0; at < len(buf); at += sectorBytes {
		if err := src.read(buf[at:min(at+sectorBytes, len(buf))], off+int64(at)); err != nil {
			return int64(at), err
		}
	}
	return int64(len(buf)), fmt.Errorf("read in one piece: %w", err)
}

// nextRun finds the next stretch of clusters: of those kept, then of the FAT.
func (f *file) nextRun() bool {
	if f.clusters <= 0 || f.v.fat == nil {
		f.err = fmt.Errorf("reading %q: %w: %d bytes are missing", f.e.Path, ErrChainEnds, f.left)
		return false
	}
	switch {
	case f.runs < len(f.e.Chain):
		f.run = f.e.Chain[f.runs]
		f.runs++
	case f.last == 0:
		f.run = Run{f.e.First, 1}
	case !f.nextByFAT():
		return false
	}
	if f.run.First < 2 || f.run.Count == 0 || int64(f.run.First)+int64(f.run.Count)-1 > int64(f.v.fat.last) {
		f.err = fmt.Errorf("reading %q: %w: cluster %d doesn't exist", f.e.Path, ErrChainEnds, f.run.First)
		return false
	}
	f.clusters -= int64(f.run.Count)
	return true
}

func (f *file) nextByFAT() bool {
	f.v.fat.loads++ // the walk has been there: as many pages again
	next, err := f.v.fat.get(f.last)
	if err != nil {
		var failed *ReadError
		if errors.As(err, &failed) {
			failed.Path = f.e.Path
		}
		f.err = err
		return false
	}
	f.run = Run{next, 1}
	return true
}

// OpenAt reads a file at any place. nil: not all of its runs are known.
func (v *Volume) OpenAt(e Entry) io.ReaderAt {
	x := &extents{src: v.card.src, written: e.Written}
	end := int64(0)
	for _, run := range e.Chain {
		end += int64(run.Count) * int64(v.ClusterBytes)
		x.places = append(x.places, v.Place(run.First))
		x.ends = append(x.ends, end)
	}
	if e.Dir || end < e.Size {
		return nil
	}
	return x
}

// extents reads a file through its runs of clusters.
type extents struct {
	src     *source
	places  []int64 // of each run, bytes on the card
	ends    []int64 // of each run, bytes in the file
	written int64   // bytes; the rest was never written and reads as zeros
}

func (x *extents) ReadAt(p []byte, at int64) (int, error) {
	n := 0
	for n < len(p) {
		i, _ := slices.BinarySearch(x.ends, at+1)
		if i == len(x.ends) {
			return n, io.EOF
		}
		begin := int64(0)
		if i > 0 {
			begin = x.ends[i-1]
		}
		part := p[n:min(int64(len(p)), int64(n)+x.ends[i]-at)]
		if at >= x.written {
			clear(part)
			n, at = n+len(part), at+int64(len(part))
			continue
		}
		part = part[:min(int64(len(part)), x.written-at)]
		if err := x.src.read(part, x.places[i]+at-begin); err != nil {
			return n, err
		}
		n, at = n+len(part), at+int64(len(part))
	}
	return n, nil
}

func (v *Volume) filesByPlace() (files []*Entry) {
	for i := range v.Entries {
		if e := &v.Entries[i]; !e.Dir {
			files = append(files, e)
		}
	}
	sortByPlace(files)
	return files
}

func sortByPlace(list []*Entry) {
	slices.SortStableFunc(list, func(a, b *Entry) int { return cmp.Compare(a.First, b.First) })
}
