package main

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"cardwright/verify/ledger/audit"
	"cardwright/verify/ledger/record"
	"cardwright/verify/ledger/store"
	"cardwright/verify/seatrial"
	"cardwright/verify/seatrial/sentences"
)

// swings are the vessel's sea trials in the ledger, where there is one.
func (r *seatrying) swings(ctx context.Context) ([]audit.Swing, error) {
	if r.vessel == nil {
		return nil, nil
	}
	l, err := openLedger(ctx, r.shop)
	if errors.Is(err, store.ErrNoLedger) {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	defer l.Close()
	h, err := audit.OfVessel(ctx, l, r.vessel.ID, time.Time{}, audit.Filter{})
	if errors.Is(err, audit.ErrNothing) {
		return nil, nil
	}
	return h.Swings, err
}

// earlier is the last trial before this log's, of the same sensor, from the
// ledger; nil where there is none.
func (r *seatrying) earlier(ctx context.Context, log *sentences.Log) (*seatrial.Earlier, error) {
	all, err := r.swings(ctx)
	if err != nil {
		return nil, err
	}
	return r.trial(seatrial.Trial{Date: log.Date, Log: log}).Earlier(all), nil
}

// trial is what is noted of a trial.
func (r *seatrying) trial(t seatrial.Trial) *record.Trial {
	noted := &record.Trial{Vessel: r.vessel, Catalogue: r.shop.Models, Trial: t, Sensor: r.options.sensor, Now: time.Now()}
	for _, d := range r.digests {
		if !slices.Contains(noted.Logs, d.Value) {
			noted.Logs = append(noted.Logs, d.Value)
		}
	}
	return noted
}

// record notes the trial in the ledger, once.
func (r *seatrying) record(ctx context.Context, t seatrial.Trial) error {
	noted := r.trial(t)
	entries, err := noted.Entries()
	if err != nil {
		return usage(fmt.Errorf("--sensor: %w", err))
	}
	key, err := r.options.key.ledgerKey()
	if err != nil {
		return err
	}
	_, err = noteVisit(ctx, r.session, r.shop, key, noted.VisitID(), entries...)
	if errors.Is(err, store.ErrRecorded) {
		fmt.Fprintln(r.session.errs, "This log is in the ledger already: nothing was noted again.")
		return nil
	}
	if err != nil {
		return err
	}
	var checks []string
	for _, e := range entries[1:] {
		checks = append(checks, fmt.Sprintf("%s (%s)", e.Check.Check, e.Kind))
	}
	fmt.Fprintln(r.session.errs, wrapped("Noted in the ledger: "+strings.Join(checks, ", ")+".", "  "))
	return nil
}
