// Package record turns what was done aboard into entries for the ledger: from
// the plan, the vessel, and a sheet that was filled in by questions, by flags,
// on paper and typed in, or on a phone. It is pure; the caller asks, reads
// and stores.
package record

import (
	_ "embed"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"cardwright/manifest/problem"
	"cardwright/manifest/version"
	"cardwright/verify/ledger"
)

// Format is the newest version of a filled sheet's JSON form. Format 2 may have the
// fields of the page on a phone (page), which only the page reads back; format 3 who
// agreed and who was informed. A sheet that has neither is written as format 2, which
// earlier builds read.
const (
	Format     = 3
	plainSheet = 2
)

// Schema is the JSON Schema (draft 2020-12) of a filled sheet.
//
//go:embed filled-sheet.schema.json
var Schema []byte

// MaxSheet is the largest filled sheet that is read, in bytes.
const MaxSheet = 4 << 20

// Filled is a sheet as it was filled in.
type Filled struct {
	Format        int           `json:"format"`
	Vessel        string        `json:"vessel"`
	Plan          string        `json:"plan"` // order.Plan.ID; "" where the sheet doesn't say
	By            string        `json:"by"`
	Steps         []FilledStep  `json:"steps"`
	SettingsSaved string        `json:"settings_saved"` // where; "" where they weren't
	Checks        []FilledCheck `json:"checks"`
	ApprovedBy    string        `json:"approved_by,omitempty"` // who agreed: initials or a role; "" where nobody said
	Told          string        `json:"told,omitempty"`        // who was informed: the same

	// Latin1 says that a table was read as Latin-1: which letters its bytes stand for
	// was a guess, to be looked at.
	Latin1 bool `json:"-"`
}

// JSON is the sheet as ReadJSON reads it.
func (f Filled) JSON() ([]byte, error) {
	f.Steps = append([]FilledStep{}, f.Steps...) // [] where nothing is filled in: the schema takes no null
	f.Checks = append([]FilledCheck{}, f.Checks...)
	if f.Format = plainSheet; f.ApprovedBy+f.Told != "" {
		f.Format = Format
	}
	text, err := json.MarshalIndent(f, "", "  ")
	return append(text, '\n'), err
}

// FilledStep is one step as it was filled in.
type FilledStep struct {
	Number  int       `json:"number"`
	Device  string    `json:"device"`
	Before  version.V `json:"before"` // as read off the device; "" where nobody read it
	After   version.V `json:"after"`
	Result  string    `json:"result"` // Done, Failed or PutOff; "" while nobody has said
	Minutes int       `json:"minutes"`
	Note    string    `json:"note"` // the reason too, where the release was on no verified card
}

// FilledCheck is one check as it was filled in.
type FilledCheck struct {
	Device string `json:"device"`
	Check  string `json:"check"`
	Result string `json:"result"` // Passed, Failed or NotDone; "" while nobody has said
	Value  string `json:"value"`
}

// What can become of a step or a check.
const (
	Done    = "done"
	Failed  = "failed"
	PutOff  = "put off"
	Passed  = "passed"
	NotDone = "not done"
)

// Mistake is what keeps a filled sheet from being recorded.
type Mistake struct {
	Where string // a JSON pointer, or a line and column of a table
	problem.Problem
}

// Mistakes are all that were found.
type Mistakes []Mistake

// Error gives one line for each.
func (p Mistakes) Error() string {
	lines := make([]string, len(p))
	for i, m := range p {
		lines[i] = m.Where + ": " + m.Line()
	}
	return strings.Join(lines, "\n")
}

// err is the mistakes as an error, or nil where there are none.
func (p Mistakes) err() error {
	if len(p) == 0 {
		return nil
	}
	return p
}

// ReadJSON reads a filled sheet in its JSON form, as Schema describes it. All
// mistakes come at once, each with its place in the file.
func ReadJSON(data []byte) (Filled, error) {
	f, err := readJSON(data)
	if err != nil {
		return Filled{}, fmt.Errorf("reading filled sheet: %w", err)
	}
	return f.tidy(), nil
}

