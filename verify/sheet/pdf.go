package sheet

import (
	"bytes"
	"fmt"
	"maps"
	"slices"
	"strconv"
	"strings"
	"time"

	"codeberg.org/go-pdf/fpdf"
)

// The margins of a page, in millimetres; the left one leaves room for holes.
const (
	left   = 18
	right  = 12
	top    = 8
	bottom = 7
	indent = 8 // of what stands beside a box
)

// maxFootLines bounds what stands at the foot of each page.
const maxFootLines = 4

// PDF writes the sheet as pages of the given paper. What the page's own fonts
// haven't is drawn by the shop's, which may be nil. The same sheet gives the same
// bytes. An unknown paper is an error.
func PDF(s Sheet, paper Paper, shops *Font) ([]byte, error) {
	first, err := draw(s, paper, shops, nil)
	if err != nil {
		return nil, fmt.Errorf("drawing %s: %w", s.Title, err)
	}
	// Now that it is known on which page what stands, and how many there are.
	drawn, err := draw(s, paper, shops, first)
	if err != nil {
		return nil, fmt.Errorf("drawing %s: %w", s.Title, err)
	}
	var out bytes.Buffer
	if err := drawn.doc.Output(&out); err != nil {
		return nil, fmt.Errorf("writing PDF: %w", err)
	}
	return withTitleShown(out.Bytes())
}

// pdf is a document that grows downwards.
type pdf struct {
	doc        *fpdf.Fpdf
	faces      map[string]*typeface
	words      words
	sheet      Sheet
	total      int            // pages in all; 0 while that isn't known
	pages      map[string]int // on which page each section begins
	known      map[string]int // the same from the drawing before; nil in the first
	wide, high float64
	y          float64
	foot       []string
	headline   func()          // drawn again at the top of a page while a table goes on
	broken     bool            // some name went over the end of a line
	shops      *Font           // for what faces don't have; nil: none
	letters    map[rune]bool   // that are drawn by it
	embedded   bool            // it is in the document
	missing    map[string]bool // characters that no font has, by their numbers
	onPage     bool            // something stands on the page below its head
}

// draw draws the sheet; before is the drawing before, by which it is known on
// which page what stands, and which letters are drawn by the shop's font.
func draw(s Sheet, paper Paper, shops *Font, before *pdf) (*pdf, error) {
	wide, high, err := paper.size()
	if err != nil {
		return nil, err
	}
	w, err := speak(s.Language)
	if err != nil {
		return nil, err
	}
	doc := fpdf.NewCustom(&fpdf.InitType{UnitStr: "mm", Size: fpdf.SizeType{Wd: wide, Ht: high}})
	faces, err := addFonts(doc)
	if err != nil {
		return nil, err
	}
	p := &pdf{
		doc: doc, faces: faces, words: w, sheet: s, wide: wide, high: high,
		pages: map[string]int{}, missing: map[string]bool{}, shops: shops, letters: map[rune]bool{},
	}
	if before != nil {
		p.total, p.known = before.doc.PageCount(), before.pages
		if len(before.letters) > 0 {
			doc.AddUTF8FontFromBytes(own, "", shops.subset(before.letters))
			p.embedded = true
		}
	}
	p.properties()
	p.foot = p.wrap(s.Foot, p.room()-pageNumberRoom, fine)
	p.foot = p.foot[:min(len(p.foot), maxFootLines)]
	p.newPage()
	p.everything()
	return p, doc.Error()
}

// properties of the document depend on the sheet alone.
func (p *pdf) properties() {
	p.doc.SetMargins(left, top, right)
	p.doc.SetAutoPageBreak(false, 0)
	p.doc.SetCatalogSort(true)
	made := p.sheet.Made.UTC()
	if made.IsZero() { // which the library would take as now
		made = time.Unix(0, 0).UTC()
	}
	p.doc.SetCreationDate(made)
	p.doc.SetModificationDate(made)
	p.doc.SetProducer("cardwright", true)
	p.doc.SetTitle(plainSpaces(strings.Join(notEmpty(p.sheet.Vessel, p.sheet.Title), ": ")), true)
	p.doc.SetLang(p.sheet.Language)
	p.doc.SetLineWidth(thin)
}

