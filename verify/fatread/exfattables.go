package fatread

import (
	"fmt"
	"io"
)

// findCritical looks for the bitmap, the up-case table and the label before
// names are read, as these need the table.
func (w *exfatWalker) findCritical(ch chain) {
	whole := ch.stop != ReadFailed
	w.each(ch, func(off int64, e []byte) bool {
		switch e[0] {
		case exfatBitmap:
			w.bitmaps++
			if w.bitmap.off == 0 || w.boot.activeSecond() == (e[1]&1 == 1) {
				w.bitmap = streamOf(off, e)
			}
		case exfatUpcase:
			w.tables++
			w.table = streamOf(off, e)
			w.table.sum = le.Uint32(e[4:])
		case exfatLabel:
			w.takeLabel(off, e)
		}
		return e[0] != 0
	}, func(int64, error) { whole = false })
	if w.bitmaps != int(w.boot.fats) && whole {
		w.fault(BitmapWrong, "", -1, count(int(w.boot.fats), "allocation bitmap"), fmt.Sprint(w.bitmaps))
	}
	if w.tables != 1 && whole {
		w.fault(UpcaseWrong, "", -1, "1 up-case table", fmt.Sprint(w.tables))
	}
	w.findBitmap()
	w.readUpcase()
}

func (w *exfatWalker) takeLabel(off int64, e []byte) {
	w.labels++
	if w.labels > 1 {
		w.fault(LabelExtra, "/", off, "one volume label", "another")
		return
	}
	n := int(e[1])
	if n > 11 {
		w.fault(LabelExtra, "/", off, "a label of at most 11 characters", fmt.Sprint(n))
		n = 11
	}
	w.v.Label = longText(unitsOf(e[2:], n))
	w.v.BootLabel = w.v.Label
}

func unitsOf(b []byte, n int) []uint16 {
	units := make([]uint16, n)
	for i := range units {
		units[i] = le.Uint16(b[2*i:])
	}
	return units
}

// system claims the clusters of the bitmap or the up-case table, which always
// have a chain.
func (w *exfatWalker) system(kind FaultKind, s stream, what string) (chain, bool) {
	if s.off == 0 {
		return chain{}, false
	}
	ch := w.chains.follow(s.first)
	need := w.v.clustersFor(s.size)
	if ch.stop == ReadFailed || ch.stop == LimitReached {
		w.chains.tell("", ch)
		return ch, false
	}
	if ch.stop != "" || ch.clusters < need {
		w.fault(kind, "", s.off, fmt.Sprintf("a chain of %s for the %s", count(int(need), "cluster"), what),
			fmt.Sprintf("%s%s", count(int(ch.clusters), "cluster"), map[bool]string{true: ", then " + string(ch.stop)}[ch.stop != ""]))
		return ch, false
	}
	return ch, ch.held() == ch.clusters
}

// readUpcase reads the up-case table (section 7.2.5): 65,536 characters, or
// fewer with stretches that stay as they are written as 0xFFFF and a count.
func (w *exfatWalker) readUpcase() {
	ch, ok := w.system(UpcaseWrong, w.table, "up-case table")
	if !ok {
		return
	}
	if w.table.size > 2*upcaseSize || w.table.size < 2*128 || w.table.size%2 != 0 {
		w.fault(UpcaseWrong, "", w.table.off, "an up-case table of 256 to 131072 bytes", fmt.Sprint(w.table.size))
		return
	}
	table := Entry{Path: "up-case table", Dir: true, First: w.table.first, Chain: ch.runs, ChainClusters: ch.clusters}
	b, err := io.ReadAll(w.v.open(table, w.table.size))
	if err != nil {
		w.chains.tellUnread("", err)
		return
	}
	if sum := exfatSum32(b); sum != w.table.sum {
		w.fault(UpcaseWrong, "", w.table.off+4, fmt.Sprintf("checksum %08x", sum), fmt.Sprintf("%08x", w.table.sum))
		return
	}
	if w.upcase = expandUpcase(b); w.upcase == nil {
		w.fault(UpcaseWrong, "", w.table.off, "an up-case table that maps a to z to A to Z and ends by character 65535", "another")
	}
}

