package main

import (
	"context"
	"fmt"
	"strings"

	"cardwright/manifest"
	"cardwright/media/keys"
	"cardwright/verify/ledger"
	"cardwright/verify/ledger/audit"
	"cardwright/verify/ledger/record"
)

// stoodOn is why an event isn't taken back: a later one builds on it.
type stoodOn struct{ why string }

func (e *stoodOn) Error() string { return e.why }

// maxStanding is how many events that have to be taken back first are named.
const maxStanding = 5

// nothingStandsOn refuses to take back an event that a later one builds on. The error is
// *stoodOn.
func nothingStandsOn(ctx context.Context, shop *manifest.Shop, of ledger.Event) error {
	l, err := openLedger(ctx, shop)
	if err != nil {
		return err
	}
	defer l.Close()
	was := &of.Statement.Entry
	if c := was.VesselChange; c != nil && c.ID != "" {
		ids, err := audit.AllIDs(ctx, l)
		if err != nil {
			return err
		}
		// Also what was taken back there would be nobody's.
		if now := ids.Now(c.ID); ids.Has(c.ID) && !ids.Gone(c.ID) {
			return &stoodOn{fmt.Sprintf("event %s isn't taken back, since something is noted under the id %s: rename her back instead: cardwright vessel rename %s --id %s",
				of.ID.Short(), c.ID, now, c.Was.ID)}
		}
	}
	later, err := audit.StandingOn(ctx, l, was.Vessel, of.ID)
	if err != nil || len(later) == 0 {
		return err
	}
	var text strings.Builder
	fmt.Fprintf(&text, "event %s isn't taken back, since %s noted later and %s on it; take back first", of.ID.Short(),
		map[bool]string{true: "another event was", false: fmt.Sprintf("%d events were", len(later))}[len(later) == 1],
		map[bool]string{true: "builds", false: "build"}[len(later) == 1])
	if len(later) > 1 {
		text.WriteString(", in this order")
	}
	text.WriteString(":")
	for i, f := range later[:min(len(later), maxStanding)] {
		fmt.Fprintf(&text, "\n  %d. %s\n     %s", i+1, f.Entry.Tell(), takeBack(f.Event.ID))
	}
	if more := len(later) - maxStanding; more > 0 {
		fmt.Fprintf(&text, "\n  and %d more: cardwright audit vessel %s shows them", more, was.Vessel)
	}
	return &stoodOn{text.String()}
}

// undoLife takes back what became of a boat or a device, in the ledger and in her
// file.
func (s *session) undoLife(ctx context.Context, shop *manifest.Shop, key *keys.Key, c ledger.Entry, of ledger.Event) error {
	was := of.Statement.Entry
	if err := nothingStandsOn(ctx, shop, of); err != nil {
		return err
	}
	if err := note(ctx, s, shop, key, c); err != nil {
		return err
	}
	file, notes, err := s.undoInFile(ctx, shop, was)
	if err != nil {
		return fmt.Errorf("it is noted in the ledger, but the vessel's file could not be brought up to date: %w", err)
	}
	answerCorrection(&s.terminal, c, file, notes)
	return nil
}

func (s *session) undoInFile(ctx context.Context, shop *manifest.Shop, was ledger.Entry) (file string, notes []string, err error) {
	if was.VesselChange != nil {
		return s.undoVesselInFile(ctx, shop, was)
	}
	vessel := shop.VesselOnce(was.Vessel)
	if vessel == nil {
		return "", nil, nil
	}
	if err := learn(ctx, s, shop, vessel); err != nil {
		return "", nil, err
	}
	k := s.known[vessel.ID]
	file, err = bringUpToDate(shop, vessel, k, record.Undone(was.DeviceChange, was.Kind, k))
	if err != nil || was.Kind != ledger.DeviceTakenOff {
		return file, nil, err
	}
	see, err := record.PutBackWays(shop, vessel, &was)
	for _, id := range see {
		notes = append(notes, fmt.Sprintf("%s: see in its file through what it is updated: that isn't put back", id))
	}
	return file, notes, err
}

func (s *session) undoVesselInFile(ctx context.Context, shop *manifest.Shop, was ledger.Entry) (file string, notes []string, err error) {
	c := was.VesselChange
	forgotten := []string{"whom to call about her isn't put back: cardwright vessel contact " + was.Vessel + " writes it down"}
	switch was.Kind {
	case ledger.VesselSold:
		return "", forgotten, nil
	case ledger.VesselGone:
		l, err := openLedger(ctx, shop)
		if err != nil {
			return "", nil, err
		}
		ids, err := audit.AllIDs(ctx, l)
		if err := firstOf(err, l.Close()); err != nil {
			return "", nil, err
		}
		if ids.Gone(was.Vessel) {
			return "", []string{"she was noted as gone twice, and the other one stands: her file stays in " + record.AsideFolder + "; cardwright audit vessel " + was.Vessel + " shows it"}, nil
		}
		notes = forgotten
	}
	file, err = record.UndoneVessel(shop, &was)
	if v := shop.VesselOnce(c.ID); err == nil && v != nil && c.ID != "" {
		err = followWithContacts(&s.terminal, shop, v, c.Was.ID, false)
	}
	return file, notes, err
}

// takeBack is the command that takes an event back.
func takeBack(id ledger.ID) string {
	return "cardwright ledger correct " + id.Short() + " --take-back --why WHY"
}
