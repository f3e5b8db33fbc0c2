// Package sheet makes the install order that the technician holds at the helm:
// one plain value, a Sheet, made from the plan and the cards as they were
// verified, and its forms as text, HTML and PDF.
package sheet

import "time"

// Sheet is an install order, in the order of the work and in the words of its
// language. Everything that came from data is safe to show (see package
// visible). In names the spaces are U+00A0: a name is broken only where it is
// longer than a line, and a form writes them as plain spaces.
type Sheet struct {
	Language string    `json:"language"`
	Title    string    `json:"title"`
	Foot     string    `json:"foot"` // vessel, plan and cards: on each page
	Stamp    Stamp     `json:"stamp"`
	Made     time.Time `json:"made"`
	Facts    []Fact    `json:"facts"`
	By       Blank     `json:"by"` // the technician
	Cards    []Card    `json:"cards"`
	Network  *Network  `json:"network"` // nil where nothing is updated
	Sections []Section `json:"sections"`
	Form     Form      `json:"form"`
}

// Stamp is what the sheet is worth: a word that stands on each page, with the
// sentence that explains it.
type Stamp struct {
	Kind string `json:"kind"` // one of the Stamp constants
	Word string `json:"word"`
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

// Section is one part of the work. What it has is shown in the order of the
// fields.
type Section struct {
	ID       string    `json:"id"` // unique in the sheet
	Title    string    `json:"title"`
	Cautions []string  `json:"cautions"`
	Text     []string  `json:"text"`
	Ticks    []Tick    `json:"ticks"`
	Pictures []Picture `json:"pictures,omitempty"`
	Table    *Table    `json:"table"`
	Steps    []Step    `json:"steps"`
	Checks   []Check   `json:"checks"`
	Then     []Tick    `json:"then"`
	Blanks   []Blank   `json:"blanks"`
	Signs    []Sign    `json:"signs"`
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

// Table has a head and rows; a row may end with a blank to fill in. The cells of
// a narrow one are short: the text form sets them side by side.
type Table struct {
	Narrow bool     `json:"narrow,omitempty"`
	Head   []string `json:"head"`
	Rows   []Row    `json:"rows"`
}

// Row is one row of a table.
type Row struct {
	Cells []string `json:"cells"`
	Blank *Blank   `json:"blank"`
}

// Step is one update, with a box.
type Step struct {
	ID       string   `json:"id"`
	Number   int      `json:"number"`
	Name     string   `json:"name"` // "step 3"
	Device   string   `json:"device"`
	Model    string   `json:"model"`
	Place    string   `json:"place"`
	Minutes  string   `json:"minutes"`
	From     string   `json:"from"`
	To       string   `json:"to"`
	Facts    []Fact   `json:"facts"`
	Cautions []string `json:"cautions"`
	Do       []string `json:"do"` // in this order
	Read     Blank    `json:"read"`
	Took     Blank    `json:"took"`
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
