package record

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"cardwright/manifest"
	"cardwright/manifest/order"
	"cardwright/manifest/problem"
	"cardwright/manifest/version"
	"cardwright/verify/ledger"
)

// Job is what a sheet is filled in against.
type Job struct {
	Plan      order.Plan
	Vessel    *manifest.Vessel
	Catalogue []*manifest.Model
	Cards     []ledger.OnCard // releases that were on good cards for this vessel, the newest last
}

// Visit is what a sheet doesn't say: which visit it was, when it ended, its purpose.
type Visit struct {
	ID      string    // the same for one sheet however often it is recorded: see VisitOf; or ledger.NewVisit()
	At      time.Time // when the work ended
	Purpose string
	// OtherPlan takes a sheet of another plan than the job's, or of none: its
	// steps stand as they are, and each needs a note.
	OtherPlan bool
}

// Outcome is what a sheet comes to.
type Outcome struct {
	Entries  []ledger.Entry       // in the order of the work
	Versions map[string]version.V // what each device was seen to run in the end, for the vessel's file
	Notes    []string             // what a person should look at
}

// Entries makes the ledger's entries of a filled sheet. The error is Mistakes:
// all that keeps the sheet from being recorded.
func (j *Job) Entries(f Filled, v Visit) (Outcome, error) {
	f = f.tidy()
	slices.SortStableFunc(f.Steps, func(a, b FilledStep) int { return a.Number - b.Number })
	m := maker{job: j, filled: f, visit: v, out: Outcome{Versions: map[string]version.V{}}}
	m.whole()
	m.begin()
	for i := range f.Steps {
		m.step(i)
	}
	m.missingSteps()
	m.checks()
	m.validate()
	if err := m.mistakes.err(); err != nil {
		return Outcome{}, err
	}
	return m.out, nil
}

// Belongs reports whether a sheet can be one of this job at all, before anybody is
// asked for what it leaves open. The error is Mistakes.
func (j *Job) Belongs(f Filled, v Visit) error {
	m := maker{job: j, filled: f.tidy(), visit: v}
	m.whole()
	return m.mistakes.err()
}

// maker makes entries and collects mistakes.
type maker struct {
	job      *Job
	filled   Filled
	visit    Visit
	out      Outcome
	mistakes Mistakes
}

func (m *maker) say(where, found, expected, advice string) {
	m.mistakes = append(m.mistakes, Mistake{where, problem.Problem{Found: found, Expected: expected, Advice: advice}})
}

// whole looks whether the sheet belongs to the job.
func (m *maker) whole() {
	if m.filled.Format < 1 || m.filled.Format > Format {
		m.say("format", fmt.Sprint(m.filled.Format), fmt.Sprint(Format), "")
	}
	if m.filled.Vessel != m.job.Vessel.ID {
		m.say("vessel", quote(m.filled.Vessel), quote(m.job.Vessel.ID), "record it for the vessel that it was filled in for")
	}
	if want := m.job.Plan.ID(); m.filled.Plan != "" && m.filled.Plan != want && !m.visit.OtherPlan {
		m.say("plan", short(m.filled.Plan), short(want),
			"the plan has changed since the sheet was printed; look through the steps, and record the sheet as one of another plan")
	}
}

func short(digest string) string { return digest[:min(12, len(digest))] }

func quote(s string) string {
	const most = 60
	if len(s) > most {
		s = s[:most] + "…"
	}
	return fmt.Sprintf("%+q", s)
}

func (m *maker) entry(kind ledger.Kind) ledger.Entry {
	return ledger.Entry{At: m.visit.At.UTC().Truncate(time.Second), Kind: kind, Vessel: m.job.Vessel.ID, Berth: m.job.Vessel.Berth, Visit: m.visit.ID}
}

func (m *maker) begin() {
	e := m.entry(ledger.VisitBegun)
	e.VisitBegun = &ledger.Visit{ApprovedBy: m.filled.ApprovedBy, Told: m.filled.Told, Purpose: m.visit.Purpose, Plan: m.filled.Plan}
	m.out.Entries = append(m.out.Entries, e)
	if m.filled.SettingsSaved != "" {
		e := m.entry(ledger.SettingsSaved)
		e.Settings = &ledger.Settings{Where: m.filled.SettingsSaved}
		m.out.Entries = append(m.out.Entries, e)
	}
}

// Device describes a device aboard as the ledger keeps it; false where it isn't
// aboard.
func (j *Job) Device(id string) (ledger.Device, bool) { return j.device(id) }

