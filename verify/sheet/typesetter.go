package sheet

import (
	"strings"

	"codeberg.org/go-pdf/fpdf"
)

// typesetter knows how wide text is and draws it, each letter in a font that has
// it. It notes what no font has.
type typesetter struct {
	doc      *fpdf.Fpdf
	faces    map[string]*typeface
	shops    *Font           // for what faces don't have; nil: none
	letters  map[rune]bool   // that are drawn by it
	embedded bool            // it is in the document
	missing  map[string]bool // characters that no font has, by their numbers
	broken   bool            // some name went over the end of a line
}

// condensed is how wide letters are drawn: the fonts are wide ones, and their
// makers' condensed cut has the same shapes at nine tenths of the width.
const condensed = 0.9

// measure gives the width of text in a look, in millimetres.
func (t *typesetter) measure(l look) func(string) float64 {
	return func(s string) (sum float64) {
		for _, run := range t.runs(s, l) {
			sum += t.wideOf(run, l.size)
		}
		return sum
	}
}

// run is text in one font.
type run struct{ font, text string }

// runs are the parts of a text by the fonts that have their letters.
func (t *typesetter) runs(s string, l look) []run {
	var all []run
	begin := 0
	for i, r := range s {
		font := t.fontFor(r, l)
		switch {
		case all == nil:
			all = append(all, run{font: font})
		case all[len(all)-1].font != font:
			all[len(all)-1].text = s[begin:i]
			all = append(all, run{font: font})
			begin = i
		}
	}
	if all != nil {
		all[len(all)-1].text = s[begin:]
	}
	return all
}

// fontFor is the font that draws r in a look: its own where it can.
func (t *typesetter) fontFor(r rune, l look) string {
	if !t.faces[l.font].has(r) && t.shopDraws(r) {
		return own
	}
	return l.font
}

func (t *typesetter) wideOf(r run, size float64) float64 {
	const point = 25.4 / 72 // millimetres
	if r.font == own {
		return condensed * t.shops.width(r.text, size) * point
	}
	t.doc.SetFont(r.font, "", size)
	return condensed * t.doc.GetStringWidth(r.text)
}

// text writes one line whose top is at y.
func (t *typesetter) text(x, y float64, l look, s string) {
	const baseline = 0.76 // of the lead
	for _, run := range t.runs(plainSpaces(t.drawable(s, l)), l) {
		if run.font != own || t.embedded {
			t.doc.SetFont(run.font, "", l.size)
			t.doc.Text(x, y+l.lead*baseline, run.text)
		}
		x += t.wideOf(run, l.size)
	}
}

// wrap breaks text into lines of a width.
func (t *typesetter) wrap(s string, wide float64, l look) []string {
	lines := wrap(t.drawable(s, l), wide, t.measure(l))
	for _, line := range lines {
		t.broken = t.broken || strings.HasSuffix(line, broken)
	}
	return lines
}
