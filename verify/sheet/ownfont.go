package sheet

import (
	"encoding/binary"
	"errors"
	"fmt"
	"maps"
	"slices"

	"golang.org/x/image/font/sfnt"
)

// MaxFont is the largest font file that is read, in bytes: the largest in use are
// those with every Chinese sign.
const MaxFont = 64 << 20

// Font is a font that the shop names, for letters that the fonts of the PDF form
// haven't. What is drawn of it goes into the page, and nothing else.
type Font struct {
	glyphs  *sfnt.Font
	buf     sfnt.Buffer
	glyf    []byte
	loca    []uint32 // where each glyph begins, and the last ends
	hmtx    []byte
	metrics int // glyphs with an advance of their own
	units   int // in an em
	high    int16
	low     int16
	drawn   map[uint16]drawn
}

// characterTable is the name of the table that leads from letters to glyphs, by its
// four bytes (OpenType 1.9).
const characterTable = "\x63\x6d\x61\x70"

// drawn is what is known of a glyph: how many others it is put together of, in
// all, and how deep; 0: it can't be drawn.
type drawn struct{ parts, deep int }

// The limits of a glyph that is put together of others. Real ones have a few.
const (
	maxParts = 64
	maxDeep  = 6
)

var (
	errNoTrueType = errors.New("it isn't a TrueType font (.ttf, .ttc)")
	errOutlines   = errors.New("its outlines are PostScript's (CFF): give the font as TrueType (.ttf, .ttc)")
	errNotAllowed = errors.New("its maker doesn't allow it in documents (OS/2 table, fsType 2)")
	errDamaged    = errors.New("it is damaged")
)

// ReadFont reads a TrueType font, of a collection the first (OpenType 1.9). It is
// taken to be hostile: what doesn't fit is an error, or a glyph that isn't drawn.
func ReadFont(data []byte) (*Font, error) {
	f, err := readFont(data)
	if err != nil {
		return nil, fmt.Errorf("reading the font: %w", err)
	}
	return f, nil
}

func readFont(data []byte) (*Font, error) {
	if len(data) > MaxFont {
		return nil, fmt.Errorf("it has %d bytes, at most %d are read", len(data), MaxFont)
	}
	tables, err := fontTables(data)
	if err != nil {
		return nil, err
	}
	fonts, err := sfnt.ParseCollection(data) // takes a single font, too
	if err != nil {
		return nil, fmt.Errorf("%w: %w", errDamaged, err)
	}
	f := &Font{drawn: map[uint16]drawn{}, glyf: tables["glyf"], hmtx: tables["hmtx"]}
	if f.glyphs, err = fonts.Font(0); err != nil {
		return nil, fmt.Errorf("%w: %w", errDamaged, err)
	}
	head, hhea, maxp, os2 := tables["head"], tables["hhea"], tables["maxp"], tables["OS/2"]
	if len(head) < 54 || len(hhea) < 36 || len(maxp) < 6 {
		return nil, errDamaged
	}
	if len(os2) >= 10 && be16(os2, 8)&0xf == 2 {
		return nil, errNotAllowed
	}
	f.units, f.metrics = int(be16(head, 18)), int(be16(hhea, 34))
	f.high, f.low = int16(be16(hhea, 4)), int16(be16(hhea, 6))
	glyphs := int(be16(maxp, 4))
	if f.units < 16 || f.units > 16384 || f.metrics < 1 || f.metrics > glyphs || len(f.hmtx) < 4*f.metrics+2*(glyphs-f.metrics) {
		return nil, errDamaged
	}
	return f, f.places(tables["loca"], glyphs, be16(head, 50) == 1)
}

// places reads where each glyph is.
func (f *Font) places(loca []byte, glyphs int, long bool) error {
	size := 2
	if long {
		size = 4
	}
	if len(loca) < size*(glyphs+1) {
		return errDamaged
	}
	f.loca = make([]uint32, glyphs+1)
	for i := range f.loca {
		if long {
			f.loca[i] = binary.BigEndian.Uint32(loca[4*i:])
		} else {
			f.loca[i] = 2 * uint32(be16(loca, 2*i))
		}
	}
	return nil
}

