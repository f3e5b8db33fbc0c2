package main

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"

	"cardwright/manifest"
	"cardwright/manifest/version"
	"cardwright/verify/ledger"
	"cardwright/verify/ledger/record"
)

// recordWork notes work that was done outside any plan: by cable, on the bench, by
// somebody else.
func (r *recording) recordWork(ctx context.Context) error {
	r.options.how = howMeant(r.options.how)
	o := r.options
	switch {
	case len(o.works) == 0:
		return usage(errors.New("--how says how --work was done: name the work"))
	case !slices.Contains(ledger.Hows, o.how):
		return usage(fmt.Errorf("--how %q: expected one of %s%s", o.how, strings.Join(ledger.Hows, ", "), tryIt(manifest.Nearest(o.how, ledger.Hows))))
	case o.sheet+o.restOff != "" || len(o.steps)+len(o.checks)+len(o.reads) > 0:
		return usage(errors.New("--work is noted by itself: what was done by the plan by another record"))
	}
	if err := r.session.sureMoment(ctx, "--at", &r.options.at); err != nil {
		return err
	}
	at, err := r.options.moment()
	if err != nil {
		return err
	}
	job := record.Job{Vessel: r.vessel, Catalogue: r.shop.Models}
	visit := ledger.NewVisit()
	outcome := record.Outcome{Versions: map[string]version.V{}, Entries: []ledger.Entry{{
		Kind: ledger.VisitBegun, VisitBegun: &ledger.Visit{Purpose: o.purpose, Told: o.told, ApprovedBy: o.approved},
	}}}
	if o.settings != "" {
		outcome.Entries = append(outcome.Entries, ledger.Entry{Kind: ledger.SettingsSaved, Settings: &ledger.Settings{Where: o.settings}})
	}
	for _, text := range o.works {
		e, err := job.WrittenWork(text, o.how)
		if err != nil {
			return usage(fmt.Errorf("--work %s: %w", text, err))
		}
		outcome.Entries = append(outcome.Entries, e)
	}
	for i := range outcome.Entries {
		e := &outcome.Entries[i]
		e.At, e.Vessel, e.Berth, e.Visit = at, r.vessel.ID, r.vessel.Berth, visit
		if err := e.Validate(); err != nil {
			return usage(err)
		}
		for _, reading := range ledger.Readings(e) {
			outcome.Versions[reading.Device.ID] = reading.Version
		}
	}
	if err := noteVisit(ctx, r.session, r.shop, r.key, visit, outcome.Entries...); err != nil {
		return err
	}
	return r.keep(ctx, outcome)
}

// howMeant takes a word of it for the way that it is part of: cable, bench, yard.
func howMeant(word string) string {
	var found []string
	for _, how := range ledger.Hows {
		if slices.Contains(strings.Fields(how), strings.ToLower(word)) {
			found = append(found, how)
		}
	}
	if len(found) == 1 {
		return found[0]
	}
	return word
}
