package main

import (
	"context"
	"errors"
	"fmt"
	"io"

	"github.com/spf13/cobra"

	"cardwright/manifest"
	"cardwright/verify/ledger/store"
)

func newLedgerSyncCommand(s *session) *cobra.Command {
	o := &checkOptions{}
	var fresh bool
	cmd := ledgerWork(s, o, "sync LEDGER", "Merge the shop's ledger and another, both ways", "a ledger file or a postgres:// address",
		func(ctx context.Context, shop *manifest.Shop, against store.CheckOptions, place string) error {
			r, err := syncLedgers(ctx, &s.terminal, shop, against, place, fresh)
			if err != nil {
				return err
			}
			s.answer(r, func(w io.Writer) { writeSync(w, r) })
			if len(r.Refused) > 0 {
				return &answered{exitNo}
			}
			return nil
		})
	cmd.Long = `sync brings the shop's ledger and another together: both then hold the same events.
LEDGER is a file, or a PostgreSQL database by its address.`
	cmd.Example = `  cardwright ledger sync /media/stick/ledger.db
  cardwright ledger sync --new postgres://van@server/ledger`
	cmd.Flags().BoolVar(&fresh, "new", false, "make the other ledger: there is none yet")
	return cmd
}

// synced is the answer of ledger sync.
type synced struct {
	store.SyncReport
	Files []string `json:"files"` // of the catalogue, that follow withdrawals
}

// syncLedgers merges the shop's ledger and another, and brings the catalogue up to
// date with what that says of withdrawn releases.
func syncLedgers(ctx context.Context, t *terminal, shop *manifest.Shop, against store.CheckOptions, place string, fresh bool) (r synced, err error) {
	before := store.Fingerprint(ledgerAddress(shop))
	here, err := openToWrite(ctx, shop)
	if err != nil {
		return r, err
	}
	defer here.Close()
	there, err := store.Open(ctx, place, store.Options{Create: fresh})
	if errors.Is(err, store.ErrNoLedger) {
		return r, fmt.Errorf("%w: check the name, or make a first ledger there with --new", err)
	}
	if err != nil {
		return r, err
	}
	defer there.Close()
	r.SyncReport, err = store.Sync(ctx, here, there, store.SyncOptions{Known: against.Known})
	if err = errors.Join(err, here.Close()); err != nil {
		return r, fmt.Errorf("syncing: %w", err)
	}
	ledgerAt(t, ledgerAddress(shop)).Wrote(ctx, before)
	if r.Files, err = followWithdrawals(ctx, shop); err != nil {
		return r, fmt.Errorf("the ledgers are synced, but the catalogue could not be brought up to date with withdrawn releases: %w", err)
	}
	return r, nil
}

func writeSync(w io.Writer, r synced) {
	fmt.Fprintf(w, "Synced: %s received, %s sent, %d refused.\n", counted(r.Received, "event"), counted(r.Sent, "event"), len(r.Refused)+r.More)
	for _, x := range r.Refused {
		fmt.Fprintf(w, "✗ %s\n", wrapped(fmt.Sprintf("refused event %d of chain %s: %s", x.Seq, x.Chain, x.Why), "  "))
	}
	for _, d := range r.Disputed {
		fmt.Fprintf(w, "? %s\n", wrapped(fmt.Sprintf("%s, %s: one writer read %s, another %s", d.Vessel, d.Device, d.Version, d.Other), "  "))
	}
	for _, n := range r.Notes {
		fmt.Fprintf(w, "Note: %s\n", wrapped(n, "      "))
	}
	tellFiles(w, r.Files)
}
