package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"time"

	"cardwright/manifest"
	"cardwright/manifest/version"
	"cardwright/media/keys"
	"cardwright/verify/ledger/known"
	"cardwright/verify/ledger/record"
	"cardwright/verify/visible"
)

// offerByHand shows what a person changed by hand in a vessel's file, and has it
// noted where somebody agrees: at a terminal, or beforehand by --by-hand. Nothing
// of it is ever signed without. It reports whether it was noted.
func offerByHand(ctx context.Context, s *session, shop *manifest.Shop, vessel *manifest.Vessel, key *keys.Key, agreed bool) (bool, error) {
	k := s.known[vessel.ID]
	differs := k.FileByHand()
	if len(differs) == 0 {
		return false, nil
	}
	w := s.errs
	fmt.Fprintf(w, "%s\n", wrapped(fmt.Sprintf("%s: changed by hand in %s, and not noted:", visible.Visible(vessel.Name), vessel.At("").File), "  "))
	for _, d := range differs {
		text := "- " + d.On() + ": " + d.Told()
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
			fmt.Fprintf(w, "%s\n", wrapped(s.keepShop(fmt.Sprintf("It is not noted. To note it: cardwright record %s --by-hand; to put back what the ledger has: cardwright record %s --undo-by-hand", vessel.ID, vessel.ID)), "  "))
			return false, nil
		}
		yes, err := a.yes("Is this what is aboard? Yes notes it as written by hand.", false)
		if err != nil || !yes {
			return false, err
		}
	}
	e, wrote := record.Agreed(k, shop.Models, time.Now().UTC().Truncate(time.Second))
	if err := e.Validate(); err != nil {
		return false, usage(err)
	}
	if err := note(ctx, s, shop, key, e); err != nil {
		return false, err
	}
	fmt.Fprintf(w, "%s\n", wrapped("Noted: "+e.Tell(), "  "))
	return true, record.KeepWritten(shop, k.File, wrote)
}

// noteByHand offers it before anything else is asked, and reports whether that was all
// that record was to do.
func noteByHand(ctx context.Context, r *recording) (only bool, err error) {
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
	r.known().WithoutByHand(r.vessel)
	return false, nil
}

// refuseAnotherBox refuses work on devices of which the file has another model than the
// ledger: nobody could tell later on which box it was done.
func refuseAnotherBox(f record.Filled, k *known.Joined) error {
	var errs []error
	for _, x := range record.OnAnotherBox(f, k) {
		errs = append(errs, fmt.Errorf("%s: %s: note that first with --by-hand", x.Device, x.Told()))
	}
	if errs == nil {
		return nil
	}
	return usage(errors.Join(errs...))
}
