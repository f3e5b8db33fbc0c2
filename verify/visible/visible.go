// Package visible writes text from strangers so that what is shown is what is
// there: nothing in it can move the cursor, turn the line round, hide, or
// pass for another character's absence. Different texts stay different.
// Forms with quoting of their own (HTML, CSV, shells) are their writers' to guard.
package visible

import (
	"fmt"
	"strings"
	"unicode"
	"unicode/utf8"
)

// maxMarks is how many combining marks may stand on one character; more would
// grow over the lines above and below.
const maxMarks = 2

// The marks that an escape stands between. In the text itself they are
// escaped too, so that no text can forge an escape.
const (
	open = '‹'
	shut = '›'
)

// Visible returns s with every character that doesn't show as itself written as
// ‹U+202E›, and every byte that isn't UTF-8 as ‹xFF›: control, format and
// direction-changing characters, spaces other than U+0020, line separators,
// fillers, private and unassigned characters, heaps of combining marks.
// Different texts stay different.
func Visible(s string) string {
	var b strings.Builder
	marks := maxMarks // a mark with nothing to stand on is escaped
	for i := 0; i < len(s); {
		r, n := utf8.DecodeRuneInString(s[i:])
		switch {
		case r == utf8.RuneError && n == 1:
			fmt.Fprintf(&b, "%cx%02X%c", open, s[i], shut)
			marks = maxMarks
		case unicode.Is(unicode.M, r) && marks < maxMarks && !hidden(r):
			b.WriteRune(r)
			marks++
		case unicode.Is(unicode.M, r) || hidden(r):
			fmt.Fprintf(&b, "%cU+%04X%c", open, r, shut)
			marks = maxMarks
		default:
			b.WriteRune(r)
			marks = 0
		}
		i += n
	}
	return b.String()
}

// hidden reports whether r doesn't show, or shows as something else.
func hidden(r rune) bool {
	if r == open || r == shut {
		return true
	}
	return !unicode.IsPrint(r) || unicode.In(r, unicode.Other_Default_Ignorable_Code_Point, unicode.Variation_Selector) ||
		r == blankBraille
}

// blankBraille is a symbol by its category and a space by its looks.
const blankBraille = '\u2800'
