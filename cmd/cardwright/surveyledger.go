package main

import (
	"context"
	"fmt"
	"slices"
	"time"

	"cardwright/manifest"
	"cardwright/manifest/version"
	"cardwright/verify/ledger"
	"cardwright/verify/ledger/record"
)

// surveyNote is what a survey notes in the ledger: what was read aboard.
type surveyNote struct {
	visit string // by what was read, so that one survey is noted once
	how   string // note beside each reading; "" for a person's
	at    time.Time
	read  map[string]version.V // devices whose version was read
	fresh []string             // devices that are new, by id
	other []string             // devices of which serial, place or variant were found otherwise
}

// noteSurvey notes a survey in the ledger, where this laptop has a key, and tells
// how many events that were; vessel is as its file will be.
func (s *session) noteSurvey(ctx context.Context, shop *manifest.Shop, vessel *manifest.Vessel, n surveyNote) (int, error) {
	entries := n.entries(shop, vessel)
	if len(entries) == 0 {
		return 0, nil
	}
	key, err := keyOptions{}.signingIfKnown(s, "what was found is not noted in the ledger")
	if err != nil {
		return 0, err
	}
	if key == nil {
		s.complain("what was found is not noted in the ledger: there is no key yet; make one with cardwright key new")
		return 0, nil
	}
	there, err := s.hasVisit(ctx, shop, n.visit)
	if err != nil || there {
		return 0, err
	}
	return len(entries), s.noteVisit(ctx, shop, key, n.visit, entries...)
}

func (n *surveyNote) entries(shop *manifest.Shop, vessel *manifest.Vessel) []ledger.Entry {
	job := record.Job{Vessel: vessel, Catalogue: shop.Models}
	entry := func(kind ledger.Kind) ledger.Entry {
		return ledger.Entry{At: n.at, Kind: kind, Vessel: vessel.ID, Berth: vessel.Berth, Visit: n.visit}
	}
	var fitted []ledger.Fitted
	for _, id := range append(slices.Clone(n.fresh), n.other...) {
		d, _ := job.Device(id)
		v := version.V(version.Unknown)
		if slices.Contains(n.fresh, id) {
			v = vessel.Device(id).Version
		}
		fitted = append(fitted, ledger.Fitted{Device: d, Version: v})
	}
	var checks []ledger.Entry
	for _, d := range vessel.Devices {
		v, ok := n.read[d.ID]
		if !ok {
			continue
		}
		e := entry(ledger.CheckPassed)
		device, _ := job.Device(d.ID)
		e.Check = &ledger.Check{Check: ledger.VersionShown, Device: device, Value: string(v), Note: n.how}
		checks = append(checks, e)
	}
	if len(fitted)+len(checks) == 0 {
		return nil
	}
	begun := entry(ledger.VisitBegun)
	begun.VisitBegun = &ledger.Visit{Purpose: "survey"}
	all := []ledger.Entry{begun}
	if len(fitted) > 0 {
		e := entry(ledger.VesselTakenOn)
		id := vessel.Identity
		e.TakenOn = &ledger.TakenOn{Name: vessel.Name, Hull: id.Hull, IMO: id.IMO, MMSI: id.MMSI, Devices: fitted}
		all = append(all, e)
	}
	return append(all, checks...)
}

func (s *session) hasVisit(ctx context.Context, shop *manifest.Shop, visit string) (bool, error) {
	l, err := openLedgerIfAny(ctx, shop)
	if l == nil || err != nil {
		return false, err
	}
	defer l.Close()
	return l.HasVisit(ctx, visit)
}

// tellNoted says how much of a survey went into the ledger.
func tellNoted(n int) string {
	if n == 0 {
		return ""
	}
	return fmt.Sprintf("%s noted in the ledger.", counted(n, "event"))
}
