package sheet

// handwriting leaves room to write on paper.
type handwriting struct {
	layout
	words words
}

// penHigh is the room for handwriting, in millimetres.
const penHigh = 8.3

// blanks are lines for a pen: wide ones each on its own, others two by two.
func (p handwriting) blanks(x float64, all []Blank) []piece {
	var pieces []piece
	for len(all) > 0 {
		n := 1
		if !all[0].Wide && len(all) > 1 && !all[1].Wide {
			n = 2
		}
		pieces = append(pieces, p.pen(p.share(x, all[:n]))...)
		all = all[n:]
	}
	return pieces
}

// share gives blanks on one line the same room to write in.
func (p handwriting) share(x float64, all []Blank) []cell {
	const between = 6
	free := p.edge - x - between*float64(len(all)-1)
	for _, b := range all {
		free -= p.measure(small)(p.asks(b))
	}
	cells := make([]cell, len(all))
	for i, b := range all {
		w := p.measure(small)(p.asks(b)) + free/float64(len(all))
		cells[i] = cell{x, w, small, p.asks(b)}
		x += w + between
	}
	return cells
}

// asks is the label of a blank, with what it must be.
func (p handwriting) asks(b Blank) string {
	if b.Want == "" {
		return b.Label
	}
	return b.Label + ", " + p.words.say("must", "version", b.Want)
}

// pen draws a line after each label; where that leaves too little room, each
// label has a line of its own, and the pen the next.
func (p handwriting) pen(cells []cell) []piece {
	const least = 24 // millimetres for handwriting
	for _, c := range cells {
		if c.wide-p.measure(c.look)(c.text) < least {
			return p.penBelow(cells)
		}
	}
	base := small.lead
	return []piece{gap(penHigh - base - 1), {base + 1, func(y float64) {
		for _, c := range cells {
			p.write(c.x, c.x+c.wide, y, c.text)
		}
	}}}
}

// write is a small label with a line for a pen after it.
func (p handwriting) write(from, to, y float64, text string) {
	p.text(from, y, small, text)
	p.doc.Line(from+p.measure(small)(text)+2, y+small.lead, to, y+small.lead)
}

func (p handwriting) penBelow(cells []cell) []piece {
	x, wide := cells[0].x, p.edge-cells[0].x
	var all []piece
	for _, c := range cells {
		all = append(all, gap(1.5))
		all = append(all, p.row(cell{x, wide, c.look, c.text})...)
		all = append(all, piece{penHigh, func(y float64) { p.doc.Line(x, y+penHigh-0.5, x+wide, y+penHigh-0.5) }})
	}
	return all
}

// toWrite gives a row the height of handwriting, and a frame in a column.
func (p handwriting) toWrite(pieces []piece, c cell) []piece {
	if h := height(pieces); h < penHigh {
		pieces = append(pieces, gap(penHigh-h))
	}
	total := height(pieces)
	return beside(pieces, func(y float64) { p.doc.Rect(c.x, y, c.wide, total, "D") })
}
