package sheet

import (
	"bytes"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"codeberg.org/go-pdf/fpdf"
	"rsc.io/qr"
)

// head is what stands on the first page only.
func (p *pdf) head() {
	p.put(append(p.row(cell{left, p.room(), title, p.sheet.Title}), gap(1)))
	p.put(append(p.row(cell{left, p.room(), body, p.sheet.Stamp.Text}), gap(2)))
	facts := p.sheet.Facts
	if p.sheet.By.Value != "" {
		facts = append(facts[:len(facts):len(facts)], Fact{p.sheet.By.Label, p.sheet.By.Value, false})
	}
	p.put(p.facts(left, p.room(), facts))
	if p.sheet.By.Value == "" {
		p.put(p.blanks(left, []Blank{p.sheet.By}))
	}
}

// facts set their labels in one column and their values in another.
func (p *pdf) facts(x, wide float64, all []Fact) []piece {
	column := 0.0
	for _, f := range all {
		column = max(column, p.measure(label)(f.Label))
	}
	column = min(column+4, wide/2)
	var pieces []piece
	for _, f := range all {
		l := small
		if f.Exact {
			l = exactly
		}
		pieces = append(pieces, p.row(cell{x, column - 2, label, f.Label}, cell{x + column, wide - column, l, f.Value})...)
	}
	return pieces
}

// title begins a part; it stays with what follows it.
func (p *pdf) title(s string) []piece {
	return append(append([]piece{gap(5)}, p.row(cell{left, p.room(), heading, s})...), p.rule())
}

// card tells a card's identity, with its square code beside it.
func (p *pdf) card(c Card) {
	const side = 38
	wide := p.room()
	if c.QR != "" {
		wide -= side + 4
	}
	facts := p.facts(left, wide, c.Facts)
	if c.Room != nil {
		facts = append(facts, gap(1.5), p.bar(*c.Room, wide))
	}
	if c.QR != "" {
		if h := height(facts); h < side {
			facts = append(facts, gap(side-h))
		}
		facts = beside(facts, func(y float64) { p.code(c.QR, p.wide-right-side, y, side) })
		facts = append(facts, p.row(cell{left, p.room(), small, p.words.say("card.qr")})...)
	}
	p.put(append(p.title(c.Name), facts...))
}

// bar shows how full a card is.
func (p *pdf) bar(r Room, wide float64) piece {
	const high = 4.5
	return piece{high + 2, func(y float64) {
		p.doc.SetFillColor(0, 0, 0)
		p.doc.Rect(left, y, wide*share(r), high, "F")
		p.doc.Rect(left, y, wide, high, "D")
	}}
}

// share is the used part of a card, from 0 to 1; anything used can be seen.
func share(r Room) float64 {
	const seen = 0.005
	if r.Bytes <= 0 || r.Used <= 0 {
		return 0
	}
	return min(max(float64(r.Used)/float64(r.Bytes), seen), 1)
}

// quiet is the white that a reader of square codes needs around one, in
// modules (ISO/IEC 18004).
const quiet = 4