func readJSON(data []byte) (f Filled, err error) {
	return f, readForm(data, filledForm, Format, &f)
}

// readForm reads a document of a form, whose newest version is format, into a
// value.
func readForm(data []byte, of func() (*form, error), format int64, into any) error {
	if len(data) > MaxSheet {
		return fmt.Errorf("found %d bytes, expected at most %d", len(data), MaxSheet)
	}
	doc, err := decodeJSON(data)
	if err != nil {
		return fmt.Errorf("it is not JSON: %w", err)
	}
	allowed, err := of()
	if err != nil {
		return err
	}
	c := formCheck{doc: doc}
	if c.check(allowed, doc, nil); len(c.list) > 0 {
		return c.list.newer(formatOf(doc), format)
	}
	var other *json.UnmarshalTypeError // 12.0 is an integer to the form, but not to the decoder
	if err := json.Unmarshal(data, into); errors.As(err, &other) {
		return Mistakes{{"/" + strings.ReplaceAll(other.Field, ".", "/"), problem.Problem{Found: other.Value, Expected: "a whole number, written without a point"}}}
	} else if err != nil {
		return err
	}
	return nil
}

// maxMistakes is how many are reported at once.
const maxMistakes = 50

// foundAt shows what is at a place of a JSON document, shortened.
func foundAt(doc any, place []string) string {
	for _, step := range place {
		switch d := doc.(type) {
		case map[string]any:
			doc = d[step]
		case []any:
			i, err := strconv.Atoi(step)
			if err != nil || i < 0 || i >= len(d) {
				return "nothing"
			}
			doc = d[i]
		}
	}
	text, err := json.Marshal(doc)
	if err != nil {
		return "nothing"
	}
	return quote(string(text))
}

// tidy takes out what typing and paper leave behind: spaces around words,
// line ends of another system, tabs, a leading v of a version.
func (f Filled) tidy() Filled {
	f.Steps, f.Checks = slices.Clone(f.Steps), slices.Clone(f.Checks)
	for i := range f.Steps {
		s := &f.Steps[i]
		s.Before, s.After, s.Note = tidyVersion(s.Before), tidyVersion(s.After), tidyText(s.Note)
		s.Device, s.Result = strings.TrimSpace(s.Device), strings.TrimSpace(s.Result)
	}
	for i := range f.Checks {
		c := &f.Checks[i]
		c.Device, c.Check, c.Result = strings.TrimSpace(c.Device), strings.TrimSpace(c.Check), strings.TrimSpace(c.Result)
		c.Value = tidyText(c.Value)
	}
	f.Vessel, f.Plan, f.By = strings.TrimSpace(f.Vessel), strings.TrimSpace(f.Plan), strings.TrimSpace(f.By)
	f.SettingsSaved, f.ApprovedBy, f.Told = tidyText(f.SettingsSaved), tidyText(f.ApprovedBy), tidyText(f.Told)
	return f
}

func tidyVersion(v version.V) version.V {
	s := strings.TrimSpace(string(v))
	if parsed, err := version.Parse(s); err == nil {
		return parsed
	}
	return version.V(s)
}

var tidier = strings.NewReplacer("\r\n", "\n", "\r", "\n", "\t", " ")

func tidyText(s string) string { return strings.TrimSpace(tidier.Replace(s)) }

// newer says of a sheet in a later form who wrote it: what else is wrong follows.
func (p Mistakes) newer(format, newest int64) Mistakes {
	for i := range p {
		if format > newest && p[i].Where == "/format" {
			p[i].Expected = fmt.Sprintf("%d: %s", newest, ledger.ErrNewer)
		}
	}
	return p
}

// formatOf is the version of its form that a document names; 0: none.
func formatOf(doc any) int64 {
	object, _ := doc.(map[string]any)
	number, _ := object["format"].(json.Number)
	n, err := number.Int64()
	if err != nil {
		return 0
	}
	return n
}
