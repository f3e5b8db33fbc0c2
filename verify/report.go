// Package verify judges cards: what stands on one, against what was expected,
// gives findings and a verdict. It never writes to a card, and never calls a
// card good of which it could not read everything that matters.
package verify

import (
	"io"

	"cardwright/manifest/version"
)

// Format is the version of the report's JSON form.
const Format = 1

// Verdict is the conclusion of a report.
type Verdict string

// The verdicts. What could not be checked is never good.
const (
	Good      Verdict = "good"
	Bad       Verdict = "bad"
	Unchecked Verdict = "unchecked"
)

// Severity is how much a finding weighs.
type Severity string

// A stop makes the verdict bad; a warning doesn't, but wants a person's eye.
const (
	Stop Severity = "stop"
	Warn Severity = "warn"
	Note Severity = "note"
)

// Report is the outcome of judging one card.
type Report struct {
	Format   int            `json:"format"`
	Verdict  Verdict        `json:"verdict"`
	Findings []Finding      `json:"findings"` // from worst to least
	Counts   map[string]int `json:"counts"`   // every count, zeros too
	Card     int            `json:"card"`     // which card of the vessel's plan it was judged as; 0 without a vessel
	Digest   string         `json:"digest"`   // of the card, 64 hex digits; "" where it could not be formed
	Brings   []Bring        `json:"brings"`   // which steps of the vessel's plan it can do; none without a vessel

	asked          asked
	bad, unchecked bool            // what the findings so far come to, those left out too
	whole          map[string]file // files that could be read to their end, by SHA-256
}

// Whole opens a file of the card with this SHA-256, or gives nil where none
// was found. It works as long as the card is open.
func (r Report) Whole(sha256 string) func() (io.ReadCloser, error) {
	f, ok := r.whole[sha256]
	if !ok {
		return nil
	}
	return f.open
}

// Bring is one step of a plan, and whether a card holds all it needs.
type Bring struct {
	Step    int       `json:"step"`
	Device  string    `json:"device"`
	From    version.V `json:"from"`
	To      version.V `json:"to"`
	Card    int       `json:"card"`   // of the plan's set
	Folder  string    `json:"folder"` // where its files are on this card
	Whole   bool      `json:"whole"`
	Missing []string  `json:"missing"`
}

// Finding is one thing that was found. Path, Expected and Found are as they
// were read: whoever shows them escapes them.
type Finding struct {
	Kind     Kind     `json:"kind"`
	Severity Severity `json:"severity"`
	Path     string   `json:"path"`
	Expected string   `json:"expected"`
	Found    string   `json:"found"`
	Meaning  string   `json:"meaning"`
	Advice   string   `json:"advice"`
}

// Kind names what was found; the list is closed (see Kinds).
type Kind string
