package main

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"cardwright/manifest/version"
	"cardwright/verify/ledger"
	"cardwright/verify/ledger/record"
)

// fill takes the sheet, then the flags.
func (r *recording) fill() error {
	r.filled = record.Filled{Format: record.Format, Vessel: r.vessel.ID, Plan: r.job.Plan.ID(), By: r.session.technician()}
	if r.options.otherPlan {
		r.filled.Plan = "" // of which one, only the sheet can say
	}
	if r.options.sheet != "" {
		if err := r.readSheet(); err != nil {
			return err
		}
		if err := r.planOfSheet(); err != nil {
			return err
		}
	}
	if r.options.settings != "" {
		r.filled.SettingsSaved = r.options.settings
	}
	for _, text := range r.options.steps {
		step, err := r.stepOf(text)
		if err != nil {
			return usage(err)
		}
		r.filled.Steps = append(r.filled.Steps, step)
	}
	if r.options.restOff != "" {
		r.job.PutOffRest(&r.filled, r.options.restOff)
	}
	for _, text := range r.options.reads {
		device, v, ok := strings.Cut(text, "=")
		if !ok {
			return usage(fmt.Errorf("--read %s: expected DEVICE=VERSION", text))
		}
		r.filled.Checks = append(r.filled.Checks, record.FilledCheck{Device: device, Check: ledger.VersionShown, Result: record.Passed, Value: v})
	}
	for _, text := range r.options.checks {
		check, err := checkOf(text)
		if err != nil {
			return usage(err)
		}
		r.filled.Checks = append(r.filled.Checks, check)
	}
	return nil
}

// stepOf reads NUMBER=RESULT[:BEFORE:AFTER[:MINUTES[:NOTE]]].
func (r *recording) stepOf(text string) (record.FilledStep, error) {
	number, rest, ok := strings.Cut(text, "=")
	n, err := strconv.Atoi(number)
	if !ok || err != nil || n < 1 || n > len(r.job.Plan.Steps) {
		return record.FilledStep{}, fmt.Errorf("--step %s: expected NUMBER=RESULT, the number from 1 to %d", text, len(r.job.Plan.Steps))
	}
	if word, _, colons := strings.Cut(rest, ":"); !colons || !slices.Contains([]string{record.Done, record.Failed, record.PutOff}, word) {
		var typed record.Filled
		if err := r.job.Answer(&typed, "step/"+number, rest); err != nil {
			return record.FilledStep{}, fmt.Errorf("--step %s: %w", text, err)
		}
		return typed.Steps[0], nil
	}
	fields := strings.SplitN(rest, ":", 5)
	step := record.FilledStep{Number: n, Device: r.job.Plan.Steps[n-1].Device, Result: fields[0]}
	for i, field := range fields[1:] {
		switch i {
		case 0:
			step.Before = version.V(field)
		case 1:
			step.After = version.V(field)
		case 2:
			if step.Minutes, err = strconv.Atoi(field); err != nil && field != "" {
				return step, fmt.Errorf("--step %s: %q is not a number of minutes", text, field)
			}
		case 3:
			step.Note = field
		}
	}
	return step, nil
}

// checkOf reads DEVICE:CHECK=RESULT[:VALUE].
func checkOf(text string) (record.FilledCheck, error) {
	left, right, ok := strings.Cut(text, "=")
	device, check, both := strings.Cut(left, ":")
	if !ok || !both {
		return record.FilledCheck{}, fmt.Errorf("--check %s: expected DEVICE:CHECK=RESULT", text)
	}
	result, value, _ := strings.Cut(right, ":")
	return record.FilledCheck{Device: device, Check: check, Result: result, Value: value}, nil
}
