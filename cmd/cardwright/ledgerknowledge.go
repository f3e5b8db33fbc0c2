package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
	"time"

	"cardwright/manifest"
	"cardwright/manifest/order"
	"cardwright/manifest/version"
	"cardwright/media/keys"
	"cardwright/media/readiness"
	"cardwright/verify/ledger/audit"
	"cardwright/verify/ledger/known"
	"cardwright/verify/ledger/record"
	"cardwright/verify/ledger/store"
	"cardwright/verify/visible"
)

// settingsCheck is the check of a device's settings.
const settingsCheck = "settings and waypoints"

// vesselKnown is what files and ledger say together of a vessel.
type vesselKnown struct {
	known.Vessel
	Strangers audit.LeftOut
	File      *manifest.Vessel    // as its file has it
	Differs   []known.FileDiffers // where the file differs from the ledger
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
		wrote, err := record.LastWritten(shop, v.ID)
		if err != nil {
			return err
		}
		is := &vesselKnown{k, left, asInFile(v), k.Beside(v, wrote)}
		s.known[v.ID] = is
		is.goBy(v)
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
	var vessels []*manifest.Vessel
	for _, id := range ids {
		if v := shop.Vessel(id); v != nil {
			vessels = append(vessels, v)
		}
	}
	return s.learn(ctx, shop, vessels...)
}

// learnFiles looks up the vessels whose files differ from the ledger.
func (s *session) learnFiles(ctx context.Context, shop *manifest.Shop, l *store.Ledger) error {
	ids, err := audit.Otherwise(ctx, l, shop.Vessels)
	if err != nil {
		return err
	}
	for _, id := range ids {
		if err := s.learn(ctx, shop, shop.Vessel(id)); err != nil {
			return err
		}
	}
	return nil
}

// tellFiles says of the vessels that were looked up where their files differ from
// the ledger.
func (s *session) tellFiles(shop *manifest.Shop) {
	for _, v := range shop.Vessels {
		if k := s.known[v.ID]; k != nil {
			for _, o := range k.besideLedger() {
				o.vessel = v.ID
				fmt.Fprintln(s.errs, wrapped(visible.Visible("! "+v.ID+", "+o.Device+": "+s.keepShop(o.tell())), "  "))
			}
		}
	}
}

// goBy brings what is known into a vessel in memory. Where its file is only behind
// the ledger, the ledger counts; where nobody can be sure, no version does: nothing
// is planned by guess.
func (k *vesselKnown) goBy(v *manifest.Vessel) {
	for _, d := range v.Devices {
		if is := k.Device(d.ID); is != nil && (is.Model == "" || is.Model == d.Model) && (is.How == known.FailedUnread || is.Other != "") {
			d.Version = version.Unknown
		}
	}
	for _, x := range k.Differs {
		d := v.Device(x.Device)
		switch {
		case d == nil || x.Key == known.AboardKey:
		case x.Kind == known.BothWays && (x.Key == known.VersionKey || x.Key == known.ModelKey):
			d.Version = version.Unknown
		case x.Kind != known.Behind:
		case x.Key == known.VersionKey:
			d.Version = version.V(x.Ledger)
		case x.Key == known.SerialKey:
			d.Serial = x.Ledger
		case x.Key == known.PlaceKey:
			d.Place = x.Ledger
		}
	}
}

// behind are the differences of a file that nobody touched since the ledger moved.
func (k *vesselKnown) behind() (list []known.FileDiffers) {
	if k == nil {
		return nil
	}
	for _, x := range k.Differs {
		if x.Kind == known.Behind {
			list = append(list, x)
		}
	}
	return list
}

// byHand are the differences that a person has to agree to have noted.
func (k *vesselKnown) byHand() (list []known.FileDiffers) {
	if k == nil {
		return nil
	}
	for _, x := range k.Differs {
		if x.Kind != known.Behind {
			list = append(list, x)
		}
	}
	return list
}

// fileKinds are what differences of the file are as open points.
var fileKinds = map[known.FileKind]known.OpenKind{
	known.ByHand: known.NotNoted, known.Behind: known.FileOlder, known.BothWays: known.Disputed,
}

