package record

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"cardwright/manifest/version"
	"cardwright/verify/ledger"
)

// WrittenStep reads a step as one line: NUMBER= and what would be typed for it,
// or NUMBER=RESULT:BEFORE:AFTER[:MINUTES[:NOTE]].
func (j *Job) WrittenStep(text string) (FilledStep, error) {
	number, rest, ok := strings.Cut(text, "=")
	n, err := strconv.Atoi(number)
	if !ok || err != nil || n < 1 || n > len(j.Plan.Steps) {
		return FilledStep{}, fmt.Errorf("expected NUMBER=RESULT, the number from 1 to %d", len(j.Plan.Steps))
	}
	if word, _, colons := strings.Cut(rest, ":"); !colons || !slices.Contains([]string{Done, Failed, PutOff}, word) {
		var typed Filled
		if err := j.Answer(&typed, stepKey+number, rest); err != nil {
			return FilledStep{}, err
		}
		return typed.Steps[0], nil
	}
	fields := strings.SplitN(rest, ":", 5)
	step := FilledStep{Number: n, Device: j.Plan.Steps[n-1].Device, Result: fields[0]}
	for i, field := range fields[1:] {
		switch i {
		case 0:
			step.Before = version.V(field)
		case 1:
			step.After = version.V(field)
		case 2:
			if step.Minutes, err = strconv.Atoi(field); err != nil && field != "" {
				return step, fmt.Errorf("%q is not a number of minutes", field)
			}
		case 3:
			step.Note = field
		}
	}
	return step, nil
}

// WrittenCheck reads a check as one line: DEVICE:CHECK=RESULT[:VALUE].
func WrittenCheck(text string) (FilledCheck, error) {
	left, right, ok := strings.Cut(text, "=")
	device, check, both := strings.Cut(left, ":")
	if !ok || !both {
		return FilledCheck{}, fmt.Errorf("expected DEVICE:CHECK=RESULT")
	}
	result, value, _ := strings.Cut(right, ":")
	return FilledCheck{Device: device, Check: check, Result: result, Value: value}, nil
}

// WrittenReading reads a version that was read off a device as one line:
// DEVICE=VERSION.
func WrittenReading(text string) (FilledCheck, error) {
	device, v, ok := strings.Cut(text, "=")
	if !ok {
		return FilledCheck{}, fmt.Errorf("expected DEVICE=VERSION")
	}
	return FilledCheck{Device: device, Check: ledger.VersionShown, Result: Passed, Value: v}, nil
}
