package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"time"

	"cardwright/manifest"
	"cardwright/manifest/order"
	"cardwright/manifest/version"
	"cardwright/media/keys"
	"cardwright/verify/ledger/audit"
	"cardwright/verify/ledger/known"
	"cardwright/verify/ledger/store"
	"cardwright/verify/visible"
)

// vesselKnown is what files and ledger say together of a vessel.
type vesselKnown struct {
	known.Vessel
	Strangers audit.LeftOut
}

// learn brings what the ledger knows into a shop in memory, so that plans,
// verdicts and pages go by it: releases that it withdrew, and devices of which
// nobody knows what they run. It never changes a file.
func (s *session) learn(ctx context.Context, shop *manifest.Shop, vessels ...*manifest.Vessel) error {
	if err := s.ledgerHolds(ctx, shop); err != nil {
		return err
	}
	l, err := openLedger(ctx, shop)
	if errors.Is(err, store.ErrNoLedger) {
		return nil
	}
	if err != nil {
		return err
	}
	defer l.Close()
	withdrawn, left, err := audit.Withdrawals(ctx, l)
	if err != nil {
		return err
	}
	withdrawn.Mark(shop.Models)
	for _, v := range vessels {
		k, err := audit.Known(ctx, l, shop.Models, v.ID)
		if err != nil {
			return err
		}
		if s.known == nil {
			s.known = map[string]*vesselKnown{}
		}
		s.known[v.ID] = &vesselKnown{k, left}
		doubt(v, &k)
	}
	return nil
}

// learnIfAny is learn for commands that go on where the ledger can't be asked.
func (s *session) learnIfAny(ctx context.Context, shop *manifest.Shop, vessels ...*manifest.Vessel) {
	if err := s.learn(ctx, shop, vessels...); err != nil {
		s.unasked = fmt.Errorf("the ledger could not be asked what it knows, withdrawn releases for one: %w", err)
	}
}

// learnFleet is learn for all vessels of the shop.
func (s *session) learnFleet(ctx context.Context, shop *manifest.Shop) error {
	l, err := openLedger(ctx, shop)
	if errors.Is(err, store.ErrNoLedger) {
		return nil
	}
	if err != nil {
		return err
	}
	ids, err := audit.Doubtful(ctx, l)
	if err = errors.Join(err, l.Close()); err != nil {
		return err
	}
	var vessels []*manifest.Vessel
	for _, id := range ids {
		if v := shop.Vessel(id); v != nil {
			vessels = append(vessels, v)
		}
	}
	return s.learn(ctx, shop, vessels...)
}

// doubt takes away the versions of devices that nobody can be sure of: nothing is
// planned by guess.
func doubt(v *manifest.Vessel, k *known.Vessel) {
	for _, d := range v.Devices {
		if is := k.Device(d.ID); is != nil && (is.Model == "" || is.Model == d.Model) && (is.How == known.FailedUnread || is.Other != "") {
			d.Version = version.Unknown
		}
	}
}

// inDoubt tells of which devices a reading has to be noted, since the ledger
// doubts what their file says.
func (s *session) inDoubt(vessel *manifest.Vessel) func(device string) bool {
	return func(device string) bool {
		k := s.known[vessel.ID]
		if k == nil {
			return false
		}
		d := k.Device(device)
		return d != nil && (d.How == known.FailedUnread || d.Other != "")
	}
}

// openOf is what is open about a vessel's devices, each with its device, the
// gravest first; nil where the ledger knows of nothing.
func (s *session) openOf(vessel *manifest.Vessel) (list []openOn) {
	k := s.known[vessel.ID]
	if k == nil {
		return nil
	}
	for _, kind := range known.OpenKinds {
		for _, d := range k.Devices {
			if vessel.Device(d.ID) == nil {
				continue
			}
			for _, o := range d.Open {
				if o.Kind == kind {
					list = append(list, openOn{d.ID, o})
				}
			}
		}
	}
	return list
}

// openOn is what is open about one device.
type openOn struct {
	Device string `json:"device"`
	known.Open
}

// tell says it in one line, with what to do.
func (o *openOn) tell() string {
	text := o.Tell(func(o *known.Open) string { return date(o.At) })
	switch o.Kind {
	case known.Failed:
		text += "; ask the maker before you try again"
	case known.Disputed:
		text += "; read it again"
	case known.OnWithdrawn:
		text += "; tell the customer"
	}
	return text
}

// writeOpen tells what is open first, before anything is planned on top of it.
func (s *session) writeOpen(w io.Writer, vessel *manifest.Vessel) {
	open := s.openOf(vessel)
	for _, o := range open {
		fmt.Fprintln(w, wrapped(visible.Visible("! "+o.Device+": "+o.tell()), "  "))
	}
	if k := s.known[vessel.ID]; k != nil && k.LeftOut > 0 {
		fmt.Fprintln(w, wrapped(fmt.Sprintf("! %s about %s left out: shop.yaml doesn't trust who wrote them; see cardwright audit vessel %s",
			counted(k.LeftOut, "event"), visible.Visible(vessel.Name), vessel.ID), "  "))
	}
	if len(open) > 0 {
		fmt.Fprintln(w)
	}
}

// planAnswer is a plan in JSON, with what is open.
type planAnswer struct {
	order.Plan
	Open   []openOn `json:"open,omitempty"`
	Behind []stay   `json:"behind"`
}

// openAtSteps is what is open about each device, in words, for the sheet.
func (s *session) openAtSteps(vessel *manifest.Vessel) map[string][]string {
	var all map[string][]string
	for _, o := range s.openOf(vessel) {
		if all == nil {
			all = map[string][]string{}
		}
		all[o.Device] = append(all[o.Device], o.tell())
	}
	return all
}

// believed are the writers whom the shop trusts, each with the day until which;
// nil where it names none: then everybody counts.
func believed(shop *manifest.Shop) map[string]time.Time {
	if len(shop.Trusts) == 0 {
		return nil
	}
	writers := map[string]time.Time{}
	for writer := range knownWriters(shop, nil) {
		writers[writer] = time.Time{}
	}
	return writers
}

// tellUntrusted says that what this laptop notes counts for nobody.
func (s *session) tellUntrusted(shop *manifest.Shop, key *keys.Key) {
	if len(shop.Trusts) == 0 || key == nil {
		return
	}
	for _, t := range shop.Trusts {
		if t.Key == key.Public() {
			return
		}
	}
	s.complain("this laptop's key isn't among trusts: in shop.yaml: what it notes counts in no answer until cardwright key show stands there")
}