// besideLedger are the file's differences as open points, those of one device and
// kind in one.
func (k *vesselKnown) besideLedger() (list []openOn) {
	for _, x := range k.Differs {
		kind := fileKinds[x.Kind]
		i := slices.IndexFunc(list, func(o openOn) bool { return o.Device == x.Device && o.Kind == kind })
		if i < 0 {
			list = append(list, openOn{Device: x.Device, Open: known.Open{Kind: kind}})
			i = len(list) - 1
		}
		o := &list[i]
		told := x.Told()
		if kind == known.Disputed {
			o.Why = strings.TrimPrefix(o.Why+"; "+told, "; ")
			continue
		}
		o.What = strings.TrimPrefix(o.What+"; "+told, "; ")
	}
	return list
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
	for _, d := range k.Devices {
		if vessel.Device(d.ID) == nil {
			continue
		}
		for _, o := range d.Open {
			list = append(list, openOn{Device: d.ID, Open: o})
		}
	}
	list = append(list, k.besideLedger()...)
	slices.SortStableFunc(list, func(a, b openOn) int {
		return slices.Index(known.OpenKinds, a.Kind) - slices.Index(known.OpenKinds, b.Kind)
	})
	for i := range list {
		list[i].vessel = vessel.ID
	}
	return list
}

// openOn is what is open about one device.
type openOn struct {
	Device string `json:"device"`
	known.Open
	vessel string
}

// told says it in one line, with what to do aboard.
func (o *openOn) told() string {
	text := o.Tell(func(o *known.Open) string { return date(o.At) })
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

// tell says it in one line, with what to do at the computer.
func (o *openOn) tell() string {
	text := o.Tell(func(o *known.Open) string { return date(o.At) })
	switch o.Kind {
	case known.Failed:
		text += "; ask the maker before you try again"
	case known.Disputed:
		text += "; read it again, and note it: cardwright record " + o.vessel + " --read " + o.Device + "=VERSION"
	case known.NotNoted:
		text += "; to have it noted: cardwright record " + o.vessel + " --by-hand"
	case known.FileOlder:
		text += "; the ledger is gone by; to bring the file up to date: cardwright record " + o.vessel + " --from-ledger"
	case known.SettingsLost:
		text += "; once they are: cardwright record " + o.vessel + " --other-plan --check '" + o.Device + ":" + settingsCheck + "=passed'"
	case known.OnWithdrawn:
		text += "; tell the customer"
	}
	return text
}

// writeOpen tells what is open first, before anything is planned on top of it.
func (s *session) writeOpen(w io.Writer, vessel *manifest.Vessel) {
	open := s.openOf(vessel)
	for _, o := range open {
		fmt.Fprintln(w, wrapped(visible.Visible("! "+o.Device+": "+s.keepShop(o.tell())), "  "))
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
		all[o.Device] = append(all[o.Device], o.told())
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

// openTasks are what is open about the vessels that were looked up, as tasks.
func (s *session) openTasks(shop *manifest.Shop, today []string) (tasks []readiness.Task) {
	for _, v := range shop.Vessels {
		for _, o := range s.openOf(v) {
			do := map[known.OpenKind]string{
				known.Failed: "ask the maker before you try again", known.OnWithdrawn: "tell the customer",
				known.Disputed: "read it again: cardwright record " + v.ID + " --read " + o.Device + "=VERSION",
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
				Urgency: urgency, Vessel: v.ID, Fact: o.Device + ": " + o.Tell(func(o *known.Open) string { return date(o.At) }), At: at, Do: do,
			})
		}
	}
	return tasks
}

// asInFile copies a vessel with its devices, before what the ledger knows is
// brought into it.
func asInFile(v *manifest.Vessel) *manifest.Vessel {
	file := *v
	file.Devices = make([]*manifest.Device, len(v.Devices))
	for i, d := range v.Devices {
		device := *d
		file.Devices[i] = &device
	}
	return &file
}
