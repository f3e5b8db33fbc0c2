package sheet

import (
	"bytes"
	"crypto/sha256"
	"fmt"
	"slices"

	"codeberg.org/go-pdf/fpdf"
)

// blockPieces turns blocks into pieces of a page.
type blockPieces struct {
	handwriting
	pageOf map[string]int // on which page each section begins; nil while that isn't known
	tall   float64        // room between a page's head and foot, millimetres
}

// flow sets facts one after another on lines, each whole where a line can hold
// it.
func (p blockPieces) flow(x, wide float64, all []Fact) []piece {
	const between, after = 5, 1.8
	var pieces []piece
	var line []cell
	at := x
	flush := func() {
		if line != nil {
			pieces = append(pieces, p.row(line...)...)
		}
		line, at = nil, x
	}
	for _, f := range all {
		look := small
		if f.Exact {
			look = exactly
		}
		head := p.measure(label)(f.Label) + after
		need := head + p.measure(look)(f.Value) + 0.1
		if at+need > x+wide && at > x {
			flush()
		}
		room := max(x+wide-at-head, wide/3)
		line = append(line, cell{at, head, label, f.Label}, cell{at + head, min(need-head, room), look, f.Value})
		at += need + between
	}
	flush()
	return pieces
}

// cards print the identity of cards, two side by side, each with its square
// code.
func (p blockPieces) cards(all []Card) [][]piece {
	const between = 5
	across := min(2, len(all))
	wide := (p.room() - between*float64(across-1)) / float64(max(1, across))
	var rows [][]piece
	for line := range slices.Chunk(all, max(1, across)) {
		var row []piece
		for i, c := range line {
			row = merge(row, p.card(left+float64(i)*(wide+between), wide, c))
		}
		rows = append(rows, append(row, gap(1.2)))
	}
	return rows
}

func (p blockPieces) card(x, wide float64, c Card) []piece {
	const side = 26
	text := wide
	if c.QR != "" {
		text -= side + 2
	}
	all := append([]piece{gap(0.3)}, p.row(cell{x, text, strong, c.Name})...)
	all = append(all, p.flow(x, text, c.Facts)...)
	if c.QR == "" {
		return all
	}
	if h := height(all); h < side {
		all = append(all, gap(side-h))
	}
	return beside(all, func(y float64) { p.code(c.QR, x+wide-side, y, side) })
}

// share is the used part of a card, from 0 to 1; anything used can be seen.
func share(r Room) float64 {
	const seen = 0.005
	if r.Bytes <= 0 || r.Used <= 0 {
		return 0
	}
	return min(max(float64(r.Used)/float64(r.Bytes), seen), 1)
}

// code draws text as a square code. The texts that a sheet makes are short
// enough for one; another is left out.
func (p blockPieces) code(text string, x, y, side float64) {
	code, ok := encode(text)
	if !ok {
		return
	}
	module := side / float64(code.Size+2*quiet)
	p.doc.SetFillColor(0, 0, 0)
	for row := range code.Size {
		for _, run := range blackRuns(code, row) {
			p.doc.Rect(x+module*float64(run[0]+quiet), y+module*float64(row+quiet), module*float64(run[1]), module, "F")
		}
	}
}

// picture sets a drawing over the whole width, with what it shows below it.
func (p blockPieces) picture(picture Picture) []piece {
	id := fmt.Sprintf("%x", sha256.Sum256(picture.PNG))
	png := fpdf.ImageOptions{ImageType: "PNG"}
	info := p.doc.RegisterImageOptionsReader(id, png, bytes.NewReader(picture.PNG))
	if info == nil || info.Width() == 0 {
		return p.row(cell{left, p.room(), small, picture.Says})
	}
	high := p.room() * info.Height() / info.Width()
	drawing := piece{high + 1, func(y float64) { p.doc.ImageOptions(id, left, y, p.room(), high, false, png, 0, "") }}
	return append(append([]piece{gap(1), drawing}, p.row(cell{left, p.room(), small, picture.Says})...), gap(2))
}

