package sheet

// The margins of a page, in millimetres; the left one leaves room for holes.
const (
	left   = 18
	right  = 12
	top    = 8
	bottom = 7
	indent = 8 // of what is next to a box
)

// Widths of lines, in millimetres.
const (
	thin  = 0.2
	thick = 0.7
)

// piece is a part of the page that isn't broken: high millimetres, drawn from
// y downwards.
type piece struct {
	high float64
	draw func(y float64)
}

func height(all []piece) float64 {
	sum := 0.0
	for _, one := range all {
		sum += one.high
	}
	return sum
}

// gap is a piece of white.
func gap(high float64) piece { return piece{high, func(float64) {}} }

func drawAll(pieces []piece, y float64) {
	for _, one := range pieces {
		one.draw(y)
		y += one.high
	}
}

// merge sets two columns of pieces side by side, as one piece.
func merge(a, b []piece) []piece {
	return []piece{{max(height(a), height(b)), func(y float64) {
		drawAll(a, y)
		drawAll(b, y)
	}}}
}

// beside draws something else from the top of the first piece.
func beside(all []piece, draw func(y float64)) []piece {
	if len(all) == 0 {
		all = []piece{gap(0)}
	}
	before := all[0].draw
	all[0].draw = func(y float64) {
		draw(y)
		before(y)
	}
	return all
}

// layout sets text, lines and boxes on a page of a width.
type layout struct {
	*typesetter
	edge float64 // where the right margin begins, millimetres
}

// room is the width of what is printed.
func (p layout) room() float64 { return p.edge - left }

// line is a thin rule over the whole width.
func (p layout) line(y float64) { p.doc.Line(left, y, p.edge, y) }

// rule is a thin line with a little white above and below.
func (p layout) rule() piece {
	const white = 0.5
	return piece{2 * white, func(y float64) { p.line(y + white) }}
}

// cell is text in a column.
type cell struct {
	x, wide float64
	look    look
	text    string
}

// row sets cells side by side; each of its pieces is one line.
func (p layout) row(cells ...cell) []piece {
	var all []piece
	for _, c := range cells {
		if !p.faces[c.look.font].draws(c.text) && p.faces[sans].draws(c.text) {
			c.look.font = sans
		}
		for i, line := range p.wrap(c.text, c.wide, c.look) {
			if i == len(all) {
				all = append(all, piece{c.look.lead, func(float64) {}})
			}
			before := all[i].draw
			all[i].high = max(all[i].high, c.look.lead)
			all[i].draw = func(y float64) {
				before(y)
				p.text(c.x, y, c.look, line)
			}
		}
	}
	return all
}

// box is a box to tick, next to a line of a look.
func (p layout) box(x, y float64, l look) {
	const side = 3.6
	p.doc.SetLineWidth(2 * thin)
	p.doc.Rect(x, y+(l.lead-side)/2, side, side, "D")
	p.doc.SetLineWidth(thin)
}

func (p layout) bookmark(s string, level int, y float64) {
	p.doc.SetFont(bold, "", strong.size) // in whose encoding it is written
	p.doc.Bookmark(plainSpaces(s), level, y)
}
