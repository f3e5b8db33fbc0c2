package sheet

import (
	"fmt"
	"strings"
)

// maxLetters is how many letters of the shop's font a document takes.
const maxLetters = 4000

// shopDraws reports whether the shop's font draws r, and takes it into the document.
func (t *typesetter) shopDraws(r rune) bool {
	if t.letters[r] {
		return true
	}
	if len(t.letters) == maxLetters || t.shops.glyph(r) == 0 {
		return false
	}
	t.letters[r] = true
	return true
}

// drawable puts a sign in the place of each character that no font has, and notes
// it: the page tells once which they are.
func (t *typesetter) drawable(s string, l look) string {
	return strings.Map(func(r rune) rune {
		if t.faces[l.font].has(r) || t.shopDraws(r) {
			return r
		}
		t.missing[fmt.Sprintf("U+%04X", r)] = true
		return '□'
	}, strings.ToValidUTF8(s, "\ufffd"))
}
