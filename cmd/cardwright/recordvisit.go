package main

import (
	"context"
	"errors"
	"fmt"
	"io"

	"cardwright/manifest/order"
	"cardwright/verify/ledger"
	"cardwright/verify/ledger/audit"
	"cardwright/verify/ledger/known"
	"cardwright/verify/ledger/record"
	"cardwright/verify/ledger/store"
	"cardwright/verify/visible"
)

// visiting is a visit that is being noted: what the sheet is filled in against, and what
// is filled in.
type visiting struct {
	*recording
	job    record.Job
	filled record.Filled
	visit  record.Visit
}

// recordVisit notes what was done aboard by the plan.
func recordVisit(ctx context.Context, r *recording) error {
	v := &visiting{recording: r}
	if err := v.gather(ctx); err != nil {
		return err
	}
	again, err := v.notedBefore(ctx)
	if err != nil {
		return err
	}
	if again {
		return keepAgain(r)
	}
	if err := v.job.Belongs(v.filled, v.visit); err != nil {
		return usage(err)
	}
	if err := refuseAnotherBox(v.filled, r.known()); err != nil {
		return err
	}
	tellDiffering(&r.session.terminal, r.vessel, r.known(), known.FileOlder) // the rest was offered
	if v.job.Nothing(v.filled, v.visit) {
		return usage(fmt.Errorf("nothing is planned for %s, so there is nothing to ask: note other work with --sheet and --other-plan, a visit without any with --purpose, the vessel as its file has it with --taken-on", r.vessel.Name))
	}
	interview := &record.Interview{Job: &v.job, Filled: &v.filled, OtherPlan: r.options.otherPlan}
	outcome, noted, err := v.askAndNote(ctx, interview)
	if errors.Is(err, store.ErrRecorded) { // meanwhile, by another cardwright
		return keepAgain(r)
	}
	if !noted {
		return v.saveTyped(interview, err)
	}
	return keep(ctx, r, outcome, nil)
}

// gather plans what the sheet is filled in against, and fills it in from the sheet that
// was named and then from the flags.
func (v *visiting) gather(ctx context.Context) error {
	_, plan, err := planned(v.shop, v.vessel, v.options.ask)
	if _, unread := errors.AsType[*order.Unread](err); unread && v.options.otherPlan {
		plan, err = order.Plan{}, nil // other work can be noted, and the very reading that is missing
	}
	if err != nil {
		return err
	}
	v.job = record.Job{Plan: plan, Vessel: v.vessel, Catalogue: v.shop.Models}
	if v.job.Cards, err = goodCards(ctx, v.recording); err != nil {
		return err
	}
	if err := v.session.sureMoment(ctx, "--at", &v.options.at); err != nil {
		return err
	}
	at, err := v.options.moment()
	if err != nil {
		return err
	}
	v.visit = record.Visit{ID: ledger.NewVisit(), At: at, Purpose: v.options.purpose, OtherPlan: v.options.otherPlan}
	v.filled = record.Filled{Format: record.Format, Vessel: v.vessel.ID, Plan: plan.ID(), By: technician(v.session.by)}
	if v.options.otherPlan {
		v.filled.Plan = "" // of which one, only the sheet can say
	}
	if v.options.sheet != "" {
		if err := v.readSheet(); err != nil {
			return err
		}
	}
	return saidWrong(v.job.Fill(&v.filled, v.options.said()))
}

// saidWrong names the flag whose line can't be read.
func saidWrong(err error) error {
	if not, ok := errors.AsType[*record.NotUnderstood](err); ok {
		return usage(fmt.Errorf("--%s %s: %w", not.What, not.Text, not.Err))
	}
	return err
}

// goodCards are the releases that stood on good cards for this vessel.
func goodCards(ctx context.Context, r *recording) ([]ledger.OnCard, error) {
	l, err := openToWrite(ctx, r.shop)
	if err != nil {
		return nil, err
	}
	cards, err := audit.OnGoodCards(ctx, l, r.vessel.ID)
	return cards, errors.Join(err, l.Close())
}

// notedBefore reports whether this very sheet is in the ledger already.
func (v *visiting) notedBefore(ctx context.Context) (again bool, err error) {
	if v.options.sheet == "" {
		return false, nil
	}
	l, err := openLedger(ctx, v.shop)
	if err != nil {
		return false, err
	}
	visits, err := l.VisitsOf(ctx, v.visit.ID)
	if err = errors.Join(err, l.Close()); err != nil {
		return false, err
	}
	v.visit.ID, again = record.NotedBefore(v.visit.ID, v.visit.At, v.options.at != "", visits)
	return again, nil
}

// askAndNote asks what is open and notes all of it, if it is right.
func (v *visiting) askAndNote(ctx context.Context, interview *record.Interview) (outcome record.Outcome, noted bool, err error) {
	at := v.session.dialogue()
	interview.Sheet = at.typed != nil && v.options.sheet != ""
	if !v.options.onlyChecks() {
		if err := at.askOpen(ctx, v, interview); err != nil {
			return outcome, false, err
		}
	}
	if outcome, err = v.job.Entries(v.filled, v.visit); err != nil {
		return outcome, false, usage(err)
	}
	if interview.Confirm() && !v.session.yes {
		if yes, err := at.confirm(ctx, v.filled.By, outcome.Entries); err != nil || !yes {
			return outcome, false, err
		}
	}
	v.session.by = v.filled.By
	_, err = noteVisit(ctx, v.session, v.shop, v.key, v.visit.ID, outcome.Entries...)
	return outcome, err == nil, err
}

// keepAgain notes nothing twice. Where the vessel's file was not reached the
// first time, the plan is still the sheet's, and the file is brought up to date.
func keepAgain(r *recording) error {
	if o := r.options; len(o.steps)+len(o.checks) > 0 || o.settings+o.purpose+o.told+o.approved != "" {
		return usage(errors.New("this sheet is in the ledger already, so nothing was noted: to note the rest, run record without the sheet"))
	}
	if _, _, err := r.session.vessel(r.vessel.ID); err != nil { // others may have noted it since
		return err
	}
	file, err := bringUpToDate(r.shop, r.vessel, r.known(), r.known().FileBehind())
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
