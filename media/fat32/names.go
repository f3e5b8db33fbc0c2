package fat32

import (
	"strconv"
	"strings"
	"unicode"
	"unicode/utf16"
	"unicode/utf8"

	"cardwright/manifest/samename"
)

// Limits of the specification.
const (
	mostNameUnits = 255 // UTF-16 units of one name
	mostPathUnits = 259 // of a whole path; the specification's 260 count a closing NUL
	unitsPerEntry = 13  // UTF-16 units in one long-name entry
	mostTail      = 999_999
)

const (
	// neverInNames are not allowed in a long name, nor in a short one.
	neverInNames = `"*/:<>?\|`
	// onlyInLongNames are not allowed in a short name.
	onlyInLongNames = "+,;=[] ."
)

// nameProblem is what is wrong with one name of a path, and what was expected; ""
// for a name that a card can hold.
func nameProblem(name string) (problem, expected string) {
	switch {
	case name == "":
		return "an empty name", "names divided by single slashes, none before the first or after the last"
	case !utf8.ValidString(name):
		return "the name is not text", "UTF-8"
	case strings.ContainsFunc(name, neverInName):
		return "a character that FAT32 can't keep in a name", "no control character and none of " + neverInNames
	case strings.HasPrefix(name, " ") || strings.HasSuffix(name, " "):
		return "a space before or after the name would be dropped", "no space before or after it"
	case strings.HasSuffix(name, "."):
		return "a dot at the end of the name would be dropped", "no dot at its end"
	case units(name) > mostNameUnits:
		return "the name is too long: " + strconv.Itoa(units(name)) + " UTF-16 units", "at most " + strconv.Itoa(mostNameUnits)
	}
	return "", ""
}

// neverInName is true for U+FFFF, too: it fills up long-name entries.
func neverInName(r rune) bool {
	return unicode.IsControl(r) || strings.ContainsRune(neverInNames, r) || r == 0xFFFF
}

// units counts UTF-16 units.
func units(s string) int {
	n := 0
	for _, r := range s {
		n += utf16.RuneLen(r)
	}
	return n
}

// shortName is a name as a folder keeps it: eight characters and three,
// filled up with spaces.
type shortName [11]byte

func newShortName(stem, ext string) (s shortName) {
	copy(s[:], "           ")
	copy(s[:8], stem)
	copy(s[8:], ext)
	return s
}

// String is the name as people write it, with its dot.
func (s shortName) String() string {
	return joinShort(strings.TrimRight(string(s[:8]), " "), strings.TrimRight(string(s[8:]), " "))
}

func joinShort(stem, ext string) string {
	if ext == "" {
		return stem
	}
	return stem + "." + ext
}

// checksum ties long-name entries to their short name; the specification's
// ChkSum.
func (s shortName) checksum() byte {
	var sum byte
	for _, b := range s {
		sum = sum>>1 | sum<<7
		sum += b
	}
	return sum
}

// basisName is the basis name of the specification for a long name, in upper case.
// It is exact where nothing but case was lost: then it needs no numeric tail.
func basisName(name string) (stem, ext string, exact bool) {
	upper := upperASCII(name)
	kept := strings.TrimLeft(strings.ReplaceAll(strings.Map(shortRune, upper), " ", ""), ".")
	stem, _, _ = strings.Cut(kept, ".")
	if dot := strings.LastIndexByte(kept, '.'); dot >= 0 {
		ext = kept[dot+1:]
	}
	stem, ext = stem[:min(8, len(stem))], ext[:min(3, len(ext))]
	return stem, ext, joinShort(stem, ext) == upper
}

// upperASCII leaves letters beyond ASCII alone: their upper case depends on a code
// page that can't be known.
func upperASCII(s string) string {
	return strings.Map(func(r rune) rune {
		if r >= 'a' && r <= 'z' {
			return r - 'a' + 'A'
		}
		return r
	}, s)
}

// shortRune is the conversion of the specification: an underscore for what a short
// name can't hold. Spaces and dots come later.
func shortRune(r rune) rune {
	if r == ' ' || r == '.' {
		return r
	}
	if r > unicode.MaxASCII || strings.ContainsRune(onlyInLongNames, r) {
		return '_'
	}
	return r
}

// isShort reports whether a name is a short name as it is, and needs no long-name
// entries.
func isShort(name string) bool {
	_, _, exact := basisName(name)
	return exact && name == upperASCII(name)
}

// shortener gives the names of one folder their short names. Names with an exact
// basis keep it: they can't have another.
type shortener struct {
	taken map[string]bool // by samename.Key, long and short
	next  map[string]int  // the next tail to try, by cut stem, extension and digits
}

func newShortener(names []string) *shortener {
	s := &shortener{taken: make(map[string]bool, 2*len(names)), next: map[string]int{}}
	for _, n := range names {
		s.taken[samename.Key(n)] = true
	}
	return s
}

// short is the short name of one of the names; false where every tail is taken. It
// is called once for each name, in the order of the folder.
func (s *shortener) short(name string) (shortName, bool) {
	stem, ext, exact := basisName(name)
	if exact {
		return newShortName(stem, ext), true
	}
	for least, digits := 1, 1; least <= mostTail; least, digits = least*10, digits+1 {
		cut := stem[:min(len(stem), 8-1-digits)]
		key := joinShort(cut, ext) + "~" + strconv.Itoa(digits)
		for n := max(least, s.next[key]); n < least*10; n++ {
			tailed := cut + "~" + strconv.Itoa(n)
			s.next[key] = n + 1
			if short := samename.Key(joinShort(tailed, ext)); !s.taken[short] {
				s.taken[short] = true
				return newShortName(tailed, ext), true
			}
		}
	}
	return shortName{}, false
}
