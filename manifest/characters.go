package manifest

import (
	"bytes"
	"fmt"
	"unicode"
	"unicode/utf8"

	"cardwright/manifest/problem"
)

// refused is true of a character that a shop's file may not have: one that
// controls a terminal, changes the direction of writing, can't be seen, or
// looks like a space and isn't one. Such a character makes a file say
// something else than it shows.
func refused(r rune) bool {
	if r == '\n' || r == '\t' {
		return false
	}
	return !unicode.IsPrint(r) || r == blankBraille ||
		unicode.In(r, unicode.Other_Default_Ignorable_Code_Point, unicode.Variation_Selector)
}

// blankBraille is a symbol by its category and a space by its looks.
const blankBraille = '\u2800'

// charName names a character by its number, as in U+202E.
func charName(r rune) string {
	switch {
	case r == '\n':
		return "a line end"
	case unicode.Is(unicode.Bidi_Control, r):
		return fmt.Sprintf("the character %U, which changes the direction of writing", r)
	case unicode.Is(unicode.Cc, r):
		return fmt.Sprintf("the control character %U", r)
	case unicode.Is(unicode.Zs, r):
		return fmt.Sprintf("the character %U, which only looks like a space", r)
	}
	return fmt.Sprintf("the character %U, which can't be seen", r)
}

// foreignText says of a file that as a whole isn't text in UTF-8 what it is, in one
// mistake in place of one for each character; nil of any other file.
func foreignText(file string, data []byte) *Mistake {
	m := &Mistake{At: Pos{File: file, Line: 1, Column: 1}, What: "not text in UTF-8", Problem: problem.Problem{Expected: "text in UTF-8", Advice: "save it again as UTF-8: editors ask for the encoding under Save as"}}
	switch kind := wideText(data); {
	case kind != "":
		m.Found = "text in " + kind
	case len(data) > 0 && len(bytes.Trim(data, "\x00")) == 0:
		m.Found, m.Advice = fmt.Sprintf("%d zero bytes and no text, as after a power cut while the file was written", len(data)), "put a copy of the file in its place"
	case bytes.Contains(data, make([]byte, mostZeros)):
		m.At = placeOf(file, data, bytes.IndexByte(data, 0))
		m.Found, m.Advice = "zero bytes in place of text, as after a power cut while the file was written", "put a copy of the file in its place"
	case bytes.Count(data, []byte("\r")) > 1 && !bytes.Contains(data, []byte("\n")):
		m.At = placeOf(file, data, bytes.IndexByte(data, '\r'))
		m.What, m.Found, m.Expected, m.Advice = "line ends of an old kind", "carriage returns alone (CR)", "line ends of Unix (LF) or Windows (CR LF)", "save it again with one of those"
	default:
		first, n := oneByteText(data)
		if n < 2 { // one may be a slip: checkText reports it
			return nil
		}
		m.At = placeOf(file, data, first)
		m.Found = fmt.Sprintf("%d bytes that are not UTF-8, the first 0x%02X, as in a file saved in Latin-1 or Windows-1252", n, data[first])
	}
	return m
}

// mostZeros is how many zero bytes in a row are one mistake.
const mostZeros = 8

// wideText names the encoding of a text with two or four bytes a character, by
// the mark at its beginning or by where its zero bytes are.
func wideText(data []byte) string {
	for _, mark := range []struct{ bytes, name string }{
		{"\xff\xfe\x00\x00", "UTF-32"}, {"\x00\x00\xfe\xff", "UTF-32"}, {"\xff\xfe", "UTF-16"}, {"\xfe\xff", "UTF-16"},
	} {
		if bytes.HasPrefix(data, []byte(mark.bytes)) {
			return mark.name
		}
	}
	var zeros [2]int
	for i, c := range data {
		if c == 0 {
			zeros[i%2]++
		}
	}
	// Of text in Latin letters every other byte is zero, and none next to those.
	if even, odd := zeros[0], zeros[1]; 3*max(even, odd) > len(data) && 10*min(even, odd) < len(data) {
		return "UTF-16"
	}
	return ""
}

// oneByteText counts the bytes that are no part of UTF-8, nor of a surrogate, which
// has a mistake of its own, and finds the first.
func oneByteText(data []byte) (first, n int) {
	for i := 0; i < len(data); {
		r, size := utf8.DecodeRune(data[i:])
		if half := surrogates(data[i:]); half > 0 {
			size = half
		} else if r == utf8.RuneError && size <= 1 {
			if n == 0 {
				first = i
			}
			n++
		}
		i += size
	}
	return first, n
}

// placeOf is the line and column of a byte.
func placeOf(file string, data []byte, at int) Pos {
	before := data[:at]
	start := bytes.LastIndexByte(before, '\n') + 1
	return Pos{file, bytes.Count(before, []byte("\n")) + 1, utf8.RuneCount(before[start:]) + 1}
}

// surrogates is how many bytes at the start of data are one half, or both, of a
// character that some program wrote as UTF-16 and then byte by byte.
func surrogates(data []byte) int {
	n := 0
	for n < 6 && len(data) >= n+3 && data[n] == 0xED && data[n+1] >= 0xA0 && data[n+1] <= 0xBF && data[n+2]&0xC0 == 0x80 {
		n += 3
	}
	return n
}

// checkText reports every character of a file that is refused, and returns
// the set of them, so that values which hold them aren't reported again.
func checkText(file string, data []byte, found *collector) map[rune]bool {
	var bad map[rune]bool
	pos := Pos{File: file, Line: 1, Column: 1}
	for i := 0; i < len(data); {
		if data[i] >= ' ' && data[i] < 0x7F {
			pos.Column++
			i++
			continue
		}
		r, n := utf8.DecodeRune(data[i:])
		n = max(n, surrogates(data[i:]))
		if what := charProblem(data[i:], i == 0, r, n); what != "" {
			found.add(Mistake{
				At: pos, What: "character refused", Problem: problem.Problem{
					Found:    what,
					Expected: "text in UTF-8 of characters that can be seen",
					Advice:   "delete it, and type the word again by hand",
				},
			})
			if bad == nil {
				bad = map[rune]bool{}
			}
			bad[r] = true
		}
		pos.Column++
		if r == '\n' {
			pos.Line, pos.Column = pos.Line+1, 1
		}
		i += n
	}
	return bad
}

// charProblem says what is wrong with the character at the start of data, or
// "". A byte order mark may come first; CR may come before LF.
func charProblem(data []byte, first bool, r rune, n int) string {
	switch {
	case r == utf8.RuneError && surrogates(data) > 0:
		return "a character such as an emoji, written as two halves (surrogates), which is not UTF-8"
	case r == utf8.RuneError && n <= 1:
		return fmt.Sprintf("the byte 0x%02X, which is not UTF-8", data[0])
	case r == '\uFEFF' && first:
		return ""
	case r == '\r' && len(data) > 1 && data[1] == '\n':
		return ""
	case refused(r):
		return charName(r)
	}
	return ""
}

// firstRefused returns the first character of s that is not allowed in a
// value: what a file may not hold, tabs and line ends.
func firstRefused(s string) (rune, bool) {
	for _, r := range s {
		if refused(r) || r == '\t' || r == '\n' {
			return r, true
		}
	}
	return 0, false
}
