package fatread

import (
	"fmt"
	"strings"
	"unicode"
	"unicode/utf16"

	"golang.org/x/text/encoding/charmap"
)

const (
	lastLong     = 0x40 // of the order byte: the last part, which comes first
	longParts    = 20
	unitsPerPart = 13
	mostName     = 255
)

// Characters that no name may have (FAT32 specification, "FAT Directory
// Structure" and "FAT Long Directory Entries"), besides
// those below 0x20. (0x7F isn't forbidden there; fsck.fat refuses it, too.)
const (
	badInShort = "\"*+,./:;<=>?[\\]|"
	badInLong  = "\"*/:<>?\\|"
)

// longName gathers the parts of a long name, which come before their entry,
// last part first.
type longName struct {
	on    bool
	next  int // the part that must come next; 0: all are there
	parts int
	sum   byte
	units [longParts * unitsPerPart]uint16
}

// orphan reports parts that are followed by something else.
func (l *fatLister) orphan(off int64, by string) {
	if l.long.on {
		l.w.fault(LongOrphan, l.f.shown(), off, "the entry that a long name belongs to", by)
	}
	l.long = longName{}
}

func (l *fatLister) takeLong(off int64, e []byte) {
	if e[12] != 0 || e[26] != 0 || e[27] != 0 {
		l.w.fault(LongEntry, l.f.shown(), off, "type 0 and cluster 0 in a long-name entry",
			fmt.Sprintf("type %d, cluster %d", e[12], le.Uint16(e[26:])))
	}
	n := int(e[0] &^ lastLong)
	if e[0]&lastLong != 0 {
		l.orphan(off, "another long name")
		if n < 1 || n > longParts {
			l.w.fault(LongOrder, l.f.shown(), off, "part 1 to 20", fmt.Sprint(n))
			return
		}
		l.long = longName{on: true, next: n, parts: n, sum: e[13]}
	}
	if !l.long.on || n != l.long.next || n < 1 || e[13] != l.long.sum {
		l.w.fault(LongOrder, l.f.shown(), off,
			fmt.Sprintf("part %d of a long name, checksum 0x%02x", l.long.next, l.long.sum),
			fmt.Sprintf("part %d, checksum 0x%02x", n, e[13]))
		l.long = longName{}
		return
	}
	l.long.put(e)
}

// put takes the characters of the part that must come next.
func (n *longName) put(e []byte) {
	n.next--
	at := n.units[n.next*unitsPerPart:]
	for i := range unitsPerPart {
		at[i] = le.Uint16(e[unitPlace(i):])
	}
}

func unitPlace(i int) int {
	switch {
	case i < 5:
		return 1 + 2*i
	case i < 11:
		return 14 + 2*(i-5)
	default:
		return 28 + 2*(i-11)
	}
}

// longFor gives the long name that belongs to an entry, if one does.
func (l *fatLister) longFor(off int64, e []byte) ([]uint16, bool) {
	n := l.long
	l.long = longName{}
	switch {
	case !n.on:
		return nil, false
	case n.next > 0:
		l.w.fault(LongOrphan, l.f.shown(), off, fmt.Sprintf("part %d of a long name", n.next), fmt.Sprintf("the entry %q", e[:11]))
		return nil, false
	case n.sum != checksum(e[:11]):
		l.w.fault(LongChecksum, l.f.shown(), off, fmt.Sprintf("0x%02x", checksum(e[:11])), fmt.Sprintf("0x%02x", n.sum))
		return nil, false
	}
	return l.cut(off, n.units[:n.parts*unitsPerPart]), true
}

// cut ends a name at its NUL; what follows must be padding.
func (l *fatLister) cut(off int64, units []uint16) []uint16 {
	for i, u := range units {
		if u != 0 {
			continue
		}
		for _, pad := range units[i+1:] {
			if pad != 0xFFFF {
				l.w.fault(LongEntry, l.f.shown(), off, "0xffff after the end of a long name", fmt.Sprintf("0x%04x", pad))
				break
			}
		}
		return units[:i]
	}
	return units
}

// checksum is that of a short name (FAT32 specification, ChkSum).
func checksum(short []byte) (sum byte) {
	for _, b := range short {
		sum = sum>>1 | sum<<7
		sum += b
	}
	return sum
}