func (p *pdf) everything() {
	p.head()
	for i, s := range p.sheet.Sections {
		p.section(i+1, s)
	}
	var notes []piece
	if p.broken {
		notes = append(notes, p.row(cell{left, p.room(), small, p.words.say("broken")})...)
	}
	if len(p.missing) > 0 {
		all := strings.Join(slices.Sorted(maps.Keys(p.missing)), ", ")
		notes = append(notes, p.row(cell{left, p.room(), small, p.words.say("missing", "characters", all)})...)
	}
	p.put(append([]piece{gap(3)}, notes...))
}

// Widths of lines, in millimetres.
const (
	thin  = 0.2
	thick = 0.7
)

// pageNumberRoom is left free beside the foot.
const pageNumberRoom = 34

// condensed is how wide letters are drawn: the fonts are wide ones, and their
// makers' condensed cut has the same shapes at nine tenths of the width.
const condensed = 0.9

// room is the width of what is printed.
func (p *pdf) room() float64 { return p.wide - left - right }

// floor is where the foot begins.
func (p *pdf) floor() float64 {
	return p.high - bottom - float64(len(p.foot))*fine.lead - 2
}

func (p *pdf) newPage() {
	p.doc.AddPage()
	p.doc.RawWriteStr(fmt.Sprintf("%.0f Tz\n", 100*condensed)) // ISO 32000-1, 9.3.4
	p.y = top
	p.pageHead()
	p.pageFoot()
	if p.headline != nil {
		p.headline()
	}
	p.onPage = false
}

// pageHead stands on every page: whose it is, and what it is worth.
func (p *pdf) pageHead() {
	stamp := symbol(p.sheet.Stamp.Kind) + " " + p.sheet.Stamp.Line()
	w := p.measure(strong)(stamp) + 6
	x := p.wide - right - w
	p.doc.SetLineWidth(thick)
	p.doc.Rect(x, p.y-0.8, w, strong.lead+1.6, "D")
	p.doc.SetLineWidth(thin)
	p.text(x+3, p.y, strong, stamp)
	title := strings.Join(notEmpty(p.sheet.Vessel, p.sheet.Title), " · ")
	p.text(left, p.y, strong, p.wrap(title, x-left-4, strong)[0])
	p.y += strong.lead + 2.2
}

// symbol of a stamp, which always stands beside its word.
func symbol(kind string) string {
	switch kind {
	case StampGood:
		return "✔"
	case StampPlan:
		return "△"
	case StampNone:
		return "✖"
	}
	return "○"
}

func (p *pdf) pageFoot() {
	y := p.floor() + 1
	p.line(y)
	y++
	for i, line := range p.foot {
		p.text(left, y+float64(i)*fine.lead, fine, line)
	}
	number := p.words.say("page", "n", strconv.Itoa(p.doc.PageNo()), "m", strconv.Itoa(p.total))
	p.text(p.wide-right-p.measure(fine)(number), y, fine, number)
}

// line is a thin rule over the whole width.
func (p *pdf) line(y float64) { p.doc.Line(left, y, p.wide-right, y) }

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

// put places pieces below one another, all on one page where a page can hold
// them.
func (p *pdf) put(all []piece) {
	if len(all) > 0 && p.y+height(all) > p.floor() && p.onPage && height(all) <= p.floor()-p.firstLine() {
		p.newPage()
	}
	for _, one := range all {
		if p.y+one.high > p.floor() && p.onPage {
			p.newPage()
		}
		one.draw(p.y)
		p.y += one.high
		p.onPage = true
	}
}

// firstLine is where a page's own head ends.
func (p *pdf) firstLine() float64 { return top + strong.lead + 2.2 + 2*heading.lead }

