package main

import (
	"context"
	"fmt"
	"io"
	"time"

	"cardwright/manifest/version"
	"cardwright/verify/ledger"
	"cardwright/verify/ledger/audit"
	"cardwright/verify/ledger/record"
	"cardwright/verify/visible"
)

// keep brings the vessel's file up to date with what was noted: the ledger
// comes first, since the file follows from it. undo are the commands that take it back,
// where it was work outside any plan.
func keep(ctx context.Context, r *recording, outcome record.Outcome, undo []string) error {
	counts, late, err := whatCounts(ctx, r, outcome.Versions)
	if err != nil {
		return err
	}
	outcome.Notes = append(outcome.Notes, late...)
	changed, err := record.WriteVersions(r.shop, r.vessel, counts)
	if err != nil {
		return fmt.Errorf("it is noted in the ledger, but the vessel's file could not be brought up to date: %w", err)
	}
	r.session.answer(struct {
		Format  int                  `json:"format"`
		Entries []ledger.Entry       `json:"entries"`
		Files   map[string]version.V `json:"versions"`
		Notes   []string             `json:"notes"`
		Undo    []string             `json:"undo,omitempty"`
	}{1, outcome.Entries, outcome.Versions, outcome.Notes, undo}, func(w io.Writer) {
		fmt.Fprintf(w, "%s noted for %s.\n", counted(len(outcome.Entries), "event"), visible.Visible(r.vessel.Name))
		for _, e := range outcome.Entries {
			fmt.Fprintf(w, "  %s\n", wrapped(e.Tell(), "    "))
		}
		if changed != "" {
			fmt.Fprintf(w, "%s was brought up to date.\n", changed)
		}
		for _, n := range outcome.Notes {
			fmt.Fprintf(w, "Note: %s\n", wrapped(n, "      "))
		}
		writeUndo(w, undo...)
	})
	return nil
}

// laterText reports a reading later than the one being noted.
func laterText(device string, v version.V, since time.Time) string {
	return fmt.Sprintf("%s: the ledger has a later reading, %s on %s; if that is wrong, read the device again", device, v, clock(since))
}

// whatCounts gives the version the ledger has for each device that was seen, and
// a note on those where that is a later reading than this visit's.
func whatCounts(ctx context.Context, r *recording, seen map[string]version.V) (map[string]version.V, []string, error) {
	l, err := openLedger(ctx, r.shop)
	if err != nil {
		return nil, nil, err
	}
	defer l.Close()
	h, err := audit.OfVessel(ctx, l, r.vessel.ID, time.Time{}, audit.Filter{})
	if err != nil {
		return nil, nil, err
	}
	counts := record.Counts(r.known().FileBehind(), h, seen)
	var notes []string
	for _, d := range counts.Later {
		notes = append(notes, laterText(d.ID, d.Version, d.Since))
	}
	return counts.Versions, notes, nil
}
