package fatread

import (
	"bytes"
	"errors"
	"fmt"

	"cardwright/manifest/problem"
)

const (
	cachePages = 32   // of pieceBytes: what is held of all FATs at once
	rereads    = 4096 // pages that may be read again of one FAT, for chains that jump about

	// Clusters are marked in pages, made when first needed, so that the memory
	// taken follows what is in use: 8 MiB at most, which is 67 million clusters,
	// more than a 32 GB card can have.
	markPage  = 1 << 16 // clusters
	markPages = 1 << 10
)

var errScattered = errors.New("chains jump about too much to be followed")

// page is a piece of a FAT.
type page struct {
	off  int64
	data []byte
	bad  [pieceBytes / sectorBytes]bool // sectors of neither copy
	used uint64
}

// pages holds those last used, of whichever volume.
type pages struct {
	held []*page
	tick uint64
}

func (c *pages) find(off int64) *page {
	for _, p := range c.held {
		if p.off == off {
			c.tick++
			p.used = c.tick
			return p
		}
	}
	return nil
}

// room gives an empty page: a new one, or the one not used for longest.
func (c *pages) room() *page {
	c.tick++
	if len(c.held) < cachePages {
		p := &page{data: make([]byte, 0, pieceBytes), used: c.tick}
		c.held = append(c.held, p)
		return p
	}
	oldest := c.held[0]
	for _, p := range c.held {
		if p.used < oldest.used {
			oldest = p
		}
	}
	oldest.used = c.tick
	return oldest
}

// fat is a volume's file allocation table: the one to follow, and its copies.
type fat struct {
	card      *Card
	partition int
	width     int
	start     int64   // of the one to follow, on the card
	copies    []int64 // the others, where they must be the same
	bytes     int64   // that the clusters need
	last      uint32  // highest cluster that exists, has an entry and lies on the card
	media     byte
	mask      uint32 // the bits of an entry that count
	end       uint32 // the least value that ends a chain
	loads     int64  // pages that may still be loaded
	now       *page
	told      map[int64]bool // sectors reported as unreadable
}

// newFAT returns nil where no cluster can be reached.
func newFAT(c *Card, v *Volume, p *Partition, b boot) *fat {
	f := &fat{card: c, partition: p.Number, width: b.width(), media: b.media}
	f.mask = uint32(1)<<min(f.width, 28) - 1
	f.end = f.mask &^ 7
	first := p.Start + b.reserved*b.sector
	active := int64(0)
	if b.fat32 && b.flags&0x80 != 0 {
		active = min(int64(b.flags&0x0F), b.fats-1)
	}
	f.start = first + active*v.FATBytes
	for i := int64(0); i < min(b.fats, 2) && b.flags&0x80 == 0; i++ {
		if i != active {
			f.copies = append(f.copies, first+i*v.FATBytes)
		}
	}
	return f.reach(v)
}

// reach finds the clusters that exist, have an entry and lie on the card.
func (f *fat) reach(v *Volume) *fat {
	size, width := f.card.src.size, int64(f.width)
	clusters := min(v.Clusters, min(v.FATBytes, size-f.start)*8/width-2, (size-v.DataStart)/int64(v.ClusterBytes))
	if clusters < 1 {
		return nil
	}
	f.told = map[int64]bool{}
	f.last = uint32(clusters) + 1
	f.bytes = ((clusters+2)*width + 7) / 8
	f.loads = f.bytes/pieceBytes + 1 + rereads
	return f
}

func (f *fat) badMark() uint32 { return f.mask &^ 8 }

// place is where a cluster's entry is on the card.
func (f *fat) place(cluster uint32) int64 { return f.start + int64(cluster)*int64(f.width)/8 }

// get reads the entry of a cluster up to last.
func (f *fat) get(cluster uint32) (uint32, error) {
	p, err := f.page(int64(cluster) * int64(f.width) / 8 / pieceBytes)
	if err != nil {
		return 0, err
	}
	return f.in(p, cluster)
}

// in reads an entry of a page.
func (f *fat) in(p *page, cluster uint32) (uint32, error) {
	at := int64(cluster) * int64(f.width) / 8
	in := at % pieceBytes
	if in+int64(f.width+7)/8 > int64(len(p.data)) {
		return 0, &ReadError{Offset: f.start + at, Err: errOutside}
	}
	// A 12-bit entry may lie in two sectors; none lies in two pages, as a FAT12 has but one.
	if p.bad[in/sectorBytes] || p.bad[(in+int64(f.width-1)/8)/sectorBytes] {
		return 0, &ReadError{Offset: f.start + at, Err: errors.New("a part of the FAT that could not be read")}
	}
	return f.decode(p.data[in:], cluster), nil
}

func (f *fat) decode(b []byte, cluster uint32) uint32 {
	switch f.width {
	case 32:
		return le.Uint32(b) & f.mask
	case 16:
		return uint32(le.Uint16(b))
	}
	if cluster%2 == 0 {
		return uint32(le.Uint16(b)) & 0xFFF
	}
	return uint32(le.Uint16(b)) >> 4
}

func (f *fat) page(n int64) (*page, error) {
	off := f.start + n*pieceBytes
	if f.now != nil && f.now.off == off {
		return f.now, nil
	}
	p := f.card.cache.find(off)
	if p == nil {
		if f.loads <= 0 {
			return nil, errScattered
		}
		f.loads--
		p = f.load(off, n)
	}
	f.now = p
	return p, nil
}

