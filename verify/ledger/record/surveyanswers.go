package record

import (
	"bytes"
	_ "embed"
	"encoding/json"
	"fmt"
	"slices"
	"strings"

	"cardwright/manifest/problem"
)

// AnswersFormat is the version of the JSON form of a survey's answers.
const AnswersFormat = 1

// AnswersSchema is the JSON Schema (draft 2020-12) of what a survey's page brings
// back.
//
//go:embed survey-answers.schema.json
var AnswersSchema []byte

// Answers are what a survey found. A text that is "" wasn't read.
type Answers struct {
	Vessel  string         `json:"vessel"`
	By      string         `json:"by"`
	Found   string         `json:"found"` // the day
	Devices []AnswerDevice `json:"devices"`
	Also    []AnswerDevice `json:"also"` // that the vessel's file doesn't have
}

// AnswerDevice is one device as it was found.
type AnswerDevice struct {
	Device  string `json:"device"`   // "": it is new
	Model   string `json:"model"`    // of a new one
	Filed   string `json:"filed"`    // the version that is on the page, as the vessel's file had it
	AsFiled bool   `json:"as_filed"` // it was found so, and the serial too
	Serial  string `json:"serial"`
	Version string `json:"version"`
	Place   string `json:"place"`
	Note    string `json:"note"`

	Line int `json:"-"` // of the file, from 1
}

// blank reports a line that nothing was written on.
func (d AnswerDevice) blank() bool {
	return d.Model == "" && d.Serial == "" && d.Version == "" && d.Place == ""
}

// ReadAnswers reads what a survey's page brings back, as AnswersSchema describes
// it. All mistakes come at once, each with its place in the file. Places for new
// devices that were left blank aren't in the answer.
func ReadAnswers(data []byte) (a Answers, err error) {
	if err := readForm(data, answersForm, AnswersFormat, &a); err != nil {
		return Answers{}, fmt.Errorf("reading the survey: %w", err)
	}
	lines, err := linesIn(data)
	if err != nil {
		return Answers{}, fmt.Errorf("reading the survey: %w", err)
	}
	a.By, a.Found = tidyText(a.By), strings.TrimSpace(a.Found)
	for list, at := range map[*[]AnswerDevice][]int{&a.Devices: lines["devices"], &a.Also: lines["also"]} {
		for i := range *list {
			(*list)[i].Line = at[i]
			(*list)[i].tidy()
		}
	}
	a.Also = slices.DeleteFunc(a.Also, AnswerDevice.blank)
	return a, nil
}

func (d *AnswerDevice) tidy() {
	for _, text := range []*string{&d.Device, &d.Model, &d.Filed, &d.Serial, &d.Version, &d.Place, &d.Note} {
		*text = tidyText(*text)
	}
}

// linesIn reports in which lines the entries of the document's lists begin, by the
// lists' keys. A key that stands twice would leave open which one counts.
func linesIn(data []byte) (map[string][]int, error) {
	d := json.NewDecoder(bytes.NewReader(data))
	if _, err := d.Token(); err != nil { // the document is an object: its form was checked
		return nil, err
	}
	lines := map[string][]int{}
	seen := map[string]bool{}
	for d.More() {
		token, err := d.Token()
		if err != nil {
			return nil, err
		}
		key, _ := token.(string)
		if seen[key] {
			return nil, Mistakes{{"/" + key, problem.Problem{Found: "the key twice", Expected: "each key once"}}}
		}
		seen[key] = true
		if key != "devices" && key != "also" {
			if err := d.Decode(new(json.RawMessage)); err != nil {
				return nil, err
			}
			continue
		}
		if lines[key], err = entryLines(d, data); err != nil {
			return nil, err
		}
	}
	return lines, nil
}

// entryLines reads a list and reports in which line each of its entries begins.
func entryLines(d *json.Decoder, data []byte) (lines []int, err error) {
	if _, err := d.Token(); err != nil {
		return nil, err
	}
	line, counted := 1, 0
	for d.More() {
		at := int(d.InputOffset())
		at += max(0, bytes.IndexByte(data[at:], '{'))
		line += bytes.Count(data[counted:at], []byte("\n"))
		counted = at
		lines = append(lines, line)
		if err := d.Decode(new(json.RawMessage)); err != nil {
			return nil, err
		}
	}
	_, err = d.Token()
	return lines, err
}
