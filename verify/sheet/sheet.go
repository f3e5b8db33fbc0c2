// Package sheet lays out what the technician holds in the hand: the install
// order, the page of a sea trial, the survey, the report of a card. Each is one
// plain value, a Sheet of blocks, that text, HTML and PDF render. The same input
// gives the same bytes. It decides nothing: plan, verdict and ledger are given, and
// what a filled sheet brings back is package record's to read.
package sheet

import (
	"encoding/json"
	"time"
)

// Sheet is a page or more, in the order of the work and in the words of its
// language. Everything that came from data is safe to show (see package
// visible). In names the spaces are U+00A0: a name is broken only where it is
// longer than a line, and a form writes them as plain spaces.
type Sheet struct {
	Language string    `json:"language"`
	Title    string    `json:"title"`
	Vessel   string    `json:"vessel"` // the largest thing on the first page; in the head of each
	About    string    `json:"about"`  // where she lies, who works, which day: one line
	Foot     string    `json:"foot"`   // vessel, plan and cards: on each page
	Stamp    Stamp     `json:"stamp"`
	Made     time.Time `json:"made"`
	Facts    []Fact    `json:"facts"`
	By       Blank     `json:"by"`    // the technician
	Call     string    `json:"call"`  // whom to call when something fails
	Phone    string    `json:"phone"` // the number in Call, as tel: takes it; "" where there is none
	Cards    []Card    `json:"cards"`
	Network  *Network  `json:"network"` // nil where nothing is updated
	Sections []Section `json:"sections"`
	Form     Form      `json:"form"`
	Answers  *Answers  `json:"answers,omitempty"` // of a survey, which brings back these in the place of Form
}

// Stamp is what the sheet is worth: a word that is on each page, with the
// sentence that explains it.
type Stamp struct {
	Kind string `json:"kind"` // one of the Stamp constants
	Word string `json:"word"`
	When string `json:"when"` // "proven 2026-03-02"; "" where nothing was proven
	Text string `json:"text"`
}

// What a sheet is worth.
const (
	StampPlan    = "plan"    // no proof: some card hasn't been proven
	StampGood    = "good"    // every card was proven
	StampNone    = "none"    // a card isn't good: no order, but the reason
	StampRead    = "read"    // no order: versions must be read first
	StampNothing = "nothing" // nothing to do
)

// Line is the stamp in a line: word and day.
func (s Stamp) Line() string {
	if s.When == "" {
		return s.Word
	}
	return s.Word + ", " + s.When
}

// Section is one part of a sheet.
type Section struct {
	ID     string // unique in the sheet
	Title  string
	Whole  bool // stands on one page of paper
	Folded bool // folded up on a narrow screen until it is wanted
	Blocks []Block
}

// Block is one thing on a sheet, of one of the kinds that renderer lists.
type Block interface{ on(renderer) }

// renderer writes blocks in one form. There are three: text.go, html.go,
// pdfsection.go. One that doesn't know a kind of block doesn't compile.
type renderer interface {
	heading(Heading)
	paragraph(Paragraph)
	caution(Caution)
	facts(Facts)
	tick(Tick)
	boxes(Boxes)
	blanks(Blanks)
	table(Table)
	step(Step)
	checks(Checks)
	signs(Signs)
	picture(Picture)
	network(Network)
	cards(Cards)
}

func (b Heading) on(r renderer)   { r.heading(b) }
func (b Paragraph) on(r renderer) { r.paragraph(b) }
func (b Caution) on(r renderer)   { r.caution(b) }
func (b Facts) on(r renderer)     { r.facts(b) }
func (b Tick) on(r renderer)      { r.tick(b) }
func (b Boxes) on(r renderer)     { r.boxes(b) }
func (b Blanks) on(r renderer)    { r.blanks(b) }
func (b Table) on(r renderer)     { r.table(b) }
func (b Step) on(r renderer)      { r.step(b) }
func (b Checks) on(r renderer)    { r.checks(b) }
func (b Signs) on(r renderer)     { r.signs(b) }
func (b Picture) on(r renderer)   { r.picture(b) }
func (b Network) on(r renderer)   { r.network(b) }
func (b Cards) on(r renderer)     { r.cards(b) }

// Heading begins a part of a section.
type Heading string

// Paragraph is text.
type Paragraph string

// Caution is a warning; each form gives it a sign.
type Caution string

// Facts are things known, each with its label.
type Facts []Fact

// Blanks are lines for a pen.
type Blanks []Blank

// Cards are what the shop knows cards by.
type Cards []Card

// Signs are places for signatures.
type Signs []Sign

// Checks are one table of checks.
type Checks []Check

// Boxes are short things to tick, side by side where there is room.
type Boxes []Box

// Box is one of them; the note says more.
type Box struct {
	ID   string `json:"id"`
	Text string `json:"text"`
	Note string `json:"note"`
}

// Fact is something known, with its label.
type Fact struct {
	Label string `json:"label"`
	Value string `json:"value"`
	Exact bool   `json:"exact"` // to be compared letter by letter
}

// Blank is something to write down at the helm.
type Blank struct {
	ID    string `json:"id"`  // unique in the sheet
	For   string `json:"for"` // the device's id, where it is about one
	Label string `json:"label"`
	Want  string `json:"want"` // what it must be; "" where that is open
	Value string `json:"value"`
	Wide  bool   `json:"wide"` // needs a whole line
}

// Card is one memory card of the order.
type Card struct {
	Number int    `json:"number"` // from 1
	Name   string `json:"name"`
	Proven bool   `json:"proven"`
	Facts  []Fact `json:"facts"`
	Room   *Room  `json:"room"` // nil where it isn't known
	QR     string `json:"qr"`   // "" before the card was proven
}