// code draws text as a square code. The texts that a sheet makes are short
// enough for one; another is left out.
func (p *pdf) code(text string, x, y, side float64) {
	code, err := qr.Encode(text, qr.M)
	if err != nil {
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

// blackRuns are the runs of black modules in a row: where each begins, and how
// long it is.
func blackRuns(code *qr.Code, row int) [][2]int {
	var runs [][2]int
	for x := 0; x < code.Size; x++ {
		if !code.Black(x, row) {
			continue
		}
		from := x
		for x < code.Size && code.Black(x, row) {
			x++
		}
		runs = append(runs, [2]int{from, x - from})
	}
	return runs
}

func (p *pdf) section(number int, s Section) {
	first := p.title(fmt.Sprintf("%d  %s", number, s.Title))
	for _, c := range s.Cautions {
		first = append(first, p.caution(left, c)...)
	}
	first = append(first, gap(1))
	for i, part := range p.parts(s) {
		if i > 0 {
			p.put(first)
			first = nil
		}
		first = append(first, part...)
	}
	switch {
	case len(s.Steps) > 0:
		p.under(s.Title, first, p.stepHead(), p.steps(s.Steps))
	case s.Table != nil:
		p.table(s.Title, first, *s.Table)
	case len(s.Checks) > 0:
		p.checks(first, s.Checks)
	default:
		p.last(first, s)
		return
	}
	p.last(nil, s)
}

// last is what ends a section, after what comes first.
func (p *pdf) last(first []piece, s Section) {
	var parts [][]piece
	for _, t := range s.Then {
		parts = append(parts, append([]piece{gap(2)}, p.tick(t)...))
	}
	for _, b := range s.Blanks {
		parts = append(parts, p.blanks(left, []Blank{b}))
	}
	for _, sign := range s.Signs {
		parts = append(parts, slices.Concat(p.row(cell{left, p.room(), strong, sign.Who}), p.blanks(left, sign.Blanks), []piece{gap(4)}))
	}
	for _, part := range parts {
		p.put(append(first, part...))
		first = nil
	}
	p.put(first)
}

// parts are the text and the boxes at the head of a section.
func (p *pdf) parts(s Section) [][]piece {
	var parts [][]piece
	for _, text := range s.Text {
		parts = append(parts, append(p.row(cell{left, p.room(), body, text}), gap(1)))
	}
	for _, t := range s.Ticks {
		parts = append(parts, p.tick(t))
	}
	for i, picture := range s.Pictures {
		parts = append(parts, p.picture(fmt.Sprintf("%s-%d", s.ID, i+1), picture))
	}
	return parts
}

// picture sets a drawing over the whole width, with what it shows below it.
func (p *pdf) picture(id string, picture Picture) []piece {
	png := fpdf.ImageOptions{ImageType: "PNG"}
	info := p.doc.RegisterImageOptionsReader(id, png, bytes.NewReader(picture.PNG))
	if info == nil || info.Width() == 0 {
		return p.row(cell{left, p.room(), small, picture.Says})
	}
	high := p.room() * info.Height() / info.Width()
	drawing := piece{high + 1, func(y float64) { p.doc.ImageOptions(id, left, y, p.room(), high, false, png, 0, "") }}
	return append(append([]piece{gap(1), drawing}, p.row(cell{left, p.room(), small, picture.Says})...), gap(2))
}

// caution is text with a sign and a bar before it.
func (p *pdf) caution(x float64, s string) []piece {
	lines := p.row(cell{x + indent, p.wide - right - x - indent, strong, s})
	for i := range lines {
		draw, high := lines[i].draw, lines[i].high
		lines[i].draw = func(y float64) {
			p.doc.SetFillColor(0, 0, 0)
			p.doc.Rect(x, y, 1, high, "F")
			draw(y)
		}
	}
	lines = beside(lines, func(y float64) { p.text(x+2.4, y, strong, "⚠") })
	return append(lines, gap(1))
}

func (p *pdf) tick(t Tick) []piece {
	wide := p.room() - indent
	all := beside(p.row(cell{left + indent, wide, body, t.Text}), func(y float64) { p.box(left, y, body) })
	for _, note := range t.Notes {
		all = append(all, p.row(cell{left + indent, wide, small, note})...)
	}
	all = append(all, p.blanks(left+indent, t.Blanks)...)
	return append(all, gap(1.6))
}

// under sets rows below the head of a table, the first of them on one page with
// what leads to it. The head, with the section's title, is drawn again on each
// page that the table goes on.
func (p *pdf) under(title string, first, head []piece, rows [][]piece) {
	if len(rows) > 0 {
		first = slices.Concat(first, head, rows[0])
		rows = rows[1:]
	}
	p.put(first)
	p.headline = func() {
		p.text(left, p.y, strong, p.words.say("continued", "title", title))
		p.y += strong.lead + 1
		for _, one := range head {
			one.draw(p.y)
			p.y += one.high
		}
	}
	for _, row := range rows {
		p.put(row)
	}
	p.headline = nil
}

// The columns of the table of steps, from the left margin.
const (
	numberAt  = 8
	deviceAt  = 24
	versionAt = 86
	minutesAt = 30 // from the right
)

func (p *pdf) stepRow(number, device, versions, minutes cell) []piece {
	number.x, number.wide = left+numberAt, deviceAt-numberAt-2
	device.x, device.wide = left+deviceAt, versionAt-deviceAt-3
	versions.x, versions.wide = left+versionAt, p.room()-versionAt-minutesAt-2
	minutes.x, minutes.wide = p.wide-right-minutesAt, minutesAt
	return p.row(number, device, versions, minutes)
}

func (p *pdf) stepHead() []piece {
	say := func(key string) cell { return cell{look: label, text: p.words.say(key)} }
	return append(p.stepRow(say("step.number"), say("step.device"), say("step.versions"), say("step.minutes")), p.rule())
}

func (p *pdf) steps(all []Step) [][]piece {
	rows := make([][]piece, len(all))
	for i, s := range all {
		rows[i] = p.step(s)
	}
	return rows
}

func (p *pdf) step(s Step) []piece {
	x, wide := float64(left+deviceAt), p.room()-deviceAt
	versions := p.words.say("step.from.to", "from", s.From, "to", s.To)
	var below []piece
	if p.measure(big)(versions) > p.room()-versionAt-minutesAt-2 { // no version is broken for want of room in a column
		below = p.row(cell{x, wide, exact, versions})
		versions = ""
	}
	all := p.stepRow(
		cell{look: big, text: strconv.Itoa(s.Number)}, cell{look: strong, text: s.Device},
		cell{look: big, text: versions}, cell{look: body, text: s.Minutes},
	)
	all = append(beside(all, func(y float64) { p.box(left, y, big) }), below...)
	all = append(all, p.row(cell{x, wide, small, strings.Join(notEmpty(s.Model, s.Place), ", ")})...)
	all = append(all, p.facts(x, wide, s.Facts)...)
	all = append(all, gap(1))
	for _, c := range s.Cautions {
		all = append(all, p.caution(x, c)...)
	}
	for i, do := range s.Do {
		all = append(all, p.row(cell{x, 6, strong, string(rune('a' + i))}, cell{x + 6, wide - 6, body, do})...)
	}
	all = append(all, p.blanks(x, []Blank{s.Read, s.Took})...)
	all = append(all, gap(3), piece{body.lead, func(y float64) {
		to := p.results(x, y, "result.done", "result.failed", "result.put off")
		p.write(to, p.wide-right, y, s.Note.Label)
	}})
	return append(all, gap(1), p.rule())
}

func notEmpty(all ...string) []string {
	var some []string
	for _, s := range all {
		if s != "" {
			some = append(some, s)
		}
	}
	return some
}

// results are boxes of which one is ticked, from x on; it returns where they
// end.
func (p *pdf) results(x, y float64, keys ...string) float64 {
	for _, key := range keys {
		p.box(x, y, body)
		p.text(x+6, y, body, p.words.say(key))
		x += p.measure(body)(p.words.say(key)) + 12
	}
	return x
}

// checks are grouped by what is to be done, after what comes first; each device
// has a line of its own.
func (p *pdf) checks(first []piece, all []Check) {
	for _, same := range alike(all) {
		first = append(first, p.row(cell{left, p.room(), strong, same[0].Name})...)
		first = append(first, p.row(cell{left, p.room(), body, same[0].How})...)
		rows := make([][]piece, len(same))
		for i, c := range same {
			rows[i] = p.check(c)
		}
		rows[len(rows)-1] = append(rows[len(rows)-1], gap(1), p.rule())
		p.under(same[0].Name, first, nil, rows)
		first = nil
	}
}

func (p *pdf) check(c Check) []piece {
	const high, device = 9.5, 50
	row := p.row(cell{left + indent, device - indent - 2, strong, c.Device})
	above := max(high-height(row), 1)
	return append([]piece{gap(above)}, beside(row, func(y float64) {
		x := p.results(left+device, y, "check.passed", "check.failed", "check.not done")
		p.write(x, p.wide-right, y, c.Value.Label)
	})...)
}

// table sets rows in columns as wide as their texts ask for.
func (p *pdf) table(title string, first []piece, t Table) {
	columns := p.columns(t)
	row := func(l look, texts []string) []piece {
		cells := make([]cell, len(texts))
		for i, text := range texts {
			cells[i] = cell{columns[i].x, columns[i].wide, l, text}
		}
		return p.row(cells...)
	}
	var rows [][]piece
	for _, r := range t.Rows {
		pieces := row(small, r.Cells)
		if r.Blank != nil {
			pieces = p.toWrite(pieces, columns[len(columns)-1])
		}
		rows = append(rows, append(pieces, p.rule()))
	}
	p.under(title, first, append(row(label, t.Head), p.rule()), rows)
}

// toWrite gives a row the height of handwriting, and a frame in a column.
func (p *pdf) toWrite(pieces []piece, c cell) []piece {
	const high = 8
	if h := height(pieces); h < high {
		pieces = append(pieces, gap(high-h))
	}
	total := height(pieces)
	return beside(pieces, func(y float64) { p.doc.Rect(c.x, y, c.wide, total, "D") })
}

// columns of a table: each at least as wide as its longest word, the rest
// shared by what each text asks for.
func (p *pdf) columns(t Table) []cell {
	const between, blank, slack = 3, 32, 0.1
	least, asked := make([]float64, len(t.Head)), make([]float64, len(t.Head))
	note := func(i int, l look, text string) {
		asked[i] = max(asked[i], p.measure(l)(text)+slack)
		for word := range strings.SplitSeq(text, " ") {
			least[i] = max(least[i], p.measure(l)(word)+slack)
		}
	}
	for i, h := range t.Head {
		note(i, label, h)
	}
	for _, r := range t.Rows {
		for i, c := range r.Cells {
			note(i, small, c)
		}
		if r.Blank != nil {
			least[len(t.Head)-1], asked[len(t.Head)-1] = blank, blank
		}
	}
	return spread(least, asked, left, p.room(), between)
}

// spread shares a width among columns.
func spread(least, asked []float64, x, wide, between float64) []cell {
	free := wide - between*float64(len(least)-1)
	sumLeast, more := 0.0, 0.0
	for i := range least {
		sumLeast += least[i]
		more += asked[i] - least[i]
	}
	cells := make([]cell, len(least))
	for i := range least {
		w := least[i]
		switch {
		case sumLeast > free:
			w *= free / sumLeast
		case more > 0:
			w += min(1, (free-sumLeast)/more) * (asked[i] - least[i])
		}
		cells[i] = cell{x: x, wide: w}
		x += w + between
	}
	return cells
}
