package sheet

import (
	"fmt"
	"strings"
)

// maxLetters is how many letters of the shop's font a document takes.
const maxLetters = 4000

// shopDraws tells whether the shop's font draws r, and takes it into the document.
func (p *pdf) shopDraws(r rune) bool {
	if p.letters[r] {
		return true
	}
	if len(p.letters) == maxLetters || p.shops.glyph(r) == 0 {
		return false
	}
	p.letters[r] = true
	return true
}

// drawable puts a sign in the place of each character that no font has, and notes
// it: the page tells once which they are.
func (p *pdf) drawable(s string, l look) string {
	return strings.Map(func(r rune) rune {
		if p.faces[l.font].has(r) || p.shopDraws(r) {
			return r
		}
		p.missing[fmt.Sprintf("U+%04X", r)] = true
		return '□'
	}, strings.ToValidUTF8(s, "\ufffd"))
}
