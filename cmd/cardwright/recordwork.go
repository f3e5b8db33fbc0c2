package main

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"

	"cardwright/manifest"
	"cardwright/verify/ledger"
	"cardwright/verify/ledger/record"
)

// recordWork notes work that was done outside any plan: by cable, on the bench, by
// somebody else.
func recordWork(ctx context.Context, r *recording) error {
	o := &r.options
	how := record.HowMeant(o.how)
	switch {
	case len(o.works) == 0:
		return usage(errors.New("--how says how --work was done: name the work"))
	case how == "":
		return usage(fmt.Errorf("--work needs --how it was done: one of %s", strings.Join(ledger.Hows, ", ")))
	case !slices.Contains(ledger.Hows, how):
		return usage(fmt.Errorf("--how %q: expected one of %s%s", how, strings.Join(ledger.Hows, ", "), tryIt(manifest.Nearest(how, ledger.Hows))))
	case o.sheet+o.restOff != "" || len(o.steps)+len(o.checks)+len(o.reads) > 0:
		return usage(errors.New("--work needs a record of its own: note the plan's steps in another"))
	}
	if err := r.session.sureMoment(ctx, "--at", &o.at); err != nil {
		return err
	}
	at, err := o.moment()
	if err != nil {
		return err
	}
	job := record.Job{Vessel: r.vessel, Catalogue: r.shop.Models}
	visit := record.Visit{ID: ledger.NewVisit(), At: at, Purpose: o.purpose}
	outcome, err := job.Work(o.works, how, o.said(), visit)
	if _, line := errors.AsType[*record.NotUnderstood](err); line {
		return saidWrong(err)
	}
	if err != nil {
		return usage(err)
	}
	events, err := noteVisit(ctx, r.session, r.shop, r.key, visit.ID, outcome.Entries...)
	if err != nil {
		return err
	}
	var undo []string
	for _, e := range events {
		if e.Statement.Entry.Step != nil {
			undo = append(undo, takeBack(e.ID))
		}
	}
	return keep(ctx, r, outcome, undo)
}
