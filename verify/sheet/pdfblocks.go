package sheet

import (
	"bytes"
	"crypto/sha256"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"codeberg.org/go-pdf/fpdf"
)

// head is what stands on the first page only: the vessel, larger than all else,
// and who does the work beside it where there is room.
func (p *pdf) head() {
	const signing = 75
	by := p.sheet.By
	name := p.row(cell{left, p.room(), title, p.sheet.Vessel})
	if p.measure(title)(p.sheet.Vessel) > p.room() { // too long for a line: broken between its words
		name = p.row(cell{left, p.room(), title, plainSpaces(p.sheet.Vessel)})
	}
	beside := by.ID != "" && by.Value == "" && p.sheet.Vessel != "" && p.measure(title)(p.sheet.Vessel) < p.room()-signing
	if beside {
		name = append(name[:0:0], piece{title.lead, func(y float64) {
			p.text(left, y, title, p.sheet.Vessel)
			p.write(p.wide-right-signing+5, p.wide-right, y+title.lead-small.lead-1, by.Label)
		}})
	}
	if p.sheet.Vessel != "" {
		p.put(name)
	}
	p.put(append(p.row(cell{left, p.room(), body, strings.Join(notEmpty(p.sheet.Title, p.sheet.About), " · ")}), gap(0.8)))
	p.put(p.row(cell{left, p.room(), body, p.sheet.Stamp.Text}))
	switch {
	case beside || by.ID == "":
	case by.Value == "":
		p.put(p.blanks(left, []Blank{by}))
	default:
		p.put(p.row(cell{left, p.room(), body, by.Label + ": " + by.Value}))
	}
}

// section draws a part of the sheet. Its title, and headings and cautions in it,
// stay with what follows them.
func (p *pdf) section(number int, s Section) {
	first := p.title(s.ID, fmt.Sprintf("%d  %s", number, s.Title))
	if s.Whole {
		for _, b := range s.Blocks {
			first = append(first, p.pieces(b)...)
		}
		p.put(first)
		return
	}
	for i, b := range s.Blocks {
		switch b := b.(type) {
		case Heading, Caution:
			first = append(first, p.pieces(b)...)
			continue
		case Paragraph:
			first = append(first, p.pieces(b)...)
			if leads(s.Blocks[i+1:]) {
				continue
			}
			p.put(first)
		case Table:
			p.table(s.Title, first, b)
		case Checks:
			p.checks(s.Title, first, b)
		case Facts:
			first = append(first, p.pieces(b)...)
			if _, ok := following(s.Blocks[i+1:]).(Cards); ok {
				continue // whose plan they are of
			}
			p.put(first)
		case Cards:
			for _, row := range p.cards(b) {
				p.put(append(first, row...))
				first = nil
			}
		default:
			p.put(append(first, p.pieces(b)...))
		}
		first = nil
	}
	p.put(first)
}

// following is the next block, or nil.
func following(rest []Block) Block {
	if len(rest) == 0 {
		return nil
	}
	return rest[0]
}

// leads tells whether text stays with what follows it: a table, boxes or steps
// that it is said of.
func leads(rest []Block) bool {
	switch following(rest).(type) {
	case Caution, Heading, Table, Boxes, Step, Checks:
		return true
	}
	return false
}

// title begins a section, with a bookmark.
func (p *pdf) title(id, s string) []piece {
	begins := piece{0, func(y float64) {
		p.pages[id] = p.doc.PageNo()
		p.bookmark(s, 0, y)
	}}
	return slices.Concat([]piece{gap(1.3), begins}, p.row(cell{left, p.room(), heading, s}), []piece{p.rule()})
}

func (p *pdf) bookmark(s string, level int, y float64) {
	p.doc.SetFont(bold, "", strong.size) // in whose encoding it is written
	p.doc.Bookmark(plainSpaces(s), level, y)
}

// pieces are a block as it stands on paper.
func (p *pdf) pieces(b Block) []piece {
	switch b := b.(type) {
	case Heading:
		return append([]piece{gap(1)}, append(p.row(cell{left, p.room(), strong, string(b)}), gap(0.6))...)
	case Paragraph:
		return append(p.row(cell{left, p.room(), body, string(b)}), gap(0.7))
	case Caution:
		return p.caution(left, string(b))
	case Facts:
		return append(p.flow(left, p.room(), b), gap(0.4))
	case Tick:
		return p.tick(left, b)
	case Step:
		return p.step(b)
	case Boxes:
		return p.boxes(b)
	case Blanks:
		return p.blanks(left, b)
	case Signs:
		return p.signs(b)
	case Picture:
		return p.picture(b)
	case Network:
		return p.network(b)
	}
	return nil
}

