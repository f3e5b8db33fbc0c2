package manifest

import (
	"fmt"
	"unicode"
	"unicode/utf8"
)

// refused tells whether a character may not stand in a shop's file: one that
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
		if problem := charProblem(data[i:], i == 0, r, n); problem != "" {
			found.add(Mistake{
				At: pos, What: "character refused", Found: problem,
				Expected: "text in UTF-8, with nothing in it but what can be seen",
				Hint:     "delete it, and type the word again by hand",
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
// "". A byte order mark may stand first; CR may stand before LF.
func charProblem(data []byte, first bool, r rune, n int) string {
	switch {
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

// firstRefused returns the first character of s that may not stand in a
// value: what a file may not hold, tabs and line ends.
func firstRefused(s string) (rune, bool) {
	for _, r := range s {
		if refused(r) || r == '\t' || r == '\n' {
			return r, true
		}
	}
	return 0, false
}
