package main

import (
	"fmt"

	"cardwright/verify/ledger/record"
)

// fill takes the sheet, then the flags.
func (r *recording) fill() error {
	r.filled = record.Filled{Format: record.Format, Vessel: r.vessel.ID, Plan: r.job.Plan.ID(), By: technician(r.session.by)}
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
		step, err := r.job.WrittenStep(text)
		if err != nil {
			return usage(fmt.Errorf("--step %s: %w", text, err))
		}
		r.filled.Steps = append(r.filled.Steps, step)
	}
	if r.options.restOff != "" {
		r.job.PutOffRest(&r.filled, r.options.restOff)
	}
	for _, text := range r.options.reads {
		reading, err := record.WrittenReading(text)
		if err != nil {
			return usage(fmt.Errorf("--read %s: %w", text, err))
		}
		r.filled.Checks = append(r.filled.Checks, reading)
	}
	for _, text := range r.options.checks {
		check, err := record.WrittenCheck(text)
		if err != nil {
			return usage(fmt.Errorf("--check %s: %w", text, err))
		}
		r.filled.Checks = append(r.filled.Checks, check)
	}
	return nil
}