func exfatSum32(b []byte) (sum uint32) {
	for _, v := range b {
		sum = sum<<31 | sum>>1
		sum += uint32(v)
	}
	return sum
}

// expandUpcase gives nil for a table that can't be right.
func expandUpcase(b []byte) []uint16 {
	table := make([]uint16, upcaseSize)
	for i := range table {
		table[i] = uint16(i)
	}
	at := 0
	for i := 0; i+2 <= len(b); i += 2 {
		v := le.Uint16(b[i:])
		if v == 0xFFFF && i+4 <= len(b) {
			i += 2
			at += int(le.Uint16(b[i:]))
			continue
		}
		if at >= upcaseSize {
			return nil
		}
		table[at] = v
		at++
	}
	for c := range 128 {
		want := uint16(c)
		if c >= 'a' && c <= 'z' {
			want -= 'a' - 'A'
		}
		if table[c] != want {
			return nil
		}
	}
	return table
}

// findBitmap claims the allocation bitmap; its bits are compared last.
func (w *exfatWalker) findBitmap() {
	ch, ok := w.system(BitmapWrong, w.bitmap, "allocation bitmap")
	if !ok {
		return
	}
	if need := (w.v.Clusters + 7) / 8; w.bitmap.size < need {
		w.fault(BitmapWrong, "", w.bitmap.off+24, fmt.Sprintf("an allocation bitmap of %d bytes", need), fmt.Sprint(w.bitmap.size))
		return
	}
	w.bitmapRuns = ch.runs
}

// checkBitmap looks for clusters of files and folders that the bitmap has as
// free: whatever writes to the card next may overwrite them. Clusters that are
// marked and belong to nothing aren't looked for: no verdict depends on them.
func (w *exfatWalker) checkBitmap() {
	if w.bitmapRuns == nil {
		return
	}
	next, buf := uint32(2), make([]byte, pieceBytes)
	var n unmarked
	for _, r := range w.bitmapRuns {
		w.card.src.each(w.v.Place(r.First), int64(r.Count)*int64(w.v.ClusterBytes), buf, func(at int64, b []byte, err error) bool {
			if err != nil {
				w.unread(w.partition, "", at, "allocation bitmap", err)
				next += uint32(8 * len(b))
			} else {
				next = w.compareBits(&n, next, b)
			}
			return int64(next) <= int64(w.fat.last)
		})
		if next > w.fat.last {
			break
		}
	}
	if n.count > 0 {
		w.fault(ChainFree, w.ownerPath(n.first), w.placeInRuns(int64(n.first-2)/8), "clusters marked as in use in the allocation bitmap",
			fmt.Sprintf("%s marked free, the first of them %d", count(n.count, "cluster"), n.first))
	}
}

// unmarked are clusters of files and folders that the bitmap has as free.
type unmarked struct {
	count int
	first uint32
}

func (w *exfatWalker) compareBits(n *unmarked, c uint32, b []byte) uint32 {
	for _, v := range b {
		if c < w.fat.last-8 && (v == 0xFF || !w.chains.claimed.near(c)) { // most of a card
			c += 8
			continue
		}
		for bit := 0; bit < 8 && c <= w.fat.last; bit++ {
			if v>>bit&1 == 0 && w.chains.claimed.has(c) {
				n.count++
				if n.first == 0 {
					n.first = c
				}
			}
			c++
		}
	}
	return c
}

// placeInRuns is where a byte of the bitmap is on the card.
func (w *exfatWalker) placeInRuns(at int64) int64 {
	for _, r := range w.bitmapRuns {
		n := int64(r.Count) * int64(w.v.ClusterBytes)
		if at < n {
			return w.v.Place(r.First) + at
		}
		at -= n
	}
	return -1
}

func (w *exfatWalker) ownerPath(c uint32) string {
	for i := range w.v.Entries {
		if owns(&w.v.Entries[i], c) {
			return w.v.Entries[i].Path
		}
	}
	if owns(&w.v.Root, c) {
		return "/"
	}
	return ""
}