// gap is a piece of white.
func gap(high float64) piece { return piece{high, func(float64) {}} }

// rule is a thin line with a little white above and below.
func (p *pdf) rule() piece {
	const white = 0.5
	return piece{2 * white, func(y float64) { p.line(y + white) }}
}

// measure gives the width of text in a look, in millimetres.
func (p *pdf) measure(l look) func(string) float64 {
	return func(s string) (sum float64) {
		for _, run := range p.runs(s, l) {
			sum += p.wideOf(run, l.size)
		}
		return sum
	}
}

// run is text in one font.
type run struct{ font, text string }

// runs are the parts of a text by the fonts that have their letters.
func (p *pdf) runs(s string, l look) []run {
	var all []run
	begin := 0
	for i, r := range s {
		font := p.fontFor(r, l)
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
func (p *pdf) fontFor(r rune, l look) string {
	if !p.faces[l.font].has(r) && p.shopDraws(r) {
		return own
	}
	return l.font
}

func (p *pdf) wideOf(r run, size float64) float64 {
	const point = 25.4 / 72 // millimetres
	if r.font == own {
		return condensed * p.shops.width(r.text, size) * point
	}
	p.doc.SetFont(r.font, "", size)
	return condensed * p.doc.GetStringWidth(r.text)
}

// text writes one line whose top is at y.
func (p *pdf) text(x, y float64, l look, s string) {
	const baseline = 0.76 // of the lead
	for _, run := range p.runs(plainSpaces(p.drawable(s, l)), l) {
		if run.font != own || p.embedded {
			p.doc.SetFont(run.font, "", l.size)
			p.doc.Text(x, y+l.lead*baseline, run.text)
		}
		x += p.wideOf(run, l.size)
	}
}

// wrap breaks text into lines of a width.
func (p *pdf) wrap(s string, wide float64, l look) []string {
	lines := wrap(p.drawable(s, l), wide, p.measure(l))
	for _, line := range lines {
		p.broken = p.broken || strings.HasSuffix(line, broken)
	}
	return lines
}

// cell is text in a column.
type cell struct {
	x, wide float64
	look    look
	text    string
}

// row sets cells beside one another; each of its pieces is one line.
func (p *pdf) row(cells ...cell) []piece {
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

// box is a box to tick, beside a line of a look.
func (p *pdf) box(x, y float64, l look) {
	const side = 3.6
	p.doc.SetLineWidth(2 * thin)
	p.doc.Rect(x, y+(l.lead-side)/2, side, side, "D")
	p.doc.SetLineWidth(thin)
}

// blanks are lines for a pen: wide ones each on its own, others two by two.
func (p *pdf) blanks(x float64, all []Blank) []piece {
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
func (p *pdf) share(x float64, all []Blank) []cell {
	const between = 6
	free := p.wide - right - x - between*float64(len(all)-1)
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
func (p *pdf) asks(b Blank) string {
	if b.Want == "" {
		return b.Label
	}
	return b.Label + ", " + p.words.say("must", "version", b.Want)
}

// penHigh is the room for handwriting, in millimetres.
const penHigh = 8.3

// pen draws a line after each label; where that leaves too little room, each
// label has a line of its own, and the pen the next.
func (p *pdf) pen(cells []cell) []piece {
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
func (p *pdf) write(from, to, y float64, text string) {
	p.text(from, y, small, text)
	p.doc.Line(from+p.measure(small)(text)+2, y+small.lead, to, y+small.lead)
}

func (p *pdf) penBelow(cells []cell) []piece {
	x, wide := cells[0].x, p.wide-right-cells[0].x
	var all []piece
	for _, c := range cells {
		all = append(all, gap(1.5))
		all = append(all, p.row(cell{x, wide, c.look, c.text})...)
		all = append(all, piece{penHigh, func(y float64) { p.doc.Line(x, y+penHigh-0.5, x+wide, y+penHigh-0.5) }})
	}
	return all
}
