package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"slices"
	"time"

	"cardwright/manifest"
	"cardwright/manifest/version"
	"cardwright/media/keys"
	"cardwright/verify/ledger"
	"cardwright/verify/ledger/known"
	"cardwright/verify/ledger/record"
	"cardwright/verify/visible"
)

// offerByHand shows what a person changed by hand in a vessel's file, and has it
// noted where somebody agrees: at a terminal, or beforehand by --by-hand. Nothing
// of it is ever signed without. It tells whether it was noted.
func offerByHand(ctx context.Context, s *session, shop *manifest.Shop, vessel *manifest.Vessel, key *keys.Key, agreed bool) (bool, error) {
	k := s.known[vessel.ID]
	differs := k.FileByHand()
	if len(differs) == 0 {
		return false, nil
	}
	w := s.errs
	fmt.Fprintf(w, "%s\n", wrapped(fmt.Sprintf("%s: changed by hand in %s, and not noted:", visible.Visible(vessel.Name), vessel.At("").File), "  "))
	for _, d := range differs {
		text := "- " + d.Device + ": " + d.Told()
		if d.Kind == known.BothWays && d.File != string(version.Unknown) {
			text += ", which has moved since, too"
		}
		fmt.Fprintf(w, "  %s\n", wrapped(visible.Visible(text), "    "))
	}
	if key == nil {
		return false, nil
	}
	if !agreed {
		a := s.asking(ctx, false, false)
		if a.in == nil {
			fmt.Fprintf(w, "%s\n", wrapped(s.keepShop(fmt.Sprintf("It stays not noted. To have it noted as it stands: cardwright record %s --by-hand; to put back what the ledger has: cardwright record %s --undo-by-hand", vessel.ID, vessel.ID)), "  "))
			return false, nil
		}
		yes, err := a.yes("Is it so aboard, and shall it be noted as written by hand?", false)
		if err != nil || !yes {
			return false, err
		}
	}
	job := record.Job{Vessel: k.File, Catalogue: shop.Models}
	body := known.Agree(differs, k.File, func(id string) ledger.Device { d, _ := job.Device(id); return d })
	e := ledger.Entry{At: time.Now().UTC().Truncate(time.Second), Kind: ledger.WrittenByHand, Vessel: vessel.ID, Berth: vessel.Berth, ByHand: body}
	if err := e.Validate(); err != nil {
		return false, usage(err)
	}
	if err := note(ctx, s, shop, key, e); err != nil {
		return false, err
	}
	fmt.Fprintf(w, "%s\n", wrapped("Noted: "+e.Tell(), "  "))
	return true, record.KeepWritten(shop, k.File, agreedWritten(k.File, body))
}

// agreedWritten are the values that file and ledger agree on from now on.
func agreedWritten(file *manifest.Vessel, b *ledger.ByHand) known.Written {
	w := known.Written{}
	for _, f := range b.Devices {
		w[f.Device.ID] = known.FileValues(file.Device(f.Device.ID))
	}
	for _, id := range b.Removed {
		w[id] = nil
	}
	return w
}

// byHand offers it before anything else is asked, and tells whether that was all
// that record was to do.
func (r *recording) byHand(ctx context.Context) (only bool, err error) {
	noted, err := offerByHand(ctx, r.session, r.shop, r.vessel, r.key, r.options.byHand)
	if err != nil {
		return false, err
	}
	if r.options.byHand && !noted {
		return false, usage(fmt.Errorf("nothing was changed by hand in the file of %s that isn't noted", r.vessel.Name))
	}
	if noted {
		if r.shop, r.vessel, err = r.session.vessel(r.vessel.ID); err != nil {
			return false, err
		}
	}
	if r.options.byHand && r.options.nothingElse() {
		r.session.answer(struct {
			Format int    `json:"format"`
			Vessel string `json:"vessel"`
			Noted  bool   `json:"noted"`
		}{1, r.vessel.ID, true}, func(w io.Writer) { fmt.Fprintf(w, "1 event noted for %s.\n", visible.Visible(r.vessel.Name)) })
		return true, nil
	}
	withoutByHand(r.vessel, r.session.known[r.vessel.ID])
	return false, nil
}

// withoutByHand keeps out of what will be signed what a person changed by hand and
// nobody agreed to.
func withoutByHand(vessel *manifest.Vessel, k *known.Joined) {
	for _, x := range k.FileByHand() {
		d := vessel.Device(x.Device)
		switch {
		case d == nil:
		case x.Key == known.SerialKey:
			d.Serial = x.Ledger
		case x.Key == known.PlaceKey:
			d.Place = x.Ledger
		}
	}
}

// notedFirst refuses work on devices of which the file has another model than the
// ledger: nobody could tell later on which box it was done.
func (r *recording) notedFirst() error {
	var errs []error
	for _, x := range r.session.known[r.vessel.ID].FileByHand() {
		worked := slices.ContainsFunc(r.filled.Steps, func(f record.FilledStep) bool { return f.Device == x.Device }) ||
			slices.ContainsFunc(r.filled.Checks, func(f record.FilledCheck) bool { return f.Device == x.Device })
		if worked && (x.Key == known.ModelKey || x.Key == known.AboardKey) {
			errs = append(errs, fmt.Errorf("%s: %s: have that noted first with --by-hand", x.Device, x.Told()))
		}
	}
	if len(errs) > 0 {
		return usage(errors.Join(errs...))
	}
	return nil
}