// load reads a page; what is unreadable comes from the other FAT, if that can
// be read.
func (f *fat) load(off, n int64) *page {
	src := f.card.src
	p := f.card.cache.room()
	p.off = off
	p.bad = [pieceBytes / sectorBytes]bool{}
	size := min(pieceBytes, f.bytes-n*pieceBytes)
	size = min((size+sectorBytes-1)/sectorBytes*sectorBytes, src.size-off)
	p.data = p.data[:size]
	src.each(off, size, p.data, func(at int64, b []byte, err error) bool {
		if err != nil {
			f.tell(at, err)
			f.rescue(p, at-off, b)
		}
		return true
	})
	return p
}

func (f *fat) rescue(p *page, at int64, b []byte) {
	for i := int64(0); i < int64(len(b)); i += sectorBytes {
		one := b[i:min(i+sectorBytes, int64(len(b)))]
		ok := false
		for _, other := range f.copies {
			ok = ok || f.card.src.read(one, other+p.off-f.start+at+i) == nil
		}
		p.bad[(at+i)/sectorBytes] = !ok
	}
}

func (f *fat) tell(at int64, err error) {
	if !f.told[at] && len(f.told) < f.card.limits.Failures {
		f.told[at] = true
		f.card.unread(f.partition, "", at, "FAT", err)
	}
}

// census is what a whole FAT says, with the clusters that nothing claims.
type census struct {
	free, bad, lost int64
	firstLost       uint32
	whole           bool // every entry could be read
}

// census goes through the FAT from front to back and compares it with its
// copies on the way.
func (f *fat) census(claimed *claims) census {
	n := census{whole: true}
	differ := make([]difference, len(f.copies))
	other := make([]byte, pieceBytes)
	f.loads += f.bytes/pieceBytes + 1
	for i := int64(0); i*pieceBytes < f.bytes; i++ {
		p, err := f.page(i)
		if err != nil {
			n.whole = false
			break
		}
		f.countPage(&n, p, i, claimed)
		for c, start := range f.copies {
			f.comparePage(&differ[c], p, start, other)
		}
	}
	for _, d := range differ {
		d.tell(f)
	}
	return n
}

func (f *fat) countPage(n *census, p *page, i int64, claimed *claims) {
	first := i * pieceBytes * 8 / int64(f.width)
	end := min((i+1)*pieceBytes*8/int64(f.width), int64(f.last)+1)
	for c := uint32(max(first, 2)); int64(c) < end; c++ {
		v, err := f.in(p, c)
		switch {
		case err != nil:
			n.whole = false
		case v == 0:
			n.free++
		case v == f.badMark():
			n.bad++
		case !claimed.has(c):
			n.lost++
			if n.firstLost == 0 {
				n.firstLost = c
			}
		}
	}
}

// difference is the first place where two FATs differ, and how many bytes do.
type difference struct {
	off, bytes  int64
	want, found string
}

func (f *fat) comparePage(d *difference, p *page, start int64, buf []byte) {
	from := p.off - f.start
	size := min(int64(len(p.data)), f.card.src.size-start-from)
	f.card.src.each(start+from, size, buf, func(off int64, b []byte, err error) bool {
		if err != nil {
			f.tell(off, err)
			return true
		}
		at := off - start - from
		mine := p.data[at : at+int64(len(b))]
		if left := f.bytes - from - at; left < int64(len(b)) {
			mine, b = mine[:left], b[:left]
		}
		if !bytes.Equal(mine, b) {
			d.note(off, mine, b)
		}
		return true
	})
}

func (d *difference) note(off int64, mine, b []byte) {
	for i := range b {
		if mine[i] == b[i] {
			continue
		}
		if d.bytes == 0 {
			from, to := i&^3, min(i&^3+4, len(b))
			d.off, d.want, d.found = off+int64(i), fmt.Sprintf("% x", mine[from:to]), fmt.Sprintf("% x", b[from:to])
		}
		d.bytes++
	}
}

func (d *difference) tell(f *fat) {
	if d.bytes == 0 {
		return
	}
	f.card.add(Fault{
		Kind: FATsDiffer, Partition: f.partition, Offset: d.off,
		Problem: problem.Problem{Expected: d.want + ", as in the first FAT", Found: fmt.Sprintf("%s; %s differ", d.found, count(int(d.bytes), "byte"))},
	})
}

// claims holds one bit a cluster: something has it.
type claims struct {
	pages [][]uint64
	left  int // pages that may still be made
}

func newClaims(last uint32) *claims {
	return &claims{pages: make([][]uint64, last/markPage+1), left: markPages}
}

func (m *claims) has(c uint32) bool {
	p := m.pages[c/markPage]
	return p != nil && p[c%markPage/64]>>(c%64)&1 == 1
}

// near reports whether any of the eight clusters from c may be marked.
func (m *claims) near(c uint32) bool {
	return m.pages[c/markPage] != nil || m.pages[(c+7)/markPage] != nil
}

// room reports whether a cluster can be marked.
func (m *claims) room(c uint32) bool { return m.left > 0 || m.pages[c/markPage] != nil }

// set marks a cluster, and reports whether it was unmarked.
func (m *claims) set(c uint32) bool {
	if m.has(c) {
		return false
	}
	p := &m.pages[c/markPage]
	if *p == nil {
		*p = make([]uint64, markPage/64)
		m.left--
	}
	(*p)[c%markPage/64] |= 1 << (c % 64)
	return true
}
