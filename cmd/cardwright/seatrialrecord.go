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
	t := r.trial(seatrial.Trial{Date: log.Date, Log: log})
	device := ""
	if d, err := t.Device(); err == nil {
		device = d.ID
	}
	last, anew := (*audit.Swing)(nil), time.Time{}
	for i, s := range all {
		switch {
		case s.Device != device || s.At.After(t.At()) || s.Visit == t.VisitID():
		case s.Trial == nil:
			anew = s.At
		case len(s.Trial.Coefficients) > 0 || len(s.Trial.RMS) > 0 || len(s.Trial.Helm) > 0:
			last = &all[i]
		}
	}
	if last == nil {
		return nil, nil
	}
	e := earlierOf(*last)
	if anew.After(last.At) {
		e.Unalike = "a swing was noted by hand on " + date(anew) + ", and the compass was set up anew with it, as it seems"
	}
	return &e, nil
}

// earlierOf is a trial of the ledger as a new one is compared with it.
func earlierOf(s audit.Swing) seatrial.Earlier {
	t := s.Trial
	e := seatrial.Earlier{From: "the ledger's of " + date(s.At), At: s.At, Method: seatrial.Method(t.Method), Sensor: t.Sensor, Period: t.Period}
	copy(e.Coef[:], t.Coefficients)
	copy(e.SE[:], t.Errors)
	if len(t.Place) == 2 {
		e.Place = &[2]float64{t.Place[0], t.Place[1]}
	}
	estimate := func(values []float64) *seatrial.Estimate {
		if len(values) != 2 {
			return nil
		}
		return &seatrial.Estimate{Value: values[0], U: values[1], Known: values[1] > 0}
	}
	e.RMS, e.Helm = estimate(t.RMS), estimate(t.Helm)
	return e
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
	err = noteVisit(ctx, r.session, r.shop, key, noted.VisitID(), entries...)
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