// flow sets facts one after another on lines, each whole where a line can hold
// it.
func (p *pdf) flow(x, wide float64, all []Fact) []piece {
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

// cards tell the identity of cards, two beside each other, each with its square
// code.
func (p *pdf) cards(all []Card) [][]piece {
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

func (p *pdf) card(x, wide float64, c Card) []piece {
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
func (p *pdf) code(text string, x, y, side float64) {
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
func (p *pdf) picture(picture Picture) []piece {
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
func (p *pdf) caution(x float64, s string) []piece {
	lines := p.row(cell{x + signWide, p.wide - right - x - signWide, strong, s})
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
func (p *pdf) cautions(x float64, all []string) []piece {
	var pieces []piece
	for len(all) > 0 {
		line := all[0]
		n := 1
		for ; n < len(all); n++ {
			more := line + "  " + sign + noBreak + all[n]
			if p.measure(strong)(more) > p.wide-right-x-signWide {
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
func (p *pdf) tick(x float64, t Tick) []piece {
	const pen = 28
	wide := p.wide - right - x - indent
	text := p.measure(body)(t.Text) + 3
	blanks := t.Blanks
	var all []piece
	if len(blanks) == 1 || len(blanks) > 1 && blanks[1].Wide { // two short ones share a line of their own
		if b := blanks[0]; !b.Wide && len(t.Notes) == 0 && text+p.measure(small)(b.Label)+pen < wide {
			all = []piece{gap(penHigh - body.lead - 1), {body.lead + 1, func(y float64) {
				p.box(x, y, body)
				p.text(x+indent, y, body, t.Text)
				p.write(x+indent+text, p.wide-right, y, b.Label)
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

// boxes stand two beside each other where both fit.
func (p *pdf) boxes(all Boxes) []piece {
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
func (p *pdf) signs(all Signs) []piece {
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

// stepBlanks is the width of what is read beside the work, millimetres.
const stepBlanks = 54

// step is one update: the number and the versions first; what can hurt; the work
// to the left, the versions read to the right; what became of it.
func (p *pdf) step(s Step) []piece {
	x, wide := float64(left+indent), p.room()-indent
	all := p.stepHead(s, x, wide)
	where := strings.Join(notEmpty(s.Model, s.Place, s.Minutes, p.words.say("step.clock", "clock", s.Clock)), ", ")
	all = append(all, p.row(cell{x, wide, small, where})...)
	all = append(all, gap(0.8))
	all = append(all, p.cautions(x, s.Cautions)...)
	fails := Fact{p.words.say("step.fails"), p.words.say("see.page", "n", strconv.Itoa(p.known["fails"])), false}
	all = append(all, p.flow(x, wide, append(s.Facts[:len(s.Facts):len(s.Facts)], fails))...)
	all = append(all, gap(0.8))
	for _, t := range s.First {
		all = append(all, p.tick(x, t)...)
	}
	work, written := p.stepWork(s, x, wide-stepBlanks-4), p.stepWritten(s, p.wide-right-stepBlanks)
	if most := (p.floor() - p.firstLine()) / 2; height(work) < most && height(written) < most {
		all = append(all, merge(work, written)...)
	} else { // too long to stand on one page beside each other
		all = append(all, append(work, written...)...)
	}
	all = append(all, p.stepResult(s, x)...)
	for _, t := range s.Then {
		all = append(all, p.tick(x, t)...)
	}
	return append(all, p.rule())
}

// stepHead is a step's number, device and versions.
func (p *pdf) stepHead(s Step, x, wide float64) []piece {
	const number = 9
	versions := p.words.say("step.from.to", "from", s.From, "to", s.To)
	long := p.measure(big)(versions) + 0.1
	n := cell{x, number, big, strconv.Itoa(s.Number)}
	var all []piece
	if number+p.measure(strong)(s.Device)+6+long < wide {
		all = p.row(n, cell{x + number, wide - number - long - 1, strong, s.Device}, cell{p.wide - right - long, long, big, versions})
	} else { // no version is broken for want of room beside a name
		all = append(p.row(n, cell{x + number, wide - number, strong, s.Device}), p.row(cell{x + number, wide - number, exact, versions})...)
	}
	return beside(all, func(y float64) {
		p.box(left, y, big)
		p.bookmark(s.Name+": "+s.Device, 1, y)
	})
}

// stepWork is what is done.
func (p *pdf) stepWork(s Step, x, wide float64) []piece {
	var all []piece
	for i, do := range s.Do {
		all = append(all, p.row(cell{x, 6, strong, string(rune('a' + i))}, cell{x + 6, wide - 6, body, do})...)
	}
	return all
}

// stepWritten is what the device shows, before and after.
func (p *pdf) stepWritten(s Step, x float64) []piece {
	var all []piece
	for _, b := range []Blank{s.Before, s.Read} {
		all = append(all, p.pen([]cell{{x, p.wide - right - x, small, p.asks(b)}})...)
	}
	return all
}

// stepResult is what became of a step, on a line.
func (p *pdf) stepResult(s Step, x float64) []piece {
	const minutes = 34
	return []piece{gap(penHigh - small.lead - 1), {small.lead + 1, func(y float64) {
		p.write(x, x+minutes, y, s.Took.Label)
		at := x + minutes + 5
		for _, key := range []string{"result.done", "result.failed", "result.put off"} {
			p.box(at, y, small)
			p.text(at+4.6, y, small, p.words.say(key))
			at += p.measure(small)(p.words.say(key)) + 8.5
		}
		p.write(at, p.wide-right, y, s.Note.Label)
	}}, gap(1)}
}

// The columns of the table of checks, millimetres: what is checked takes what is
// left.
const (
	checkDevice = 20
	checkBox    = 13
	checkValue  = 27
)

// checks are one table: what is to be done, and for each device the boxes and
// the value.
func (p *pdf) checks(title string, first []piece, all Checks) {
	results := []string{"check.passed", "check.failed", "check.not done"}
	device := p.wide - right - checkValue - float64(len(results))*checkBox - checkDevice
	box := device + checkDevice
	value := p.wide - right - checkValue
	words := cell{left, device - left - 2, small, ""}
	say := func(x, wide float64, key string) cell { return cell{x, wide, label, p.words.say(key)} }
	head := []cell{say(left, device-left-2, "check.head"), say(device, checkDevice-2, "check.device"), say(value+1, checkValue, "check.value")}
	for i, key := range results {
		head = append(head, say(box+float64(i)*checkBox, checkBox-1, key))
	}
	var rows [][]piece
	for _, same := range alike(all) {
		words.look, words.text = label, same[0].Name
		what := p.row(words)
		words.look, words.text = small, same[0].How
		what = append(what, p.row(words)...)
		var lines []piece
		for _, c := range same {
			line := p.row(cell{device, checkDevice - 2, small, c.Device})
			if h := height(line); h < penHigh {
				line = append(line, gap(penHigh-h))
			}
			high := height(line)
			lines = append(lines, beside(line, func(y float64) {
				for i := range results {
					p.box(box+float64(i)*checkBox+2, y, small)
				}
				p.doc.Line(value, y+high-1.5, p.wide-right, y+high-1.5)
			})...)
		}
		rows = append(rows, append(merge(what, lines), p.rule()))
	}
	p.under(title, first, append(p.row(head...), p.rule()), rows)
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
	last := columns[len(columns)-1]
	for _, r := range t.Rows {
		pieces := row(small, r.Cells)
		if r.Blank != nil {
			pieces = p.toWrite(pieces, last)
		}
		if r.Tick != "" {
			pieces = beside(pieces, func(y float64) { p.box(last.x+2, y, small) })
		}
		if t.Narrow {
			rows = append(rows, append(pieces, gap(0.9)))
			continue
		}
		rows = append(rows, append(pieces, p.rule()))
	}
	p.under(title, first, append(row(label, t.Head), p.rule()), rows)
	p.put([]piece{gap(1)})
}

// toWrite gives a row the height of handwriting, and a frame in a column.
func (p *pdf) toWrite(pieces []piece, c cell) []piece {
	if h := height(pieces); h < penHigh {
		pieces = append(pieces, gap(penHigh-h))
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

// spread shares a width among columns. Where not every longest word fits, the
// columns that ask for less than their even share keep what they ask for: one
// long name breaks in its own column, and nothing breaks in another.
func spread(least, asked []float64, x, wide, between float64) []cell {
	free := wide - between*float64(len(least)-1)
	least = slices.Clone(least)
	shrink(least, free)
	sum, more := 0.0, 0.0
	for i := range least {
		sum += least[i]
		more += max(0, asked[i]-least[i])
	}
	cells := make([]cell, len(least))
	for i := range least {
		w := least[i]
		if more > 0 && sum < free {
			w += min(1, (free-sum)/more) * max(0, asked[i]-least[i])
		}
		cells[i] = cell{x: x, wide: w}
		x += w + between
	}
	return cells
}

// shrink makes widths fit: the widest of them share what the others leave.
func shrink(widths []float64, free float64) {
	order := make([]int, len(widths))
	for i := range order {
		order[i] = i
	}
	slices.SortFunc(order, func(a, b int) int {
		switch {
		case widths[a] < widths[b]:
			return -1
		case widths[a] > widths[b]:
			return 1
		}
		return a - b
	})
	for k, i := range order {
		even := free / float64(len(order)-k)
		widths[i] = min(widths[i], even)
		free -= widths[i]
	}
}
