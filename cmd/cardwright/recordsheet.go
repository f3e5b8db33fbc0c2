package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"

	"cardwright/manifest/order"
	"cardwright/media"
	"cardwright/verify/ledger/record"
	"cardwright/verify/visible"
)

func (r *recording) readSheet() error {
	f, err := os.Open(r.options.sheet)
	if err != nil {
		return fmt.Errorf("reading the sheet: %w", err)
	}
	defer f.Close()
	text, err := io.ReadAll(io.LimitReader(f, record.MaxSheet+1))
	if err != nil {
		return fmt.Errorf("reading the sheet: %w", err)
	}
	r.visit.ID = record.VisitOf(text)
	if strings.EqualFold(filepath.Ext(r.options.sheet), ".csv") {
		r.visit.ID = record.VisitOf(append([]byte(r.vessel.ID+"\n"), text...)) // two boats may give the same table
		filled, err := record.ReadCSV(bytes.NewReader(text))
		if err != nil {
			return usage(err)
		}
		if filled.Latin1 {
			r.session.complain("the table is no UTF-8: it was read as Latin-1, as Windows writes it; look at its letters in what is noted")
		}
		r.filled.Steps, r.filled.Checks, r.filled.SettingsSaved = filled.Steps, filled.Checks, filled.SettingsSaved
		return nil
	}
	filled, err := record.ReadJSON(text)
	if err != nil {
		return usage(err)
	}
	if filled.Vessel != r.vessel.ID {
		return usage(r.job.Belongs(filled, r.visit))
	}
	if filled.By == "" {
		filled.By = technician(r.session.by)
	}
	r.filled = filled
	return nil
}

// planOfSheet takes a plan that builds before this one made of the same steps,
// where the sheet is filled in for that one.
func (r *recording) planOfSheet() error {
	filled := r.filled
	if filled.Plan == r.job.Plan.ID() {
		filled.Plan = "" // also where the sheet, a table, doesn't say: its steps do
	}
	if r.options.otherPlan || filled.FilledFor(r.job.Plan) {
		return nil
	}
	ask, err := r.options.ask.ask()
	if err != nil {
		return err
	}
	for _, ask.Earlier = range order.AllEarlier {
		if _, plan, err := media.Visit(r.shop, r.vessel, ask); err == nil && filled.FilledFor(plan) {
			r.job.Plan = plan
			if r.filled.Plan != "" {
				r.filled.Plan = plan.ID()
			}
			break
		}
	}
	return nil
}

// recorded tells whether this very sheet is in the ledger already: at all, or,
// where a date is given, for that day. Noted for two days it is two visits.
func (r *recording) recorded(ctx context.Context) (bool, error) {
	if r.options.sheet == "" {
		return false, nil
	}
	l, err := openLedger(ctx, r.shop)
	if err != nil {
		return false, err
	}
	visits, err := l.VisitsOf(ctx, r.visit.ID)
	if err = errors.Join(err, l.Close()); err != nil || r.options.at == "" {
		return len(visits) > 0, err
	}
	for _, at := range visits {
		if date(at) == date(r.visit.At) {
			return true, nil
		}
	}
	r.visit.ID += "@" + date(r.visit.At)
	return false, nil
}

// keepAgain notes nothing twice. Where the vessel's file was not reached the
// first time, the plan is still the sheet's, and the file is brought up to date.
func (r *recording) keepAgain() error {
	if o := r.options; len(o.steps)+len(o.checks) > 0 || o.settings+o.purpose+o.told+o.approved != "" {
		return usage(errors.New("this sheet is in the ledger already, so nothing was noted: to note what you say beside it, record that without the sheet"))
	}
	if _, _, err := r.session.vessel(r.vessel.ID); err != nil { // others may have noted it since
		return err
	}
	file, err := bringUpToDate(r.shop, r.vessel, r.session.known[r.vessel.ID], r.session.known[r.vessel.ID].FileBehind())
	if err != nil {
		return fmt.Errorf("bringing the vessel's file up to date: %w", err)
	}
	r.session.answer(struct {
		Format   int    `json:"format"`
		Recorded bool   `json:"recorded_before"`
		File     string `json:"file"`
	}{1, true, file}, func(w io.Writer) {
		fmt.Fprintln(w, "This sheet is in the ledger already: nothing was noted.")
		if file != "" {
			fmt.Fprintf(w, "%s was brought up to date.\n", visible.Visible(file))
		}
	})
	return nil
}
