package record

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"cardwright/manifest/version"
	"cardwright/verify/ledger"
)

// Question is one thing that the plan leaves open. Whoever asks gives the
// answer back with its key.
type Question struct {
	Key     string   `json:"key"`
	Ask     string   `json:"ask"`
	Choices []string `json:"choices"` // words that are taken; others may be too, as the question says
	Default string   `json:"default"` // what an empty answer means; "" means that one is needed, or that nothing is said
	Needed  bool     `json:"needed"`
}

// What the keys of questions begin with, or are.
const (
	stepKey     = "step/"
	checkKey    = "check/"
	approvedKey = "approved_by"
	toldKey     = "told"
)

// IsStep reports whether a question asks for what became of a step.
func IsStep(q Question) bool { return strings.HasPrefix(q.Key, stepKey) }

// IsCheck reports whether a question asks for a check.
func IsCheck(q Question) bool { return strings.HasPrefix(q.Key, checkKey) }

// Open gives the questions that a sheet leaves open, in the order of the work:
// one for each step, then the checks that the installed releases ask for, then
// where the settings were saved. Each answer may open another.
func (j *Job) Open(f Filled) []Question {
	var list []Question
	for _, p := range j.Plan.Steps {
		i := slices.IndexFunc(f.Steps, func(s FilledStep) bool { return s.Number == p.Number })
		if i < 0 || f.Steps[i].Result == "" {
			list = append(list, Question{
				Key:     stepKey + strconv.Itoa(p.Number),
				Ask:     fmt.Sprintf("Step %d, %s, planned %s to %s: which version does it show now?", p.Number, p.Device, p.From, p.To),
				Choices: []string{string(p.To), Done, Failed, PutOff}, Needed: true,
			})
			continue
		}
		if q, ok := j.noteFor(f.Steps[i], string(p.To)); ok {
			list = append(list, q)
		}
	}
	return append(list, j.openChecks(f)...)
}

// OpenOfOther gives the questions that a sheet of another plan leaves open:
// nothing of today's plan, only why each step was done without it.
func (j *Job) OpenOfOther(f Filled) []Question {
	var list []Question
	for _, s := range f.Steps {
		if s.Note == "" {
			list = append(list, Question{
				Key: fmt.Sprintf("note/%d", s.Number), Ask: fmt.Sprintf("Step %d, %s: why was it done without the plan?", s.Number, s.Device),
				Choices: []string{}, Needed: true,
			})
		}
	}
	return append(list, j.openChecks(f)...)
}

// noteFor asks for a note where a step needs one.
func (j *Job) noteFor(s FilledStep, to string) (Question, bool) {
	q := Question{Key: fmt.Sprintf("note/%d", s.Number), Choices: []string{}, Needed: true}
	switch {
	case s.Note != "":
		return q, false
	case s.Result != Done:
		q.Ask = fmt.Sprintf("Step %d, %s: why %s?", s.Number, s.Device, map[string]string{Failed: "did it fail", PutOff: "was it put off"}[s.Result])
	case !j.onCard(s):
		q.Ask = fmt.Sprintf("Step %d, %s: %s was on no verified card. Where did it come from?", s.Number, s.Device, s.After)
	case ledger.VersionKey(s.After) != ledger.VersionKey(version.V(to)):
		q.Ask = fmt.Sprintf("Step %d, %s shows %s, not %s as planned. Why?", s.Number, s.Device, s.After, to)
	default:
		return q, false
	}
	return q, true
}

func (j *Job) onCard(s FilledStep) bool {
	if p := j.planned(s.Number); p != nil && p.Route != "" {
		return true // it comes from none
	}
	d := j.Vessel.Device(s.Device)
	return d != nil && slices.ContainsFunc(j.Cards, func(c ledger.OnCard) bool {
		return c.Model == d.Model && ledger.VersionKey(c.Version) == ledger.VersionKey(s.After)
	})
}

func (j *Job) openChecks(f Filled) []Question {
	var list []Question
	for _, due := range j.due(f) {
		if !slices.ContainsFunc(f.Checks, func(c FilledCheck) bool { return c.Device == due.Device && c.Check == due.Check && c.Result != "" }) {
			list = append(list, Question{
				Key:     checkKey + due.Device + "/" + due.Check,
				Ask:     askCheck(due, due.Check == settingsCheck && j.lostSettings(f, due.Device)),
				Choices: []string{Passed, Failed, NotDone}, Default: NotDone, Needed: j.named(f, due),
			})
		}
	}
	if f.SettingsSaved == "" {
		list = append(list, Question{Key: "settings", Ask: "Where were the settings saved (empty: nowhere)?", Choices: []string{}})
	}
	return list
}

// openWho asks who agreed and who was informed, where the sheet doesn't say.
func openWho(f Filled) (list []Question) {
	if f.ApprovedBy == "" {
		list = append(list, Question{Key: approvedKey, Ask: "Who agreed to the work (initials or a role; empty: not said)?", Choices: []string{}})
	}
	if f.Told == "" {
		list = append(list, Question{Key: toldKey, Ask: "Who was told (initials or a role; empty: nobody)?", Choices: []string{}})
	}
	return list
}

func askCheck(due FilledCheck, lost bool) string {
	if lost {
		return fmt.Sprintf("%s lost its settings. Entered again and checked: passed, failed or not done?", due.Device)
	}
	return fmt.Sprintf("%s, %s: passed, failed or not done, and what was read?", due.Device, due.Check)
}

// named reports whether a release that was installed names a check; the usual ones
// count as not done where nobody is there to ask.
func (j *Job) named(f Filled, due FilledCheck) bool {
	d := j.Vessel.Device(due.Device)
	m := j.model(d.Model)
	return slices.ContainsFunc(f.Steps, func(s FilledStep) bool {
		r := m.Release(s.After, d.Variant)
		return s.Device == due.Device && s.Result == Done && r != nil && slices.Contains(r.After, due.Check)
	})
}
