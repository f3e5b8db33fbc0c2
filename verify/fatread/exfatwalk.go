package fatread

import (
	"fmt"
	"math"
)

// Types of directory entries (section 7). A type with the bit inUse clear is
// a deleted one.
const (
	exfatInUse     = 0x80
	exfatSecondary = 0x40
	exfatBenign    = 0x20

	exfatBitmap = 0x81
	exfatUpcase = 0x82
	exfatLabel  = 0x83
	exfatFile   = 0x85
	exfatStream = 0xC0
	exfatName   = 0xC1
	exfatVendor = 0xE1 // has clusters of its own

	flagAllocation = 1
	flagContiguous = 2 // the FAT isn't to be asked

	upcaseSize = 1 << 16
)

// stream is where an entry's clusters are.
type stream struct {
	off   int64 // of the entry on the card
	first uint32
	size  int64
	sum   uint32 // of the up-case table
}

func streamOf(off int64, e []byte) stream {
	return stream{off: off, first: le.Uint32(e[20:]), size: size64(e[24:])}
}

func size64(b []byte) int64 { return int64(min(le.Uint64(b), math.MaxInt64)) }

// exfatWalker goes through the folders of an exFAT volume, then through its files'
// clusters and the bitmap of those in use.
type exfatWalker struct {
	walker
	fat    *fat
	boot   exfatBoot
	upcase []uint16 // nil: there is none to use

	bitmaps, tables, labels int
	bitmap, table           stream
	bitmapRuns              []Run // nil: it can't be used
}

func walkExFAT(x exfatVolume) {
	w := &exfatWalker{walker: newWalker(x.start, x.v), fat: x.v.fat, boot: x.boot}
	if v, err := w.fat.get(0); err == nil && v>>8 != 0xFFFFFF {
		w.fault(FATMedia, "", w.fat.place(0), "0xfffffff8", fmt.Sprintf("0x%08x", v))
	}
	w.behind = newBehind(&w.walker, looseExFAT())
	w.walk(w.boot.root, w.enter)
	w.behind.follow()
	w.checkFiles()
	w.checkBitmap()
}

// enter follows a folder's clusters and lists what is its own.
func (w *exfatWalker) enter(f *folder) {
	e := w.entryOf(f)
	if e.First == 0 { // allowed for a folder of size 0
		if f.size > 0 {
			w.fault(DirectoryNone, f.shown(), -1, fmt.Sprintf("a cluster for %d bytes", f.size), "none")
		}
		return
	}
	if w.leadsToItself(f) {
		return
	}
	ch := w.chains.of(e, f.size)
	w.keep(e, ch)
	w.chains.tell(f.shown(), ch)
	if f.entry < 0 {
		w.findCritical(ch)
	} else if got := ch.clusters * int64(w.v.ClusterBytes); got != f.size && ch.stop == "" {
		w.fault(DirectorySize, f.shown(), -1, fmt.Sprintf("%d bytes, as its clusters", got), fmt.Sprint(f.size))
	}
	l := &exfatLister{w: w, f: f, names: map[string]string{}}
	w.each(ch, l.take, l.skip)
	l.finish(ch)
}

// each hands over a folder's entries, at most as many as a folder may have.
func (w *exfatWalker) each(ch chain, take func(off int64, e []byte) bool, skip func(off int64, err error)) {
	left, more := int64(mostExFATDir), true
	buf := make([]byte, pieceBytes)
	for _, r := range ch.runs {
		n := min(int64(r.Count)*int64(w.v.ClusterBytes), left)
		w.card.src.each(w.v.Place(r.First), n, buf, func(at int64, b []byte, err error) bool {
			if err != nil {
				skip(at, err)
				return true
			}
			for i := 0; i+entryBytes <= len(b) && more; i += entryBytes {
				more = take(at+int64(i), b[i:i+entryBytes])
			}
			return more
		})
		if left -= n; left <= 0 || !more {
			return
		}
	}
}
