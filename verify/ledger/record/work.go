package record

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"cardwright/manifest/version"
	"cardwright/verify/ledger"
)

// HowMeant takes a word for the way of working that it is part of, as cable, bench or
// yard; what is none stays as it is.
func HowMeant(word string) string {
	var found []string
	for _, how := range ledger.Hows {
		if slices.Contains(strings.Fields(how), strings.ToLower(word)) {
			found = append(found, how)
		}
	}
	if len(found) == 1 {
		return found[0]
	}
	return word
}

// Work makes the entries of work outside any plan: lines as WrittenWork takes them, and
// what else was said of the visit. The error is *NotUnderstood where a line can't be read.
func (j *Job) Work(lines []string, how string, said Said, v Visit) (Outcome, error) {
	out := Outcome{Versions: map[string]version.V{}, Entries: []ledger.Entry{{
		Kind: ledger.VisitBegun, VisitBegun: &ledger.Visit{Purpose: v.Purpose, Told: said.Told, ApprovedBy: said.ApprovedBy},
	}}}
	if said.SettingsSaved != "" {
		out.Entries = append(out.Entries, ledger.Entry{Kind: ledger.SettingsSaved, Settings: &ledger.Settings{Where: said.SettingsSaved}})
	}
	for _, text := range lines {
		e, err := j.WrittenWork(text, how)
		if err != nil {
			return Outcome{}, &NotUnderstood{"work", text, err}
		}
		out.Entries = append(out.Entries, e)
	}
	for i := range out.Entries {
		e := &out.Entries[i]
		e.At, e.Vessel, e.Berth, e.Visit = v.At.UTC().Truncate(time.Second), j.Vessel.ID, j.Vessel.Berth, v.ID
		if err := e.Validate(); err != nil {
			return Outcome{}, err
		}
		for _, reading := range ledger.Readings(e) {
			out.Versions[reading.Device.ID] = reading.Version
		}
	}
	return out, nil
}

// WrittenWork reads work outside any plan as one line: DEVICE= and what would be
// typed for a step.
func (j *Job) WrittenWork(text, how string) (ledger.Entry, error) {
	device, rest, ok := strings.Cut(text, "=")
	d, aboard := j.device(device)
	if !ok || !aboard {
		text := "expected DEVICE=VERSION, or DEVICE=BEFORE to AFTER, with one of " + j.aboard()
		if near := j.nearest(device); near != "" {
			text += "; " + near
		}
		return ledger.Entry{}, errors.New(text)
	}
	s := FilledStep{Device: device, Result: Done}
	if result, why := leading(rest, Failed); result != "" {
		s.Result, s.Note = Failed, why
	} else if err := s.read(rest, "", false); err != nil {
		return ledger.Entry{}, err
	}
	if s.Result == Failed && s.Note == "" {
		return ledger.Entry{}, fmt.Errorf("expected why it failed: DEVICE=failed, screen stayed dark")
	}
	return ledger.Entry{Kind: stepKinds[s.Result], Step: &ledger.Step{
		Device: d, Before: s.Before, After: s.After, Minutes: s.Minutes, Note: s.Note, How: how,
	}}, nil
}
