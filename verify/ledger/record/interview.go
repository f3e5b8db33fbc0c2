package record

import (
	"fmt"

	"cardwright/manifest/order"
)

// Interview asks for what a sheet leaves open, one question after the other,
// until nothing is. Whoever asks shows Next, at a terminal or to a program, and
// gives the answers to Answer.
type Interview struct {
	Job       *Job
	Filled    *Filled // answers are written into it
	OtherPlan bool    // nothing of today's plan is asked for
	Sheet     bool    // Filled is from a sheet that somebody filled in elsewhere
	Answered  bool    // something was answered

	passed map[string]bool // questions that may stay open, by key
	checks int             // how many there are in all
}

// Open are the questions that are open now. Each answer may open another. Who agreed
// and who was informed is asked last, and only of somebody who has answered anything.
func (i *Interview) Open() []Question {
	open := i.Job.Open(*i.Filled)
	if i.OtherPlan {
		open = i.Job.OpenOfOther(*i.Filled)
	}
	if i.Answered {
		open = append(open, openWho(*i.Filled)...)
	}
	return open
}

// Needed are the open questions without which nothing can be noted: where nobody
// is there to ask, these have to be answered otherwise.
func (i *Interview) Needed() (needed []Question) {
	for _, q := range i.Open() {
		if q.Needed {
			needed = append(needed, q)
		}
	}
	return needed
}

// Next is the question to ask now; false where nothing is left. A check says
// which one of how many it is, so that nobody has to wonder how long this goes on.
func (i *Interview) Next() (Question, bool) {
	open := i.Open()
	for _, q := range open {
		if !i.passed[q.Key] {
			return i.numbered(q, open), true
		}
	}
	return Question{}, false
}

func (i *Interview) numbered(q Question, open []Question) Question {
	if !IsCheck(q) {
		return q
	}
	left := 0
	for _, o := range open {
		if IsCheck(o) {
			left++
		}
	}
	i.checks = max(i.checks, left)
	q.Ask = fmt.Sprintf("Check %d of %d. %s", i.checks-left+1, i.checks, q.Ask)
	return q
}

// Answer takes the answer to a question. An empty one means the default; a
// question that isn't needed may stay open. The error says what was expected:
// the question is then asked again.
func (i *Interview) Answer(q Question, said string) error {
	if said == "" {
		said = q.Default
	}
	if said != "" || q.Needed {
		if err := i.Job.Answer(i.Filled, q.Key, said); err != nil {
			return err
		}
		i.Answered = true
	}
	if i.passed == nil {
		i.passed = map[string]bool{}
	}
	i.passed[q.Key] = true
	return nil
}

// Confirm reports whether somebody has to agree before anything is noted, since what is
// noted stays: where something was answered, or a sheet is read by a person.
func (i *Interview) Confirm() bool { return i.Answered || i.Sheet }

// Steps counts the questions that ask for what became of a step.
func (i *Interview) Steps() (n int) {
	for _, q := range i.Open() {
		if IsStep(q) {
			n++
		}
	}
	return n
}

// Nothing reports whether a visit has nothing to note: an empty one
// would stay in the ledger.
func (j *Job) Nothing(f Filled, v Visit) bool {
	return len(j.Plan.Steps)+len(f.Steps)+len(f.Checks) == 0 && f.SettingsSaved+f.ApprovedBy+f.Told+v.Purpose == ""
}

// FilledFor reports whether a sheet can have been filled in for a plan: it names
// the plan, or, as a table that names none, its steps are the plan's.
func (f Filled) FilledFor(plan order.Plan) bool {
	if f.Plan != "" {
		return f.Plan == plan.ID()
	}
	for _, s := range f.Steps {
		if s.Number < 1 || s.Number > len(plan.Steps) || s.Device != plan.Steps[s.Number-1].Device {
			return false
		}
	}
	return true
}