func (j *Job) device(id string) (ledger.Device, bool) {
	d := j.Vessel.Device(id)
	if d == nil {
		return ledger.Device{ID: id}, false
	}
	out := ledger.Device{ID: id, Model: d.Model, Place: d.Place, Serial: d.Serial, Variant: d.Variant}
	if m := j.model(d.Model); m != nil {
		out.Maker, out.Kind, out.Name = m.Maker, string(m.Kind), m.Name
	}
	return out, true
}

func (j *Job) model(id string) *manifest.Model {
	i := slices.IndexFunc(j.Catalogue, func(m *manifest.Model) bool { return m.ID == id })
	if i < 0 {
		return nil
	}
	return j.Catalogue[i]
}

func (j *Job) aboard() string {
	ids := make([]string, len(j.Vessel.Devices))
	for i, d := range j.Vessel.Devices {
		ids[i] = d.ID
	}
	return strings.Join(ids, ", ")
}

// nearest says which device aboard may be meant; "" where none is near.
func (j *Job) nearest(id string) string {
	ids := make([]string, len(j.Vessel.Devices))
	for i, d := range j.Vessel.Devices {
		ids[i] = d.ID
	}
	return tryWord(manifest.Nearest(id, ids))
}

func tryWord(near string) string {
	if near == "" {
		return ""
	}
	return "try " + near
}

func (j *Job) planned(number int) *order.Step {
	i := slices.IndexFunc(j.Plan.Steps, func(s order.Step) bool { return s.Number == number })
	if i < 0 {
		return nil
	}
	return &j.Plan.Steps[i]
}

var stepKinds = map[string]ledger.Kind{Done: ledger.StepDone, Failed: ledger.StepFailed, PutOff: ledger.StepPutOff}

func (m *maker) step(i int) {
	s := m.filled.Steps[i]
	where := fmt.Sprintf("step %d (%s)", s.Number, s.Device)
	device, ok := m.job.device(s.Device)
	if !ok {
		m.say(where, "the device "+quote(s.Device), "one of "+m.job.aboard(), m.job.nearest(s.Device))
		return
	}
	kind, ok := stepKinds[s.Result]
	if !ok {
		m.say(where+", result", quote(s.Result), "done, failed or put off", "")
		return
	}
	if slices.ContainsFunc(m.filled.Steps[:i], func(o FilledStep) bool { return o.Number == s.Number }) {
		m.say(where, "the step twice", "each step once", "")
		return
	}
	e := m.entry(kind)
	e.Step = &ledger.Step{
		Number: s.Number, Device: device, Before: s.Before, After: s.After, Minutes: s.Minutes, Note: s.Note, Plan: m.filled.Plan,
	}
	m.against(where, s, e.Step)
	if s.Result == Done {
		m.fromCard(where, e.Step)
	}
	m.out.Entries = append(m.out.Entries, e)
	for _, r := range ledger.Readings(&e) {
		m.out.Versions[s.Device] = r.Version
	}
}

// against compares a step with the plan's.
func (m *maker) against(where string, s FilledStep, e *ledger.Step) {
	p := m.job.planned(s.Number)
	if m.visit.OtherPlan || p == nil {
		if !m.visit.OtherPlan {
			m.say(where, fmt.Sprintf("step %d", s.Number), fmt.Sprintf("1 to %d: the plan has no other", len(m.job.Plan.Steps)),
				"record work that wasn't planned as a sheet of another plan")
		} else if s.Note == "" {
			m.say(where+", note", "nothing", "why it was done without the plan", "")
		}
		return
	}
	e.Planned, e.Plan = p.To, m.job.Plan.ID()
	m.release(e, s, p)
	if p.Device != s.Device {
		m.say(where, "the device "+quote(s.Device), quote(p.Device)+", as step "+fmt.Sprint(p.Number)+" of the plan says", "")
	}
	if s.Result == Done {
		m.doneAsPlanned(where, s, p)
	} else if s.Note == "" {
		m.say(where+", note", "nothing", "why it "+map[string]string{Failed: "failed", PutOff: "was put off"}[s.Result], "")
	}
}