// Room is how full a card is, in bytes.
type Room struct {
	Bytes int64  `json:"bytes"`
	Used  int64  `json:"used"`
	Text  string `json:"text"`
}

// Network is the boat's network as far as updates go.
type Network struct {
	Title  string `json:"title"`
	Legend string `json:"legend"`
	Nodes  []Node `json:"nodes"`
}

// Node is a device on the network.
type Node struct {
	Device string   `json:"device"`
	Model  string   `json:"model"`
	Host   int      `json:"host"`  // index of the node that updates it; -1: none does
	Could  []string `json:"could"` // other devices that could
	Steps  []int    `json:"steps"` // of the order
	Words  string   `json:"words"` // how it is updated, with the steps
}

// Tick is something to do or to make sure of, with a box.
type Tick struct {
	ID     string   `json:"id"`
	Text   string   `json:"text"`
	Notes  []string `json:"notes"`
	Blanks []Blank  `json:"blanks"`
}

// Picture is a drawing, with what it shows in words and in characters for the
// text form.
type Picture struct {
	Says string   `json:"says"`
	PNG  []byte   `json:"-"`
	Text []string `json:"text"`
}

// Table has a head and rows; a row may end with a blank to fill in or a box to
// tick. The cells of a narrow one are short: the text form sets them side by
// side where a line can hold them.
type Table struct {
	Narrow bool     `json:"narrow,omitempty"`
	Head   []string `json:"head"`
	Rows   []Row    `json:"rows"`
}

// Row is one row of a table.
type Row struct {
	Cells []string `json:"cells"`
	Blank *Blank   `json:"blank"`
	Tick  string   `json:"tick,omitempty"` // id of a box at the row's end; "": none
}

// Step is one update, with a box.
type Step struct {
	ID       string   `json:"id"`
	Number   int      `json:"number"`
	Name     string   `json:"name"` // "Step 3"
	Device   string   `json:"device"`
	Model    string   `json:"model"`
	Place    string   `json:"place"`
	Minutes  string   `json:"minutes"`
	Clock    string   `json:"clock"` // from the start of step 1: "0:20 to 0:40"
	Plain    int      `json:"-"`     // the minutes as a number; 0: not known
	SafeStop int      `json:"-"`     // the first step from this one on after which the work may stop
	From     string   `json:"from"`
	To       string   `json:"to"`
	Facts    []Fact   `json:"facts"`
	Cautions []string `json:"cautions"`
	First    []Tick   `json:"first"` // before it begins
	Before   Blank    `json:"before"`
	Do       []string `json:"do"` // in this order
	Read     Blank    `json:"read"`
	Took     Blank    `json:"took"`
	Then     []Tick   `json:"then"` // once the version shows
	Note     Blank    `json:"note"`
}

// Check is one check after the updates. Checks of one name and way stand
// together.
type Check struct {
	ID     string `json:"id"`
	Device string `json:"device"`
	Name   string `json:"name"`
	How    string `json:"how"`
	Value  Blank  `json:"value"`
}

// Sign is a place for a signature.
type Sign struct {
	Who    string  `json:"who"`
	Blanks []Blank `json:"blanks"`
}

// MarshalJSON gives a section's blocks by kind, each kind in its order: programs
// look for the steps, not for where they are on paper. Cards and network have
// keys of their own in the sheet.
func (s Section) MarshalJSON() ([]byte, error) {
	out := struct {
		ID       string    `json:"id"`
		Title    string    `json:"title"`
		Cautions []string  `json:"cautions"`
		Text     []string  `json:"text"`
		Facts    []Fact    `json:"facts,omitempty"`
		Ticks    []Tick    `json:"ticks"`
		Boxes    []Box     `json:"boxes,omitempty"`
		Pictures []Picture `json:"pictures,omitempty"`
		Table    *Table    `json:"table"`
		Tables   []Table   `json:"tables,omitempty"` // where there are more than one
		Steps    []Step    `json:"steps"`
		Checks   []Check   `json:"checks"`
		Then     []Tick    `json:"then"` // what follows the steps
		Blanks   []Blank   `json:"blanks"`
		Signs    []Sign    `json:"signs"`
	}{ID: s.ID, Title: s.Title}
	var tables []Table
	for _, b := range s.Blocks {
		switch b := b.(type) {
		case Caution:
			out.Cautions = append(out.Cautions, string(b))
		case Paragraph:
			out.Text = append(out.Text, string(b))
		case Facts:
			out.Facts = append(out.Facts, b...)
		case Tick:
			if out.Steps != nil {
				out.Then = append(out.Then, b)
			} else {
				out.Ticks = append(out.Ticks, b)
			}
		case Boxes:
			out.Boxes = append(out.Boxes, b...)
		case Picture:
			out.Pictures = append(out.Pictures, b)
		case Table:
			tables = append(tables, b)
		case Step:
			out.Steps = append(out.Steps, b)
		case Checks:
			out.Checks = append(out.Checks, b...)
		case Blanks:
			out.Blanks = append(out.Blanks, b...)
		case Signs:
			out.Signs = append(out.Signs, b...)
		}
	}
	if len(tables) > 0 {
		out.Table = &tables[0]
	}
	if len(tables) > 1 {
		out.Tables = tables
	}
	return json.Marshal(out)
}

// blocksOf are a sheet's blocks of one kind, in their order.
func blocksOf[B Block](s Sheet) []B {
	var all []B
	for _, section := range s.Sections {
		for _, b := range section.Blocks {
			if one, ok := b.(B); ok {
				all = append(all, one)
			}
		}
	}
	return all
}
