package sheet

import (
	"bytes"
	_ "embed"
	"fmt"

	"codeberg.org/go-pdf/fpdf"
	"golang.org/x/image/font/sfnt"
)

// The fonts of the PDF form, which are part of it (licence: fonts/LICENSE). The
// one for names and versions tells 0 from O and 1 from l.
var (
	//go:embed fonts/DejaVuSans.ttf
	sansFont []byte
	//go:embed fonts/DejaVuSans-Bold.ttf
	boldFont []byte
	//go:embed fonts/DejaVuSansMono-Bold.ttf
	monoFont []byte
)

// look is a font at a size.
type look struct {
	font string
	size float64 // points
	lead float64 // from line to line, millimetres
}

const (
	sans = "sans"
	bold = "bold"
	mono = "mono"
	own  = "own" // the shop's, for what the others haven't
)

// The looks of the page, chosen to be read at arm's length.
var (
	body    = look{sans, 11, 4.55}
	strong  = look{bold, 11, 4.55}
	exact   = look{mono, 11, 4.55}
	big     = look{mono, 13, 5.4}
	small   = look{sans, 9, 3.75}
	label   = look{bold, 9, 3.75}
	exactly = look{mono, 9, 3.75}
	fine    = look{sans, 9, 3.75}
	heading = look{bold, 12, 4.9}
	title   = look{bold, 24, 10}
)

// typeface knows which characters a font can draw.
type typeface struct {
	font  *sfnt.Font
	buf   sfnt.Buffer
	known map[rune]bool
}

// draws reports whether the font has a shape for every character of s.
func (f *typeface) draws(s string) bool {
	for _, r := range s {
		if !f.has(r) {
			return false
		}
	}
	return true
}

// has reports whether the font has a shape for r. What lies beyond the first
// plane of Unicode the PDF library can't write.
func (f *typeface) has(r rune) bool {
	const lastOfFirstPlane = 0xffff
	if r > lastOfFirstPlane {
		return false
	}
	has, ok := f.known[r]
	if !ok {
		i, err := f.font.GlyphIndex(&f.buf, r)
		has = err == nil && i != 0
		f.known[r] = has
	}
	return has
}

// addFonts gives the document its fonts.
func addFonts(doc *fpdf.Fpdf) (map[string]*typeface, error) {
	faces := map[string]*typeface{}
	for name, data := range map[string][]byte{sans: sansFont, bold: boldFont, mono: monoFont} {
		font, err := sfnt.Parse(data)
		if err != nil {
			return nil, fmt.Errorf("reading font %s: %w", name, err)
		}
		faces[name] = &typeface{font: font, known: map[rune]bool{}}
	}
	for _, f := range []struct {
		name string
		data []byte
	}{{sans, sansFont}, {bold, boldFont}, {mono, monoFont}} {
		doc.AddUTF8FontFromBytes(f.name, "", bytes.Clone(f.data)) // it writes into them
	}
	return faces, doc.Error()
}
