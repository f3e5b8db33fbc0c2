package sheet

import (
	"strings"

	"github.com/clipperhouse/displaywidth"
)

// noBreak is the space in names.
const noBreak = "\u00a0"

// broken ends a line whose last word goes on in the next: no
// file name on FAT can hold it.
const broken = "\\"

// wrap breaks s at its spaces into lines no wider than wide. A word wider than
// a line is broken, and so marked. Widths are in the unit of measure.
func wrap(s string, wide float64, measure func(string) float64) []string {
	var lines []string
	line, used, space := "", 0.0, measure(" ")
	for word := range strings.FieldsFuncSeq(s, func(r rune) bool { return r == ' ' }) {
		w := measure(word)
		if line != "" && used+space+w <= wide {
			line, used = line+" "+word, used+space+w
			continue
		}
		if line != "" {
			lines = append(lines, line)
		}
		if w > wide {
			whole := chop(word, wide, measure)
			lines = append(lines, whole[:len(whole)-1]...)
			word = whole[len(whole)-1]
			w = measure(word)
		}
		line, used = word, w
	}
	return append(lines, line)
}

// chop breaks a word into parts no wider than wide, each of one character at
// least, with the mark at the end of all but the last.
func chop(word string, wide float64, measure func(string) float64) []string {
	var parts []string
	room := wide - measure(broken)
	from, at, used := 0, 0, 0.0
	for g := displaywidth.StringGraphemes(word); g.Next(); {
		w := measure(g.Value())
		if at > from && used+w > room {
			parts = append(parts, word[from:at]+broken)
			from, used = at, 0
		}
		at, used = at+len(g.Value()), used+w
	}
	return append(parts, word[from:])
}

// columns is how many columns of a terminal s takes.
func columns(s string) float64 { return float64(displaywidth.String(s)) }

// plainSpaces writes names with the spaces that they have.
func plainSpaces(s string) string { return strings.ReplaceAll(s, noBreak, " ") }