// longText keeps half of a surrogate pair as three bytes that aren't UTF-8.
func longText(units []uint16) string {
	var b strings.Builder
	for i := 0; i < len(units); i++ {
		u := rune(units[i])
		if !utf16.IsSurrogate(u) {
			b.WriteRune(u)
			continue
		}
		if i+1 < len(units) {
			if r := utf16.DecodeRune(u, rune(units[i+1])); r != unicode.ReplacementChar {
				b.WriteRune(r)
				i++
				continue
			}
		}
		b.Write([]byte{0xE0 | byte(u>>12), 0x80 | byte(u>>6)&0x3F, 0x80 | byte(u)&0x3F})
	}
	return b.String()
}

// oem reads text in code page 850, as the common tools write it.
func oem(s string) string {
	var b strings.Builder
	for i := range len(s) {
		b.WriteRune(charmap.CodePage850.DecodeByte(s[i]))
	}
	return b.String()
}

// firstByte undoes the disguise of a name that begins with the mark of a
// deleted entry.
func firstByte(name []byte) []byte {
	name = append([]byte(nil), name...)
	if name[0] == 0x05 {
		name[0] = freeMark
	}
	return name
}

func shortText(e []byte) string {
	name := firstByte(e[:11])
	return joinShort(oem(string(name[:8])), oem(string(name[8:])))
}

// shownShort obeys the two bits by which later systems keep the case of a
// short name (from memory: the specification only reserves the byte).
func shownShort(e []byte) string {
	name := firstByte(e[:11])
	base, ext := oem(string(name[:8])), oem(string(name[8:]))
	if e[12]&0x08 != 0 {
		base = strings.ToLower(base)
	}
	if e[12]&0x10 != 0 {
		ext = strings.ToLower(ext)
	}
	return joinShort(base, ext)
}

func joinShort(base, ext string) string {
	base, ext = strings.TrimRight(base, " "), strings.TrimRight(ext, " ")
	if ext == "" {
		return base
	}
	return base + "." + ext
}

// safeName keeps a name from passing for a path (see Entry.Path).
func safeName(name string) string {
	if strings.Trim(name, ".") == "" {
		return strings.Repeat(string([]byte{'.' | 0x80}), len(name))
	}
	return strings.ReplaceAll(name, "/", string([]byte{'/' | 0x80}))
}

// checkName looks for what no name may have. Characters that only mislead
// the eye are legal: they are the judge's business.
func (l *fatLister) checkName(off int64, path string, e []byte, units []uint16, long bool) {
	if why := badShort(e[:11]); why != "" {
		l.w.fault(NameBad, path, off, "a short name of legal characters", why)
	}
	if !long {
		return
	}
	if why := badLong(units); why != "" {
		l.w.fault(NameBad, path, off, "a long name of legal characters, 1 to 255", why)
	}
}

func badShort(name []byte) string {
	for i, b := range name {
		if b < 0x20 && !(i == 0 && b == 0x05) || b == 0x7F || strings.IndexByte(badInShort, b) >= 0 || b >= 'a' && b <= 'z' {
			return fmt.Sprintf("0x%02x in %q", b, name)
		}
	}
	if name[0] == ' ' {
		return fmt.Sprintf("a space first in %q", name)
	}
	return ""
}

func badLong(units []uint16) string {
	if why := badUnits(units); why != "" {
		return why
	}
	if last := units[len(units)-1]; last == ' ' || last == '.' {
		return fmt.Sprintf("%q last", rune(last))
	}
	return ""
}

func badUnits(units []uint16) string {
	if len(units) == 0 || len(units) > mostName {
		return count(len(units), "character")
	}
	for i, u := range units {
		if u < 0x20 || u == 0x7F || u == 0xFFFF || u < 0x80 && strings.IndexByte(badInLong, byte(u)) >= 0 {
			return fmt.Sprintf("0x%02x", u)
		}
		if utf16.IsSurrogate(rune(u)) && !paired(units, i) {
			return fmt.Sprintf("half of a surrogate pair, 0x%04x", u)
		}
	}
	return ""
}

// paired reports whether a surrogate has its other half next to it.
func paired(units []uint16, i int) bool {
	high := units[i] < 0xDC00
	if high {
		return i+1 < len(units) && units[i+1] >= 0xDC00 && units[i+1] < 0xE000
	}
	return i > 0 && units[i-1] >= 0xD800 && units[i-1] < 0xDC00
}
