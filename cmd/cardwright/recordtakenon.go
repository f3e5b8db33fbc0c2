package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"time"

	"cardwright/verify/ledger/audit"
	"cardwright/verify/ledger/record"
)

// takeOn notes the vessel as its file has it, and that what is no longer in the
// file is no longer aboard.
func takeOn(ctx context.Context, r *recording) error {
	if err := r.options.only("--taken-on notes the vessel as its file has it"); err != nil {
		return err
	}
	if err := refuseOlderFile(r); err != nil {
		return err
	}
	if err := r.session.sureMoment(ctx, "--at", &r.options.at); err != nil {
		return err
	}
	at, err := r.options.moment()
	if err != nil {
		return err
	}
	h, err := historyUntil(ctx, r, at)
	if err != nil {
		return err
	}
	vessel := r.vessel
	if k := r.known(); k != nil {
		vessel = k.File
	}
	job := record.Job{Vessel: vessel, Catalogue: r.shop.Models}
	e := job.TakenOn(at, h)
	if err := note(ctx, r.session, r.shop, r.key, e); err != nil {
		return err
	}
	wrote := record.AllWritten(vessel)
	for _, id := range e.TakenOn.Removed {
		wrote[id] = nil
	}
	if err := record.KeepWritten(r.shop, vessel, wrote); err != nil {
		return err
	}
	r.session.answer(e, func(w io.Writer) { fmt.Fprintln(w, wrapped(e.Tell(), "  ")) })
	return nil
}

// refuseOlderFile refuses to take an old file's word for what the ledger has gone
// beyond.
func refuseOlderFile(r *recording) error {
	var behind []error
	for _, x := range r.known().FileBehind() {
		behind = append(behind, fmt.Errorf("%s: %s", x.On(), x.Told()))
	}
	if behind == nil {
		return nil
	}
	return usage(fmt.Errorf("the vessel's file is behind the ledger:\n%w\nbring it up to date first: cardwright record %s --from-ledger; or note what the device itself shows: cardwright record %s --read DEVICE=VERSION",
		errors.Join(behind...), r.vessel.ID, r.vessel.ID))
}

// historyUntil is what the ledger has of the vessel up to a moment; nothing where there
// is no ledger yet.
func historyUntil(ctx context.Context, r *recording, at time.Time) (audit.History, error) {
	l, err := openLedgerIfAny(ctx, r.shop)
	if l == nil || err != nil {
		return audit.History{}, err
	}
	defer l.Close()
	h, err := audit.OfVessel(ctx, l, r.vessel.ID, at, audit.Filter{})
	if errors.Is(err, audit.ErrNothing) {
		return audit.History{}, nil
	}
	return h, err
}