// release says which files were installed and whether there is a way back,
// where the step was done with the release that was planned.
func (m *maker) release(e *ledger.Step, s FilledStep, p *order.Step) {
	if s.Result != Done || ledger.VersionKey(s.After) != ledger.VersionKey(p.To) {
		return
	}
	for _, f := range p.Files {
		e.Files = append(e.Files, ledger.File{Name: f.Name, SHA256: f.SHA256, Size: f.Size})
	}
	model := m.job.model(e.Device.Model)
	if model == nil {
		return
	}
	if r := model.Release(p.To, e.Device.Variant); r != nil && r.WayBack != nil {
		e.WayBack = map[bool]string{true: ledger.WayBackThere, false: ledger.WayBackNone}[*r.WayBack]
	}
}

func (m *maker) doneAsPlanned(where string, s FilledStep, p *order.Step) {
	after, err := version.Parse(string(s.After))
	if err != nil {
		m.say(where+", after", quote(string(s.After)), "the version that the device shows now", "read it off the device; if it shows none, the step failed")
		return
	}
	if before, err := version.Parse(string(s.Before)); err == nil && version.Compare(before, after) == 0 {
		m.say(where+", after", string(s.After)+", as before", string(p.To), "if the device didn't take the release, the step failed")
		return
	}
	if version.Compare(after, p.To) != 0 {
		if s.Note == "" {
			m.say(where+", after", string(s.After), string(p.To)+", as planned", "write a note if another version was meant")
			return
		}
		m.out.Notes = append(m.out.Notes, fmt.Sprintf("%s runs %s, not %s as planned: plan the vessel again", s.Device, s.After, p.To))
	}
}

// fromCard finds the good card that a release came from, the newest that had
// it; one that was on none needs a reason.
func (m *maker) fromCard(where string, e *ledger.Step) {
	for _, c := range slices.Backward(m.job.Cards) {
		if c.Model == e.Device.Model && ledger.VersionKey(c.Version) == ledger.VersionKey(e.After) && ledger.VersionKey(e.After) != "" {
			e.Card = c.Card
			return
		}
	}
	if p := m.job.planned(e.Number); e.Note == "" && p != nil && p.Route != "" && !m.visit.OtherPlan {
		e.Reason = byRoute[p.Route]
		return
	}
	if e.Note == "" && ledger.VersionKey(e.After) != "" {
		m.say(where+", note", "nothing", fmt.Sprintf("a reason: %s %s was on no verified card", e.Device.Model, e.After),
			"say where the release came from, or verify the card first")
		return
	}
	e.Reason, e.Note = e.Note, ""
}

// byRoute says in the ledger why a release that was planned so is on no card.
var byRoute = map[string]string{
	manifest.ByCable: "by cable", manifest.ByProgram: "by the maker's program", manifest.ByMaker: "by the maker",
}

func (m *maker) missingSteps() {
	if m.visit.OtherPlan {
		return
	}
	for _, p := range m.job.Plan.Steps {
		if !slices.ContainsFunc(m.filled.Steps, func(s FilledStep) bool { return s.Number == p.Number }) {
			m.say(fmt.Sprintf("step %d (%s)", p.Number, p.Device), "nothing", "done, failed or put off", "")
		}
	}
}

var checkKinds = map[string]ledger.Kind{Passed: ledger.CheckPassed, Failed: ledger.CheckFailed, NotDone: ledger.CheckNotDone}

// checks takes the checks that were filled in, and says of those that the
// installed releases ask for and nobody did that they weren't done.
func (m *maker) checks() {
	seen := map[string]bool{}
	for i, c := range m.filled.Checks {
		if c.Result == "" {
			if c.Value != "" {
				m.say(fmt.Sprintf("check %d (%s, %s), result", i+1, c.Device, c.Check), "nothing, with the value "+quote(c.Value), "passed, failed or not done", "")
			}
			continue
		}
		if seen[c.Device+"\n"+c.Check] {
			m.say(fmt.Sprintf("check %d (%s, %s)", i+1, c.Device, c.Check), "the check twice", "each check of a device once", "")
		}
		seen[c.Device+"\n"+c.Check] = true
		m.check(i, c)
	}
	for _, due := range m.job.due(m.filled) {
		if !seen[due.Device+"\n"+due.Check] {
			m.addCheck(ledger.CheckNotDone, due)
			m.out.Notes = append(m.out.Notes, fmt.Sprintf("%s: the check %q wasn't done, and stays due", due.Device, due.Check))
		}
	}
}

