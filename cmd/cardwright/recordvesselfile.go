package main

import (
	"context"
	"fmt"
	"io"
	"slices"
	"time"

	"cardwright/manifest"
	"cardwright/manifest/edit"
	"cardwright/manifest/version"
	"cardwright/verify/ledger"
	"cardwright/verify/ledger/audit"
	"cardwright/verify/ledger/record"
	"cardwright/verify/visible"
)

// keep brings the vessel's file up to date with what was noted: the ledger
// comes first, since the file follows from it.
func (r *recording) keep(ctx context.Context, outcome record.Outcome) error {
	counts, late, err := r.whatCounts(ctx, outcome.Versions)
	if err != nil {
		return err
	}
	outcome.Notes = append(outcome.Notes, late...)
	changed, err := updateVessel(r.shop, r.vessel, counts)
	if err != nil {
		return fmt.Errorf("the ledger has it, but the vessel's file could not be brought up to date: %w", err)
	}
	r.session.answer(struct {
		Format  int                  `json:"format"`
		Entries []ledger.Entry       `json:"entries"`
		Files   map[string]version.V `json:"versions"`
		Notes   []string             `json:"notes"`
	}{1, outcome.Entries, outcome.Versions, outcome.Notes}, func(w io.Writer) {
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
	})
	return nil
}

// whatCounts gives what the ledger goes by for the devices that were seen, which
// is what belongs in the vessel's file, and tells of those for which that is a
// later reading than this visit's: where a visit is noted after the day, was
// corrected since, or two vans were aboard. Then the file is only brought up to
// date where it is behind: what somebody wrote there by hand may be newer.
func (r *recording) whatCounts(ctx context.Context, seen map[string]version.V) (map[string]version.V, []string, error) {
	l, err := openLedger(ctx, r.shop)
	if err != nil {
		return nil, nil, err
	}
	defer l.Close()
	h, err := audit.OfVessel(ctx, l, r.vessel.ID, time.Time{}, audit.Filter{})
	if err != nil {
		return nil, nil, err
	}
	behind := devicesBehind(r.vessel, h)
	counts := map[string]version.V{}
	var notes []string
	for _, d := range h.Devices {
		v, ok := seen[d.ID]
		if !ok || d.Unknown() {
			continue
		}
		later := ledger.VersionKey(v) != ledger.VersionKey(d.Version)
		if !later || slices.ContainsFunc(behind, func(b audit.Device) bool { return b.ID == d.ID }) {
			counts[d.ID] = d.Version
		}
		if later {
			notes = append(notes, fmt.Sprintf("%s: the ledger goes by a later reading, %s on %s; read the device again if that is not so", d.ID, d.Version, clock(d.Since)))
		}
	}
	return counts, notes, nil
}

// updateVessel writes versions into the vessel's file and names the file; ""
// where it has them already.
func updateVessel(shop *manifest.Shop, vessel *manifest.Vessel, versions map[string]version.V) (string, error) {
	if len(versions) == 0 {
		return "", nil
	}
	name := vessel.At("").File
	differs, err := edit.Rewrite(shop.Dir, name, func(text []byte) ([]byte, error) {
		return record.UpdateVersions(text, versions)
	})
	if err != nil || !differs {
		return "", err
	}
	return name, nil
}
