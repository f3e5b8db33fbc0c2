package main

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"time"

	"cardwright/manifest/version"
	"cardwright/verify/ledger/audit"
	"cardwright/verify/ledger/record"
	"cardwright/verify/visible"
)

// behind are the devices of which the vessel's file has an older version than
// the shop's ledger.
func (r *recording) behind(ctx context.Context) ([]audit.Device, error) {
	h, err := r.history(ctx, time.Time{})
	return record.Behind(r.vessel, h), err
}

// tellBehind says so before anything is asked by the plan that the file gives.
func (r *recording) tellBehind(ctx context.Context) error {
	behind, err := r.behind(ctx)
	for _, d := range behind {
		text := fmt.Sprintf("Note: %s: its file says %s, the ledger %s since %s: another van was aboard, or a record was cut off. If it shows %s, stop here and bring the file up to date: cardwright record %s --from-ledger",
			d.ID, cmp.Or(r.vessel.Device(d.ID).Version, version.Unknown), d.Version, clock(d.Since), d.Version, r.vessel.ID)
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
	behind, err := r.behind(ctx)
	if err != nil {
		return err
	}
	versions := map[string]version.V{}
	for _, d := range behind {
		versions[d.ID] = d.Version
	}
	file, err := record.WriteVersions(r.shop, r.vessel, versions)
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