// The sign of a caution, and the room for it.
const (
	sign     = "⚠"
	signWide = 7
)

// caution is text with a sign and a bar before it.
func (p blockPieces) caution(x float64, s string) []piece {
	lines := p.row(cell{x + signWide, p.edge - x - signWide, strong, s})
	for i := range lines {
		draw, high := lines[i].draw, lines[i].high
		lines[i].draw = func(y float64) {
			p.doc.SetFillColor(0, 0, 0)
			p.doc.Rect(x, y, 1, high, "F")
			draw(y)
		}
	}
	lines = beside(lines, func(y float64) { p.text(x+1.8, y, strong, sign) })
	return append(lines, gap(0.8))
}

// cautions sets several below one another; short ones share a line.
func (p blockPieces) cautions(x float64, all []string) []piece {
	var pieces []piece
	for len(all) > 0 {
		line := all[0]
		n := 1
		for ; n < len(all); n++ {
			more := line + "  " + sign + noBreak + all[n]
			if p.measure(strong)(more) > p.edge-x-signWide {
				break
			}
			line = more
		}
		pieces = append(pieces, p.caution(x, line)...)
		all = all[n:]
	}
	return pieces
}

// tick is a box with what is to be done. A blank stands on the same line where
// there is room for a pen.
func (p blockPieces) tick(x float64, t Tick) []piece {
	const pen = 28
	wide := p.edge - x - indent
	text := p.measure(body)(t.Text) + 3
	blanks := t.Blanks
	var all []piece
	if len(blanks) == 1 || len(blanks) > 1 && blanks[1].Wide { // two short ones share a line of their own
		if b := blanks[0]; !b.Wide && len(t.Notes) == 0 && text+p.measure(small)(b.Label)+pen < wide {
			all = []piece{gap(penHigh - body.lead - 1), {body.lead + 1, func(y float64) {
				p.box(x, y, body)
				p.text(x+indent, y, body, t.Text)
				p.write(x+indent+text, p.edge, y, b.Label)
			}}}
			blanks = blanks[1:]
		}
	}
	if all == nil {
		all = beside(p.row(cell{x + indent, wide, body, t.Text}), func(y float64) { p.box(x, y, body) })
	}
	for _, note := range t.Notes {
		all = append(all, p.row(cell{x + indent, wide, small, note})...)
	}
	all = append(all, p.blanks(x+indent, blanks)...)
	return append(all, gap(0.7))
}

// boxes are set two side by side where both fit.
func (p blockPieces) boxes(all Boxes) []piece {
	const between = 4
	text := func(b Box) string { return b.Text + " (" + b.Note + ")" }
	half := (p.room() - between) / 2
	short := func(b Box) bool { return p.measure(small)(text(b)) <= half-indent }
	var pieces []piece
	for len(all) > 0 {
		line := all[:1]
		wide := p.room()
		if len(all) > 1 && short(all[0]) && short(all[1]) {
			line, wide = all[:2], half
		}
		all = all[len(line):]
		var cells []cell
		for i, b := range line {
			cells = append(cells, cell{left + float64(i)*(wide+between) + indent, wide - indent, small, text(b)})
		}
		pieces = append(pieces, beside(p.row(cells...), func(y float64) {
			for i := range line {
				p.box(left+float64(i)*(wide+between), y, small)
			}
		})...)
		pieces = append(pieces, gap(1))
	}
	return pieces
}

// signs are lines to sign on, a line each.
func (p blockPieces) signs(all Signs) []piece {
	const high = 10
	who := 0.0
	for _, s := range all {
		who = max(who, p.measure(label)(s.Who)+3)
	}
	var pieces []piece
	for _, s := range all {
		cells := p.share(left+who, s.Blanks)
		pieces = append(pieces, gap(high-small.lead-1), piece{small.lead + 1, func(y float64) {
			p.text(left, y, label, s.Who)
			for _, c := range cells {
				p.write(c.x, c.x+c.wide, y, c.text)
			}
		}})
	}
	return pieces
}