// fontTables are the tables of a font, or of the first in a collection.
func fontTables(data []byte) (map[string][]byte, error) {
	at := uint64(0)
	if len(data) >= 16 && string(data[:4]) == "ttcf" {
		at = uint64(binary.BigEndian.Uint32(data[12:]))
	}
	if uint64(len(data)) < at+12 {
		return nil, errNoTrueType
	}
	switch string(data[at : at+4]) {
	case "\x00\x01\x00\x00", "true":
	case "OTTO":
		return nil, errOutlines
	default:
		return nil, errNoTrueType
	}
	n := uint64(be16(data[at:], 4))
	if uint64(len(data)) < at+12+16*n {
		return nil, errDamaged
	}
	tables := map[string][]byte{}
	for i := range n {
		entry := data[at+12+16*i:]
		from, long := uint64(binary.BigEndian.Uint32(entry[8:])), uint64(binary.BigEndian.Uint32(entry[12:]))
		if from+long > uint64(len(data)) {
			return nil, errDamaged
		}
		tables[string(entry[:4])] = data[from : from+long]
	}
	return tables, nil
}

func be16(b []byte, at int) uint16 { return binary.BigEndian.Uint16(b[at:]) }

// glyph is the one that draws r; 0: none does. What lies beyond the first plane of
// Unicode the PDF library can't write.
func (f *Font) glyph(r rune) uint16 {
	const lastOfFirstPlane = 0xffff
	if f == nil || r > lastOfFirstPlane {
		return 0
	}
	i, err := f.glyphs.GlyphIndex(&f.buf, r)
	if err != nil || f.look(uint16(i), 1).parts == 0 {
		return 0
	}
	return uint16(i)
}

// data are the bytes of a glyph; none where it has no outline, not ok where it
// lies outside of the font.
func (f *Font) data(glyph uint16) (data []byte, ok bool) {
	if int(glyph)+1 >= len(f.loca) {
		return nil, false
	}
	from, to := f.loca[glyph], f.loca[glyph+1]
	if from > to || uint64(to) > uint64(len(f.glyf)) || to-from > 0xffff {
		return nil, false
	}
	data = f.glyf[from:to]
	return data, len(data) == 0 || len(data) >= 12
}

// look counts what a glyph is put together of.
func (f *Font) look(glyph uint16, deep int) drawn {
	if known, ok := f.drawn[glyph]; ok {
		return known
	}
	f.drawn[glyph] = drawn{} // until it is known: one that holds itself can't be drawn
	data, ok := f.data(glyph)
	if !ok || deep > maxDeep {
		return drawn{}
	}
	all := drawn{parts: 1, deep: 1}
	parts, ok := parts(data)
	for _, at := range parts {
		part := f.look(be16(data, at), deep+1)
		ok = ok && part.parts > 0
		all = drawn{all.parts + part.parts, max(all.deep, part.deep+1)}
	}
	if !ok || all.parts > maxParts || all.deep > maxDeep {
		return drawn{}
	}
	f.drawn[glyph] = all
	return all
}

// The flags of a part of a glyph (OpenType 1.9, glyf).
const (
	partWords = 1 << 0
	partScale = 1 << 3
	partMore  = 1 << 5
	partTwo   = 1 << 6
	partFour  = 1 << 7
	partHints = 1 << 8
)

// parts are the places in a glyph's data where the numbers of other glyphs stand;
// not ok where the data ends before.
func parts(data []byte) (at []int, ok bool) {
	if len(data) == 0 || int16(be16(data, 0)) >= 0 {
		return nil, true
	}
	for i, more := 10, true; more; {
		if i+4 > len(data) || len(at) == maxParts {
			return nil, false
		}
		flags := be16(data, i)
		at = append(at, i+2)
		i += partLong(flags)
		if more = flags&partMore != 0; i > len(data) {
			return nil, false
		}
	}
	return at, true
}

// partLong is how many bytes a part with these flags takes.
func partLong(flags uint16) int {
	long := 6
	if flags&partWords != 0 {
		long += 2
	}
	switch {
	case flags&partScale != 0:
		long += 2
	case flags&partTwo != 0:
		long += 4
	case flags&partFour != 0:
		long += 8
	}
	return long
}

// bare is a glyph's data without its hints, whose common part isn't taken over.
func bare(data []byte) []byte {
	data = slices.Clone(data)
	if len(data) == 0 {
		return data
	}
	if places, _ := parts(data); places != nil {
		for _, at := range places {
			binary.BigEndian.PutUint16(data[at-2:], be16(data, at-2)&^partHints)
		}
		last := places[len(places)-1] - 2
		return data[:last+partLong(be16(data, last))]
	}
	at := 10 + 2*int(be16(data, 0)) // behind the ends of its contours
	if at+2 > len(data) || at+2+int(be16(data, at)) > len(data) {
		return nil
	}
	hints := int(be16(data, at))
	return slices.Concat(data[:at], []byte{0, 0}, data[at+2+hints:])
}

// advance is how far the next letter stands, in parts of an em.
func (f *Font) advance(glyph uint16) float64 {
	return float64(be16(f.hmtx, 4*min(int(glyph), f.metrics-1))) / float64(f.units)
}

