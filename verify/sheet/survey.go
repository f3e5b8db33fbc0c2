package sheet

import (
	"fmt"
	"strconv"
	"strings"
	"time"

	"cardwright/manifest"
)

// SurveyInput is what the page to walk a boat with is made from. The same input
// gives the same page.
type SurveyInput struct {
	Shop       *manifest.Shop
	Vessel     *manifest.Vessel
	When       time.Time // the day on the page; zero: none
	Technician string    // "": a blank to write the name in
	Commands   Commands
	Style      Style
}

// Commands are those to type back in the shop.
type Commands struct {
	Saved   string // takes the file that the page saved
	Table   string // makes a table to fill in from paper
	Answers string // takes that table
}

// AnswersFormat is the version of the JSON that a filled-in survey brings back.
const AnswersFormat = 1

// Answers is what a survey's page brings back. Package record has its JSON Schema
// and reads it. Its texts are as the shop's files have them.
type Answers struct {
	Format  int            `json:"format"`
	Kind    string         `json:"kind"` // SurveyKind
	Vessel  string         `json:"vessel"`
	By      string         `json:"by"`
	Found   string         `json:"found"` // the day: 2026-03-02; "" where nobody wrote it down
	Devices []AnswerDevice `json:"devices"`
	Also    []AnswerNew    `json:"also"` // aboard, and not in the vessel's file
}

// SurveyKind is the kind of a survey's file.
const SurveyKind = "survey"

// AnswerDevice is a device of the vessel's file as it was found; "": not read.
type AnswerDevice struct {
	Device  string `json:"device"`
	Filed   string `json:"filed"`    // the version that is on the page, as the vessel's file had it
	AsFiled bool   `json:"as_filed"` // it was found so, and the serial too
	Serial  string `json:"serial"`
	Version string `json:"version"`
	Place   string `json:"place"`
	Note    string `json:"note"`
}

// AnswerNew is a device that the vessel's file doesn't have.
type AnswerNew struct {
	Model   string `json:"model"`
	Place   string `json:"place"`
	Serial  string `json:"serial"`
	Version string `json:"version"`
}

// spareDevices is how many places a survey has for devices that nobody knew of.
const spareDevices = 4

// MakeSurvey makes the page to walk a boat with: every device with a place for
// what it shows, and places for those that nobody knew of. The only error is a
// Style that Style.Check refuses.
func MakeSurvey(in SurveyInput) (Sheet, error) {
	w, err := in.Style.speech()
	if err != nil {
		return Sheet{}, fmt.Errorf("making the survey: %w", err)
	}
	v := in.Vessel
	s := Sheet{
		Language: in.Style.Language, Title: w.say("survey"), Vessel: vesselName(v), Made: in.When,
		About: strings.Join(notEmpty(identity(w, v), prose(v.Berth), prose(in.Shop.Name), w.day(in.When)), " · "),
		Foot:  strings.Join(notEmpty(vesselName(v), w.say("survey"), w.day(in.When)), " · "),
		Stamp: stamp(w, StampRead, "survey.stamp"),
		By:    Blank{ID: "by", Label: w.say("technician"), Value: prose(in.Technician), Wide: true},
		Sections: []Section{
			surveyAboard(w, in), surveyAlso(w), surveyEnd(w, in),
		},
		Answers: answers(in),
	}
	if s.Language == "" {
		s.Language = English
	}
	return s, nil
}

func answers(in SurveyInput) *Answers {
	a := &Answers{
		Format: AnswersFormat, Kind: SurveyKind, Vessel: in.Vessel.ID, By: in.Technician,
		Devices: []AnswerDevice{}, Also: []AnswerNew{},
	}
	for _, d := range in.Vessel.Devices {
		a.Devices = append(a.Devices, AnswerDevice{Device: d.ID, Filed: string(d.Version)})
	}
	a.Also = make([]AnswerNew, spareDevices)
	return a
}

func surveyAboard(w speech, in SurveyInput) Section {
	s := Section{ID: "aboard", Title: w.say("survey.aboard"), Blocks: []Block{
		Blanks{{ID: "found", Label: w.say("survey.found")}},
		Paragraph(w.say("survey.how")),
	}}
	for i, d := range in.Vessel.Devices {
		s.Blocks = append(s.Blocks, surveyDevice(w, in.Shop, d, strconv.Itoa(i+1)))
	}
	return s
}

// surveyDevice is a device as the vessel's file has it, with places for what is
// otherwise.
func surveyDevice(w speech, shop *manifest.Shop, d *manifest.Device, n string) Tick {
	m := shop.Model(d.Model)
	if m == nil {
		m = &manifest.Model{Name: d.Model}
	}
	what := strings.TrimSpace(prose(m.Maker) + " " + prose(m.Name))
	serial, version := w.say("survey.serial.none"), w.version(d.Version)
	if d.Serial != "" {
		serial = w.say("survey.serial", "serial", name(d.Serial))
	}
	t := Tick{
		ID: "filed-" + n, Text: w.say("survey.device", "device", name(d.ID), "model", what, "place", prose(d.Place)),
		Notes: []string{strings.Join(notEmpty(serial, w.say("survey.version", "version", version), variant(w, d)), " · ")},
		Blanks: []Blank{
			{ID: "serial-" + n, For: d.ID, Label: w.say("versions.serial")},
			{ID: "version-" + n, For: d.ID, Label: w.say("survey.shows")},
			{ID: "place-" + n, For: d.ID, Label: w.say("survey.place")},
			{ID: "note-" + n, For: d.ID, Label: w.say("step.note")},
		},
	}
	if d.Place == "" {
		t.Text = w.say("survey.device.nowhere", "device", name(d.ID), "model", what)
	}
	if at := clause(m.VersionShown); at != "" {
		t.Notes = append(t.Notes, w.say("survey.where", "at", at))
	}
	return t
}

func variant(w speech, d *manifest.Device) string {
	if d.Variant == "" {
		return ""
	}
	return w.say("survey.variant", "variant", name(d.Variant))
}

// surveyAlso has places for devices that the vessel's file doesn't have.
func surveyAlso(w speech) Section {
	s := Section{ID: "also", Title: w.say("survey.also"), Blocks: []Block{Paragraph(w.say("survey.also.how"))}}
	for i := range spareDevices {
		n := strconv.Itoa(i + 1)
		s.Blocks = append(s.Blocks, Heading(w.say("survey.also.n", "n", n)), Blanks{
			{ID: "new-model-" + n, Label: w.say("survey.model")},
			{ID: "new-place-" + n, Label: w.say("survey.place")},
			{ID: "new-serial-" + n, Label: w.say("versions.serial")},
			{ID: "new-version-" + n, Label: w.say("survey.shows")},
		})
	}
	return s
}

// surveyEnd says how the findings get into the vessel's file.
func surveyEnd(w speech, in SurveyInput) Section {
	return Section{ID: "back", Title: w.say("survey.back"), Whole: true, Blocks: []Block{
		Paragraph(w.say("survey.back.how")),
		Facts(filled(
			Fact{Label: w.say("survey.back.phone"), Value: name(in.Commands.Saved), Exact: true},
			Fact{Label: w.say("survey.back.table"), Value: name(in.Commands.Table), Exact: true},
			Fact{Label: w.say("survey.back.filled"), Value: name(in.Commands.Answers), Exact: true},
		)),
	}}
}
