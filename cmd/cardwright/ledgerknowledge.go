package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"

	"cardwright/manifest"
	"cardwright/manifest/order"
	"cardwright/media/readiness"
	"cardwright/verify/ledger/audit"
	"cardwright/verify/ledger/known"
	"cardwright/verify/ledger/record"
	"cardwright/verify/ledger/store"
	"cardwright/verify/visible"
)

// settingsCheck is the check of a device's settings.
const settingsCheck = "settings and waypoints"

// learn brings what the ledger knows into a shop in memory, so that plans,
// verdicts and pages use it: releases that it withdrew, and devices of which
// nobody knows what they run. It never changes a file.
func learn(ctx context.Context, s *session, shop *manifest.Shop, vessels ...*manifest.Vessel) error {
	if err := ledgerHolds(ctx, s, shop); err != nil {
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
	withdrawn, _, err := audit.Withdrawals(ctx, l)
	if err != nil {
		return err
	}
	withdrawn.Mark(shop.Models)
	for _, v := range vessels {
		k, err := knownOf(ctx, l, shop, v)
		if err != nil {
			return err
		}
		if s.known == nil {
			s.known = map[string]*known.Joined{}
		}
		wrote, err := record.LastWritten(shop, v)
		if err != nil {
			return err
		}
		s.known[v.ID] = known.Join(k, v, wrote)
	}
	return nil
}

// knownOf is what the ledger knows of a vessel: by the id that her file has, or, where
// it tells nothing under that, by one that she had.
func knownOf(ctx context.Context, l *store.Ledger, shop *manifest.Shop, v *manifest.Vessel) (k known.Vessel, err error) {
	for _, id := range append([]string{v.ID}, v.Formerly...) {
		if k, err = audit.Known(ctx, l, shop.Models, id); err != nil || len(k.Devices) > 0 {
			return k, err
		}
	}
	return k, nil
}

// learnIfAny is learn for commands that go on where the ledger can't be asked.
func learnIfAny(ctx context.Context, s *session, shop *manifest.Shop, vessels ...*manifest.Vessel) {
	if err := learn(ctx, s, shop, vessels...); err != nil {
		s.unasked = fmt.Errorf("the ledger can't be read, so what it knows is missing, such as withdrawn releases: %w", err)
	}
}

// learnFleet is learn for all vessels of the shop.
func learnFleet(ctx context.Context, s *session, shop *manifest.Shop) error {
	if err := refuseUnsettled(shop, shop.Vessels...); err != nil {
		return err
	}
	l, err := openLedger(ctx, shop)
	if errors.Is(err, store.ErrNoLedger) {
		return nil
	}
	if err != nil {
		return err
	}
	ids, err := audit.Doubtful(ctx, l)
	if err == nil {
		var more []string
		more, err = audit.Otherwise(ctx, l, shop.Vessels)
		ids = append(ids, more...)
	}
	if err = errors.Join(err, l.Close()); err != nil {
		return err
	}
	slices.Sort(ids)
	ids = slices.Compact(ids)
	return learn(ctx, s, shop, vesselsOf(shop, ids)...)
}

// learnFleetIfAny is learnFleet for commands that go on where the ledger can't be asked,
// and where a file is in conflict, since they plan nothing.
func learnFleetIfAny(ctx context.Context, s *session, shop *manifest.Shop) {
	err := learnFleet(ctx, s, shop)
	if _, conflict := errors.AsType[*inConflict](err); conflict {
		err = learn(ctx, s, shop)
	}
	if err != nil {
		s.unasked = fmt.Errorf("the ledger could not be asked what it knows, withdrawn releases for one: %w", err)
	}
}

// learnFiles looks up the vessels whose files differ from the ledger, by the fleet that
// was read already where it is whole.
func learnFiles(ctx context.Context, s *session, shop *manifest.Shop, l *store.Ledger, fleet *audit.Fleet) error {
	ids, whole := fleet.Otherwise(shop.Vessels)
	if !whole {
		var err error
		if ids, err = audit.Otherwise(ctx, l, shop.Vessels); err != nil {
			return err
		}
	}
	if len(ids) == 0 {
		return nil
	}
	return learn(ctx, s, shop, vesselsOf(shop, ids)...)
}

// vesselsOf are those of some ids that the shop has.
func vesselsOf(shop *manifest.Shop, ids []string) (vessels []*manifest.Vessel) {
	for _, id := range ids {
		if v := shop.Vessel(id); v != nil {
			vessels = append(vessels, v)
		}
	}
	return vessels
}

// tellWhereFilesDiffer says of the vessels that were looked up where their files differ from
// the ledger.
func tellWhereFilesDiffer(s *session, shop *manifest.Shop) {
	for _, v := range shop.Vessels {
		tellDiffering(&s.terminal, v, s.known[v.ID], known.FileOlder, known.NotNoted, known.Disputed)
	}
}

// tellDiffering says where a vessel's file differs from the ledger in some ways.
func tellDiffering(t *terminal, v *manifest.Vessel, k *known.Joined, kinds ...known.OpenKind) {
	for _, o := range k.FileOpen() {
		if !slices.Contains(kinds, o.Kind) {
			continue
		}
		fmt.Fprintln(t.errs, wrapped(visible.Visible("! "+v.ID+", "+o.On()+": "+t.keepShop(openHere(o, v.ID))), "  "))
	}
}

// inDoubt says for which devices a reading has to be noted: for every one of a vessel
// that the ledger knows, since edits of her file are not noted.
func inDoubt(k *known.Joined) func(device string) bool {
	if k == nil || len(k.Devices) == 0 {
		return func(string) bool { return false }
	}
	return func(string) bool { return true }
}

// toldOpen says in one line what is open; an advice follows it.
func toldOpen(o known.OpenOn) string {
	return strings.TrimRight(o.Tell(func(o *known.Open) string { return date(o.At) }), ". ")
}

// openAboard says in one line what is open, with what to do aboard.
func openAboard(o known.OpenOn) string {
	text := toldOpen(o)
	switch o.Kind {
	case known.Failed:
		text += "; ask the maker before you try again"
	case known.Disputed, known.NotNoted:
		text += "; read it again"
	case known.OnWithdrawn:
		text += "; tell the customer"
	}
	return text
}

// openHere says in one line what is open about a vessel, with what to do at the
// computer.
func openHere(o known.OpenOn, vessel string) string {
	text := toldOpen(o)
	switch o.Kind {
	case known.Failed:
		text += "; ask the maker before you try again"
	case known.Disputed:
		text += "; " + settleDisputed(o, vessel)
	case known.NotNoted:
		text += "; to have it noted: cardwright record " + vessel + " --by-hand"
	case known.FileOlder:
		text += "; the ledger counts; to bring the file up to date: cardwright record " + vessel + " --from-ledger"
	case known.SettingsLost:
		text += "; once they are: cardwright record " + vessel + " --check '" + o.Device + ":" + settingsCheck + "=passed'"
	case known.OnWithdrawn:
		text += "; tell the customer"
	}
	return text
}

// settleDisputed says how a dispute about a device is ended, or about the vessel
// herself.
func settleDisputed(o known.OpenOn, vessel string) string {
	if o.Device == known.Whole {
		return "to have it as its file says: cardwright record " + vessel + " --by-hand; as the ledger says: cardwright record " + vessel + " --undo-by-hand"
	}
	return "read it again, and note it: cardwright record " + vessel + " --read " + o.Device + "=VERSION"
}

// writeOpen writes what is still open, before anything is planned on top of it.
func writeOpen(w io.Writer, t *terminal, vessel *manifest.Vessel, k *known.Joined) {
	open := k.OpenAboard(vessel)
	for _, o := range open {
		fmt.Fprintln(w, wrapped(visible.Visible("! "+o.On()+": "+t.keepShop(openHere(o, vessel.ID))), "  "))
	}
	if k != nil && k.LeftOut > 0 {
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
	Open   []known.OpenOn `json:"open,omitempty"`
	Behind []order.Stay   `json:"behind"`
}

// openAtSteps is what is open about each device, in words, for the sheet.
func openAtSteps(vessel *manifest.Vessel, k *known.Joined) map[string][]string {
	var all map[string][]string
	for _, o := range k.OpenAboard(vessel) {
		if all == nil {
			all = map[string][]string{}
		}
		all[o.Device] = append(all[o.Device], openAboard(o))
	}
	return all
}

// openTasks are what is open about the vessels that were looked up, as tasks.
func openTasks(shop *manifest.Shop, fleet map[string]*known.Joined, today []string) (tasks []readiness.Task) {
	for _, v := range shop.Vessels {
		for _, o := range fleet[v.ID].OpenAboard(v) {
			do := map[known.OpenKind]string{
				known.Failed: "ask the maker before you try again", known.OnWithdrawn: "tell the customer",
				known.Disputed: settleDisputed(o, v.ID),
				known.NotNoted: "have it noted: cardwright record " + v.ID + " --by-hand", known.FileOlder: "cardwright record " + v.ID + " --from-ledger",
			}[o.Kind]
			if do == "" || o.Kind == known.OnWithdrawn { // visits take care of the others, and of these the files tell
				continue
			}
			urgency := readiness.Soon
			if slices.Contains(today, v.ID) {
				urgency = readiness.Today
			}
			at := v.At("")
			if d := v.Device(o.Device); d != nil {
				at = d.At("")
			}
			tasks = append(tasks, readiness.Task{
				Urgency: urgency, Vessel: v.ID, Fact: o.On() + ": " + o.Tell(func(o *known.Open) string { return date(o.At) }), At: at, Do: do,
			})
		}
	}
	return tasks
}
