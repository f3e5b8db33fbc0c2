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

// maxFootLines bounds the foot of each page.
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

// pdf is a document that grows downwards, page by page.
type pdf struct {
	blockPieces
	sheet    Sheet
	begins   map[string]int // on which page each section begins
	total    int            // pages in all; 0 while that isn't known
	high     float64        // of a page, millimetres
	y        float64        // where the next piece goes
	foot     []string
	headline func() // drawn again at the top of a page while a table goes on
	onPage   bool   // something stands on the page below its head
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
	letters := &typesetter{doc: doc, faces: faces, shops: shops, letters: map[rune]bool{}, missing: map[string]bool{}}
	p := &pdf{sheet: s, high: high, begins: map[string]int{}}
	p.layout, p.words = layout{letters, wide - right}, w
	if before != nil {
		p.total, p.pageOf = before.doc.PageCount(), before.begins
		if len(before.letters) > 0 {
			doc.AddUTF8FontFromBytes(own, "", shops.subset(before.letters))
			p.embedded = true
		}
	}
	p.properties()
	p.foot = p.wrap(s.Foot, p.room()-pageNumberRoom, fine)
	p.foot = p.foot[:min(len(p.foot), maxFootLines)]
	p.tall = p.floor() - p.firstLine()
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
		p.section(fmt.Sprintf("%d  %s", i+1, s.Title), s)
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

// pageNumberRoom is left free next to the foot.
const pageNumberRoom = 34

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
	x := p.edge - w
	p.doc.SetLineWidth(thick)
	p.doc.Rect(x, p.y-0.8, w, strong.lead+1.6, "D")
	p.doc.SetLineWidth(thin)
	p.text(x+3, p.y, strong, stamp)
	title := strings.Join(notEmpty(p.sheet.Vessel, p.sheet.Title), " · ")
	p.text(left, p.y, strong, p.wrap(title, x-left-4, strong)[0])
	p.y += strong.lead + 2.2
}

// symbol of a stamp, which is always next to its word.
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
	p.text(p.edge-p.measure(fine)(number), y, fine, number)
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

// head is what is on the first page only: the vessel, larger than all else,
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
			p.write(p.edge-signing+5, p.edge, y+title.lead-small.lead-1, by.Label)
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

// begin begins a section, with a bookmark.
func (p *pdf) begin(id, s string) []piece {
	begins := piece{0, func(y float64) {
		p.begins[id] = p.doc.PageNo()
		p.bookmark(s, 0, y)
	}}
	return slices.Concat([]piece{gap(1.3), begins}, p.row(cell{left, p.room(), heading, s}), []piece{p.rule()})
}

// under sets rows below the head of a table, the first of them on one page with
// what leads to it. The head, with the section's title, is drawn again on each
// page that the table goes on.
func (p *pdf) under(title string, first []piece, g grid) {
	rows := g.rows
	if len(rows) > 0 {
		first = slices.Concat(first, g.head, rows[0])
		rows = rows[1:]
	}
	p.put(first)
	p.headline = func() {
		p.text(left, p.y, strong, p.words.say("continued", "title", title))
		p.y += strong.lead + 1
		for _, one := range g.head {
			one.draw(p.y)
			p.y += one.high
		}
	}
	for _, row := range rows {
		p.put(row)
	}
	p.headline = nil
}
