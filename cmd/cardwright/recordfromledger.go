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
	"cardwright/verify/ledger"
	"cardwright/verify/ledger/audit"
	"cardwright/verify/ledger/store"
	"cardwright/verify/visible"
)

// behindLedger are the devices of which a vessel's file has an older version
// than the shop's ledger.
func behindLedger(ctx context.Context, shop *manifest.Shop, vessel *manifest.Vessel) ([]audit.Device, error) {
	l, err := openLedger(ctx, shop)
	if errors.Is(err, store.ErrNoLedger) {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	defer l.Close()
	h, err := audit.OfVessel(ctx, l, vessel.ID, time.Time{}, audit.Filter{})
	if errors.Is(err, audit.ErrNothing) {
		return nil, nil
	}
	return devicesBehind(vessel, h), err
}

// devicesBehind are the devices of which a vessel's file has an older version
// than its history: another van was aboard, or a record ended, by a power cut
// say, after it had noted its visit and before it had reached the file. A file
// that has what the ledger never had was changed by somebody who knew better;
// where two writers disagree nobody knows.
func devicesBehind(vessel *manifest.Vessel, h audit.History) []audit.Device {
	earlier := versionsRead(h.Lines)
	var behind []audit.Device
	for _, d := range h.Devices {
		aboard := vessel.Device(d.ID)
		if aboard == nil || d.Gone || d.Unknown() || d.Other != "" || ledger.VersionKey(aboard.Version) == ledger.VersionKey(d.Version) {
			continue
		}
		if key := ledger.VersionKey(aboard.Version); key == "" || slices.Contains(earlier[d.ID], key) {
			behind = append(behind, d)
		}
	}
	return behind
}

// versionsRead are the keys of all versions that were read off each device,
// also before a step; what was corrected since counts no longer.
func versionsRead(lines []audit.Line) map[string][]string {
	read := map[string][]string{}
	for _, line := range lines {
		says := line.Entry.Says()
		if line.CorrectedBy != "" || says == nil {
			continue
		}
		for _, r := range ledger.Readings(says) {
			read[r.Device.ID] = append(read[r.Device.ID], ledger.VersionKey(r.Version), ledger.VersionKey(r.Before))
		}
	}
	return read
}

// tellBehind says so before anything is asked by the plan that the file gives.
func (r *recording) tellBehind(ctx context.Context) error {
	behind, err := behindLedger(ctx, r.shop, r.vessel)
	for _, d := range behind {
		text := fmt.Sprintf("Note: %s: its file says %s, the ledger %s since %s: another van was aboard, or a record was cut off. If it shows %s, stop here and bring the file up to date: cardwright record %s --from-ledger",
			d.ID, orUnknown(r.vessel.Device(d.ID).Version), d.Version, clock(d.Since), d.Version, r.vessel.ID)
		fmt.Fprintln(r.session.errs, wrapped(r.session.keepShop(text), "      "))
	}
	return err
}

// followLedger brings the vessel's file up to date, and notes nothing.
func (r *recording) followLedger(ctx context.Context) error {
	if err := r.options.only("--from-ledger brings the vessel's file up to date with the ledger"); err != nil {
		return err
	}
	if r.options.takenOn || r.options.at != "" {
		return usage(errors.New("--from-ledger notes nothing: leave --taken-on and --at out"))
	}
	behind, err := behindLedger(ctx, r.shop, r.vessel)
	if err != nil {
		return err
	}
	versions := map[string]version.V{}
	for _, d := range behind {
		versions[d.ID] = d.Version
	}
	file, err := updateVessel(r.shop, r.vessel, versions)
	if err != nil {
		return fmt.Errorf("bringing the vessel's file up to date: %w", err)
	}
	r.session.answer(struct {
		Format   int                  `json:"format"`
		File     string               `json:"file"`
		Versions map[string]version.V `json:"versions"`
	}{1, file, versions}, func(w io.Writer) {
		if file == "" {
			fmt.Fprintf(w, "%s: its file is not behind the ledger.\n", visible.Visible(r.vessel.Name))
			return
		}
		fmt.Fprintf(w, "%s was brought up to date.\n", visible.Visible(file))
		for _, d := range behind {
			fmt.Fprintf(w, "  %s\n", wrapped(fmt.Sprintf("%s: %s since %s", d.ID, d.Version, clock(d.Since)), "    "))
		}
	})
	return nil
}