// width of text at a size, in points. All of it has glyphs.
func (f *Font) width(s string, size float64) (sum float64) {
	for _, r := range s {
		sum += f.advance(f.glyph(r)) * size
	}
	return sum
}

// subset is a font with these letters and nothing else, in the form of TrueType
// that the PDF library reads.
func (f *Font) subset(letters map[rune]bool) []byte {
	numbers := map[uint16]uint16{0: 0} // of glyphs, here to there
	order := []uint16{0}
	var take func(uint16)
	take = func(glyph uint16) {
		if _, ok := numbers[glyph]; ok {
			return
		}
		numbers[glyph] = uint16(len(order))
		order = append(order, glyph)
		data, _ := f.data(glyph)
		places, _ := parts(data)
		for _, at := range places {
			take(be16(data, at))
		}
	}
	runes := slices.Sorted(maps.Keys(letters))
	for _, r := range runes {
		take(f.glyph(r))
	}
	var glyf, loca, hmtx []byte
	for _, glyph := range order {
		loca = binary.BigEndian.AppendUint32(loca, uint32(len(glyf)))
		hmtx = binary.BigEndian.AppendUint16(hmtx, be16(f.hmtx, 4*min(int(glyph), f.metrics-1)))
		hmtx = binary.BigEndian.AppendUint16(hmtx, 0)
		if glyph == 0 { // nothing is drawn by it
			continue
		}
		data, _ := f.data(glyph)
		data = bare(data)
		places, _ := parts(data)
		for _, at := range places {
			binary.BigEndian.PutUint16(data[at:], numbers[be16(data, at)])
		}
		glyf = append(glyf, data...)
		glyf = append(glyf, make([]byte, (4-len(glyf)%4)%4)...)
	}
	loca = binary.BigEndian.AppendUint32(loca, uint32(len(glyf)))
	n := uint16(len(order))
	return assembled(map[string][]byte{
		"glyf": glyf, "loca": loca, "hmtx": hmtx,
		characterTable: f.letters(runes, numbers),
		"head":         words16(1, 0, 1, 0, 0, 0, 0x5f0f, 0x3cf5, 0, uint16(f.units), 0, 0, 0, 0, 0, 0, 0, 0, 0, uint16(f.low), uint16(f.units), uint16(f.high), 0, 8, 2, 1, 0),
		"hhea":         words16(1, 0, uint16(f.high), uint16(f.low), 0, uint16(f.units), 0, 0, 0, 1, 0, 0, 0, 0, 0, 0, 0, n),
		"maxp":         words16(1, 0, n, 0xffff, 0xff, 0xffff, 0xff, 1, 0, 0, 0, 0, 0, 0, maxParts, maxDeep),
		"name":         words16(0, 0, 6),
		"post":         words16(3, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0),
		"OS/2":         append(words16(0, uint16(f.units), 400, 5, 0), make([]byte, 68)...),
	})
}

// letters is a table of characters of format 4, a segment for each letter. Letters without
// a glyph aren't in it.
func (f *Font) letters(runes []rune, numbers map[uint16]uint16) []byte {
	var ends, starts, deltas []uint16
	for _, r := range runes {
		ends, starts = append(ends, uint16(r)), append(starts, uint16(r))
		deltas = append(deltas, numbers[f.glyph(r)]-uint16(r))
	}
	ends, starts, deltas = append(ends, 0xffff), append(starts, 0xffff), append(deltas, 1)
	n := uint16(len(ends))
	table := append([]uint16{4, 16 + 8*n, 0, 2 * n, 0, 0, 0}, ends...)
	table = append(append(append(append(table, 0), starts...), deltas...), make([]uint16, n)...)
	return append(words16(0, 1, 3, 1, 0, 12), words16(table...)...)
}

func words16(all ...uint16) []byte {
	var b []byte
	for _, v := range all {
		b = binary.BigEndian.AppendUint16(b, v)
	}
	return b
}

// assembled is a font file of these tables. Checksums are left out: the PDF
// library writes its own.
func assembled(tables map[string][]byte) []byte {
	n := len(tables)
	file := words16(1, 0, uint16(n), 0, 0, 0)
	at := uint32(len(file) + 16*n)
	var all []byte
	for _, name := range slices.Sorted(maps.Keys(tables)) {
		data := tables[name]
		file = append(append(file, name...), 0, 0, 0, 0)
		file = binary.BigEndian.AppendUint32(file, at+uint32(len(all)))
		file = binary.BigEndian.AppendUint32(file, uint32(len(data)))
		all = append(all, data...)
		all = append(all, make([]byte, (4-len(all)%4)%4)...)
	}
	return append(file, all...)
}
