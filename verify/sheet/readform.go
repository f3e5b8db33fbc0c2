package sheet

import (
	"bytes"
	_ "embed"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"slices"
	"unicode/utf8"

	"cardwright/manifest"
	"cardwright/manifest/pattern"
)

// FormSchema is the JSON Schema (draft 2020-12) of a Form.
//
//go:embed schema/form.json
var FormSchema []byte

// The bounds of a form; the schema has the same.
const (
	MaxFormBytes   = 4 << 20
	maxFormSteps   = 1000
	maxFormChecks  = 5000
	maxFormLine    = 200 // characters
	maxFormVersion = 64
	maxFormMinutes = 9999
)

// The results that a form knows; "" is nobody has said.
var (
	StepResults  = []string{"done", "failed", "put off", ""}
	CheckResults = []string{"passed", "failed", "not done", ""}
)

var planID = pattern.Of(`^[0-9a-f]{64}$`)

// ReadForm reads a form that was filled in. It comes from outside: whatever
// isn't as FormSchema says is an error that tells where, and all of them are
// told at once.
func ReadForm(r io.Reader) (Form, error) {
	data, err := io.ReadAll(io.LimitReader(r, MaxFormBytes+1))
	if err != nil {
		return Form{}, fmt.Errorf("reading filled-in order: %w", err)
	}
	if len(data) > MaxFormBytes {
		return Form{}, fmt.Errorf("reading filled-in order: more than %d bytes", MaxFormBytes)
	}
	if !utf8.Valid(data) {
		return Form{}, errors.New("reading filled-in order: it isn't UTF-8 text")
	}
	var form struct {
		Format int `json:"format"`
	}
	if json.Unmarshal(data, &form) == nil && form.Format > FormFormat {
		return Form{}, fmt.Errorf("reading filled-in order: format %d, expected %d: a newer cardwright made it: update cardwright on this computer", form.Format, FormFormat)
	}
	var f Form
	d := json.NewDecoder(bytes.NewReader(data))
	d.DisallowUnknownFields()
	if err := d.Decode(&f); err != nil {
		return Form{}, fmt.Errorf("reading filled-in order: %w", err)
	}
	if _, err := d.Token(); !errors.Is(err, io.EOF) {
		return Form{}, errors.New("reading filled-in order: something stands after its end")
	}
	if err := f.check(); err != nil {
		return Form{}, fmt.Errorf("reading filled-in order: %w", err)
	}
	return f, nil
}

// check compares a form with the schema.
func (f Form) check() error {
	if len(f.Steps) > maxFormSteps || len(f.Checks) > maxFormChecks {
		return fmt.Errorf("%d steps and %d checks; at most %d and %d", len(f.Steps), len(f.Checks), maxFormSteps, maxFormChecks)
	}
	var w wrong
	w.unless(f.Format == FormFormat, "format %d; this program reads %d", f.Format, FormFormat)
	w.unless(isName(f.Vessel), "vessel: found %q, expected the vessel's id", clip(f.Vessel))
	w.unless(planID.MatchString(f.Plan), "plan: found %q, expected 64 hex digits", clip(f.Plan))
	w.unless(isLine(f.By), "by: more than %d characters", maxFormLine)
	w.unless(isLine(f.SettingsSaved), "settings_saved: more than %d characters", maxFormLine)
	for i, s := range f.Steps {
		s.check(&w, fmt.Sprintf("steps[%d]", i))
	}
	for i, c := range f.Checks {
		c.check(&w, fmt.Sprintf("checks[%d]", i))
	}
	return errors.Join(w...)
}

func (s FormStep) check(w *wrong, at string) {
	w.unless(s.Number >= 1 && s.Number <= maxFormSteps, "%s.number: found %d, expected 1 to %d", at, s.Number, maxFormSteps)
	w.unless(isName(s.Device), "%s.device: found %q, expected a device's id", at, clip(s.Device))
	w.unless(isVersion(s.Before), "%s.before: more than %d characters", at, maxFormVersion)
	w.unless(isVersion(s.After), "%s.after: more than %d characters", at, maxFormVersion)
	w.unless(slices.Contains(StepResults, s.Result), "%s.result: found %q, expected one of %q", at, clip(s.Result), StepResults)
	w.unless(s.Minutes >= 0 && s.Minutes <= maxFormMinutes, "%s.minutes: found %d, expected 0 to %d", at, s.Minutes, maxFormMinutes)
	w.unless(isLine(s.Note), "%s.note: more than %d characters", at, maxFormLine)
}

func (c FormCheck) check(w *wrong, at string) {
	w.unless(isName(c.Device), "%s.device: found %q, expected a device's id", at, clip(c.Device))
	w.unless(slices.Contains(manifest.Checks, c.Check), "%s.check: found %q, expected a check of the catalogue", at, clip(c.Check))
	w.unless(slices.Contains(CheckResults, c.Result), "%s.result: found %q, expected one of %q", at, clip(c.Result), CheckResults)
	w.unless(isLine(c.Value), "%s.value: more than %d characters", at, maxFormLine)
}

// wrong is everything that isn't as it must be.
type wrong []error

func (w *wrong) unless(ok bool, format string, args ...any) {
	if !ok {
		*w = append(*w, fmt.Errorf(format, args...))
	}
}

func isName(s string) bool    { return s != "" && isLine(s) }
func isLine(s string) bool    { return utf8.RuneCountInString(s) <= maxFormLine }
func isVersion(s string) bool { return utf8.RuneCountInString(s) <= maxFormVersion }

// clip keeps a message short, whatever was found.
func clip(s string) string {
	const most = 80
	if r := []rune(s); len(r) > most {
		return string(r[:most]) + "…"
	}
	return s
}