func (m *maker) check(i int, c FilledCheck) {
	where := fmt.Sprintf("check %d (%s, %s)", i+1, c.Device, c.Check)
	kind, ok := checkKinds[c.Result]
	if !ok {
		m.say(where+", result", quote(c.Result), "passed, failed or not done", "")
		return
	}
	if !slices.Contains(manifest.Checks, c.Check) {
		m.say(where, quote(c.Check), "one of "+strings.Join(manifest.Checks, ", "), tryWord(manifest.Nearest(c.Check, manifest.Checks)))
		return
	}
	if _, ok := m.job.device(c.Device); !ok {
		m.say(where, "the device "+quote(c.Device), "one of "+m.job.aboard(), m.job.nearest(c.Device))
		return
	}
	if c.Check == ledger.VersionShown && c.Result == Passed {
		v, err := version.Parse(c.Value)
		if err != nil {
			m.say(where+", value", quote(c.Value), "the version that the device shows", "")
			return
		}
		if seen := m.out.Versions[c.Device]; seen != "" && version.Compare(seen, v) != 0 {
			m.say(where+", value", string(v), string(seen)+", which its step says it shows", "read it off the device again")
			return
		}
		c.Value = string(v)
		m.out.Versions[c.Device] = v
	}
	m.addCheck(kind, c)
}

func (m *maker) addCheck(kind ledger.Kind, c FilledCheck) {
	device, _ := m.job.device(c.Device)
	e := m.entry(kind)
	e.Check = &ledger.Check{Check: c.Check, Device: device, Value: c.Value}
	if c.Check == settingsCheck && kind != ledger.CheckPassed && m.job.lostSettings(m.filled, c.Device) {
		e.Check.Note = ledger.SettingsLost
	}
	m.out.Entries = append(m.out.Entries, e)
}

// due are the checks that the sheet prints for the devices on which a step was
// done, but for the version shown, which each step says.
func (j *Job) due(f Filled) []FilledCheck {
	var list []FilledCheck
	for _, d := range j.Vessel.Devices {
		m := j.model(d.Model)
		var installed []*manifest.Release
		done := false
		for _, s := range f.Steps {
			if s.Result != Done || s.Device != d.ID || m == nil {
				continue
			}
			done = true
			if r := m.Release(s.After, d.Variant); r != nil {
				installed = append(installed, r)
			}
		}
		if !done {
			continue
		}
		checks := manifest.ChecksAfter(m.Kind, installed)
		if lost(installed) && !slices.Contains(checks, settingsCheck) {
			checks = append(checks, settingsCheck)
		}
		for _, check := range checks {
			list = append(list, FilledCheck{Device: d.ID, Check: check, Result: NotDone})
		}
	}
	return list
}

// settingsCheck is the check that settings were entered again.
const settingsCheck = "settings and waypoints"

// lost reports whether one of the releases loses the device's settings.
func lost(installed []*manifest.Release) bool {
	return slices.ContainsFunc(installed, func(r *manifest.Release) bool { return r.Settings == manifest.SettingsLost })
}

// lostSettings reports whether a step of the sheet left a device without its settings.
func (j *Job) lostSettings(f Filled, device string) bool {
	d := j.Vessel.Device(device)
	m := j.model(d.Model)
	return m != nil && slices.ContainsFunc(f.Steps, func(s FilledStep) bool {
		r := m.Release(s.After, d.Variant)
		return s.Device == device && s.Result == Done && r != nil && r.Settings == manifest.SettingsLost
	})
}

// validate finds what the ledger itself would refuse.
func (m *maker) validate() {
	if m.mistakes != nil {
		return
	}
	for _, e := range m.out.Entries {
		err := e.Validate()
		if err == nil {
			continue
		}
		all := []error{err}
		if joined, ok := err.(interface{ Unwrap() []error }); ok {
			all = joined.Unwrap()
		}
		for _, err := range all {
			if x, ok := errors.AsType[*ledger.Unwritable](err); ok {
				m.say(placeOf(&e)+", "+fieldWord(x.Field), x.Found, x.Expected, x.Advice)
				continue
			}
			m.say(placeOf(&e), err.Error(), "what can be noted", "")
		}
	}
}

// placeOf says what of the visit an entry is.
func placeOf(e *ledger.Entry) string {
	switch {
	case e.Step != nil:
		return fmt.Sprintf("step %d (%s)", e.Step.Number, e.Step.Device.ID)
	case e.Check != nil:
		return fmt.Sprintf("check (%s, %s)", e.Check.Device.ID, e.Check.Check)
	}
	return string(e.Kind)
}

// fieldWord is a field of an event, such as step.note, as a person calls it.
func fieldWord(field string) string {
	return strings.ReplaceAll(field[strings.LastIndexByte(field, '.')+1:], "_", " ")
}
