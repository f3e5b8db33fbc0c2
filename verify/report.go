// Package verify judges cards: what stands on one, against what was expected,
// gives findings and a verdict. It never writes to a card, and never calls a
// card good of which it could not read everything that matters.
package verify

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
	Digest   string         `json:"digest"`   // of the card, 64 hex digits; "" where it could not be formed
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
