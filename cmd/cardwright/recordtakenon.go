package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"time"

	"cardwright/verify/ledger"
	"cardwright/verify/ledger/audit"
	"cardwright/verify/ledger/store"
)

// takeOn notes the vessel as its file has it, and that what is no longer in the
// file is no longer aboard.
func (r *recording) takeOn(ctx context.Context) error {
	if err := r.options.only("--taken-on notes the vessel as its file has it"); err != nil {
		return err
	}
	if err := r.session.sureMoment(ctx, "--at", &r.options.at); err != nil {
		return err
	}
	at, err := r.options.moment()
	if err != nil {
		return err
	}
	id := r.vessel.Identity
	taken := ledger.TakenOn{Name: r.vessel.Name, Hull: id.Hull, IMO: id.IMO, MMSI: id.MMSI}
	for _, d := range r.vessel.Devices {
		fitted := ledger.Fitted{Device: ledger.Device{ID: d.ID, Model: d.Model, Place: d.Place, Serial: d.Serial, Variant: d.Variant}, Version: d.Version}
		if m := r.shop.Model(d.Model); m != nil {
			fitted.Device.Kind, fitted.Device.Maker, fitted.Device.Name = string(m.Kind), m.Maker, m.Name
		}
		taken.Devices = append(taken.Devices, fitted)
	}
	if taken.Removed, err = r.removed(ctx, at); err != nil {
		return err
	}
	e := ledger.Entry{
		At: at, Kind: ledger.VesselTakenOn,
		Vessel: r.vessel.ID, Berth: r.vessel.Berth, TakenOn: &taken,
	}
	if err := r.session.note(ctx, r.shop, r.key, e); err != nil {
		return err
	}
	r.session.answer(e, func(w io.Writer) { fmt.Fprintln(w, wrapped(e.Tell(), "  ")) })
	return nil
}

// removed are the devices that were aboard at a moment, as the ledger has it,
// and aren't in the vessel's file.
func (r *recording) removed(ctx context.Context, at time.Time) ([]string, error) {
	l, err := openLedger(ctx, r.shop)
	if errors.Is(err, store.ErrNoLedger) {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	defer l.Close()
	h, err := audit.OfVessel(ctx, l, r.vessel.ID, at, audit.Filter{})
	if errors.Is(err, audit.ErrNothing) {
		return nil, nil
	}
	var gone []string
	for _, d := range h.Devices {
		if !d.Gone && r.vessel.Device(d.ID) == nil {
			gone = append(gone, d.ID)
		}
	}
	return gone, err
}
