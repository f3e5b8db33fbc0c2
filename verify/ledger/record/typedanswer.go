package record

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"cardwright/manifest/version"
	"cardwright/verify/ledger"
)

// Answer writes the answer to a question into the sheet. It returns an error
// that says what was expected where the answer is none.
//
// A step is answered by the version that the device shows ("1.8"), by both and
// the minutes ("1.6 to 1.8, 12 min"), by "done" for the version planned, or by
// "failed" or "put off" and why. Nobody's silence means that a step was done.
func (j *Job) Answer(f *Filled, key, answer string) error {
	answer = tidyText(answer)
	kind, of, _ := strings.Cut(key, "/")
	switch kind {
	case "step":
		return j.answerStep(f, of, answer)
	case "note":
		if result, _ := leading(answer, Failed, PutOff); result != "" && isDone(f, of) {
			return j.answerStep(f, of, answer) // no reason, but what really became of it
		}
		return answerNote(f, of, answer)
	case "check":
		if strings.EqualFold(answer, restNotDone) {
			j.leaveRest(f)
			return nil
		}
		return answerCheck(f, of, answer)
	case "settings":
		f.SettingsSaved = answer
		return nil
	case approvedKey:
		f.ApprovedBy = answer
		return nil
	case toldKey:
		f.Told = answer
		return nil
	}
	return fmt.Errorf("question %+q: expected one of step, note, check, settings, approved_by, told", key)
}

func (j *Job) answerStep(f *Filled, of, answer string) error {
	number, err := strconv.Atoi(of)
	p := j.planned(number)
	if err != nil || p == nil {
		return fmt.Errorf("found step %+q, expected 1 to %d", of, len(j.Plan.Steps))
	}
	s := FilledStep{Number: number, Device: p.Device}
	if i := slices.IndexFunc(f.Steps, func(o FilledStep) bool { return o.Number == number }); i >= 0 {
		s = f.Steps[i] // minutes and what was read before, from a sheet that doesn't say how it went
	}
	s.Result = Done
	if rest, why := leading(answer, restPutOff); rest != "" {
		j.PutOffRest(f, why)
		return nil
	}
	result, why := leading(answer, Failed, PutOff, Done)
	switch {
	case answer == "":
		return fmt.Errorf("found nothing, expected the version that it shows (or done, failed, put off)")
	case result == Failed || result == PutOff:
		s.Result = result
		if why != "" {
			s.Note = why
		}
	default:
		if err := s.read(why, p.To, result == Done); err != nil {
			return err
		}
	}
	f.Steps = append(slices.DeleteFunc(slices.Clone(f.Steps), func(o FilledStep) bool { return o.Number == number }), s)
	return nil
}

// restPutOff and restNotDone answer for this and all that is left: nobody types
// "put off, the tide" eight times.
const (
	restPutOff  = "rest put off"
	restNotDone = "rest not done"
)

// PutOffRest puts off all steps that nobody has said anything of.
func (j *Job) PutOffRest(f *Filled, why string) {
	for _, p := range j.Plan.Steps {
		i := slices.IndexFunc(f.Steps, func(s FilledStep) bool { return s.Number == p.Number })
		switch {
		case i < 0:
			f.Steps = append(f.Steps, FilledStep{Number: p.Number, Device: p.Device, Result: PutOff, Note: why})
		case f.Steps[i].Result == "":
			f.Steps[i].Result, f.Steps[i].Note = PutOff, why
		}
	}
}

// leaveRest says of all checks that are open that they weren't done.
func (j *Job) leaveRest(f *Filled) {
	for _, q := range j.openChecks(*f) {
		if of, ok := strings.CutPrefix(q.Key, checkKey); ok {
			_ = answerCheck(f, of, NotDone) // its own question has both words
		}
	}
}

// read takes "1.8", "1.6 to 1.8", or nothing for the version planned; then the
// minutes and a note. Minutes alone are of the version planned where the step was
// said to be done.
func (s *FilledStep) read(answer string, planned version.V, done bool) error {
	words := strings.Fields(answer)
	for i := range words {
		words[i] = strings.TrimSuffix(words[i], ",")
	}
	if len(words) >= 2 && slices.Contains([]string{"to", "→", "->"}, words[1]) {
		if len(words) == 2 {
			return fmt.Errorf("found %s, expected the version after it too: %s to VERSION", quote(answer), words[0])
		}
		before, err := version.Parse(words[0])
		if err != nil {
			return notAVersion(answer, err)
		}
		s.Before, words = before, words[2:]
	}
	switch minutes := len(words) >= 2 && isMinutes(words[1]); {
	case minutes && !done:
		return fmt.Errorf("found %s, expected the version that it shows, then the minutes", quote(answer))
	case minutes || len(words) == 0:
		words = slices.Insert(words, 0, string(planned))
	}
	after, err := version.Parse(words[0])
	if err != nil {
		return notAVersion(answer, err)
	}
	s.After = after
	words = words[1:]
	if len(words) >= 2 && isMinutes(words[1]) {
		if s.Minutes, err = strconv.Atoi(words[0]); err != nil || s.Minutes < 0 || s.Minutes > ledger.MaxMinutes {
			return fmt.Errorf("found %s minutes, expected 0 to %d", quote(words[0]), ledger.MaxMinutes)
		}
		words = words[2:]
	}
	if len(words) > 0 {
		s.Note = strings.Join(words, " ")
	}
	return nil
}

func isMinutes(word string) bool { return word == "min" || word == "minutes" }

func notAVersion(answer string, err error) error {
	return fmt.Errorf("found %s, expected a version, failed or put off (%w)", quote(answer), err)
}

// leading splits off the one of some words that an answer begins with.
func leading(answer string, words ...string) (word, rest string) {
	for _, w := range words {
		if rest, ok := strings.CutPrefix(strings.ToLower(answer), w); ok && (rest == "" || strings.ContainsAny(rest[:1], " ,:;")) {
			return w, strings.TrimLeft(answer[len(w):], " ,:;")
		}
	}
	return "", answer
}

// isDone reports whether a step, by its number, was said to be done.
func isDone(f *Filled, number string) bool {
	return slices.ContainsFunc(f.Steps, func(s FilledStep) bool { return strconv.Itoa(s.Number) == number && s.Result == Done })
}

func answerNote(f *Filled, of, answer string) error {
	number, err := strconv.Atoi(of)
	i := slices.IndexFunc(f.Steps, func(s FilledStep) bool { return s.Number == number })
	if err != nil || i < 0 {
		return fmt.Errorf("found step %+q, expected one that was answered", of)
	}
	if answer == "" {
		return fmt.Errorf("found nothing, expected a few words")
	}
	f.Steps[i].Note = answer
	return nil
}

func answerCheck(f *Filled, of, answer string) error {
	device, check, ok := strings.Cut(of, "/")
	if !ok {
		return fmt.Errorf("found check %+q, expected a device and a check", of)
	}
	c := FilledCheck{Device: device, Check: check, Result: NotDone}
	if answer != "" {
		var result string
		if result, c.Value = leading(answer, Passed, Failed, NotDone); result == "" {
			return fmt.Errorf("found %+q, expected passed, failed or not done", answer)
		}
		c.Result = result
	}
	f.Checks = append(slices.DeleteFunc(slices.Clone(f.Checks), func(o FilledCheck) bool { return o.Device == device && o.Check == check }), c)
	return nil
}
