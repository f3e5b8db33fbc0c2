package main

import (
	"context"
	"fmt"
	"io"

	"github.com/spf13/cobra"

	"cardwright/manifest"
	"cardwright/verify/ledger/store"
	"cardwright/verify/visible"
)

func newLedgerBackupCommand(s *session) *cobra.Command {
	o := &checkOptions{}
	cmd := ledgerWork(s, o, "backup FILE", "Write the ledger to a new file, also while it is in use", "the file to write",
		func(ctx context.Context, shop *manifest.Shop, against store.CheckOptions, path string) error {
			l, err := openLedger(ctx, shop)
			if err != nil {
				return err
			}
			defer l.Close()
			r, err := l.Backup(ctx, path, against)
			if err != nil {
				return fmt.Errorf("backing the ledger up: %w", err)
			}
			s.answer(r, func(w io.Writer) {
				writeCheck(w, r.Check)
				fmt.Fprintf(w, "Backed up to %s. Keep the answer of --json in another place: its heads show\nlater whether a tail was removed.\n", visible.Visible(path))
			})
			return checkCode(r.Check)
		})
	cmd.Long = `backup writes the ledger to a new file, also while others use it, and checks what it
wrote. Keep the answer of --json in another place: with --heads it shows later whether
the end of the ledger was cut off.`
	cmd.Example = `  cardwright ledger backup /media/stick/ledger-2026-03-02.db
  cardwright ledger backup backup.db --json > heads.json`
	return cmd
}

func newLedgerRestoreCommand(s *session) *cobra.Command {
	o := &checkOptions{}
	cmd := ledgerWork(s, o, "restore FILE", "Bring a backup's events back; none that is there is lost", "the backup's file",
		func(ctx context.Context, shop *manifest.Shop, against store.CheckOptions, path string) error {
			before := store.Fingerprint(ledgerAddress(shop))
			r, err := store.Restore(ctx, path, ledgerAddress(shop), against)
			if err != nil {
				return fmt.Errorf("restoring the ledger: %w", err)
			}
			ledgerAt(&s.terminal, ledgerAddress(shop)).Wrote(ctx, before)
			s.answer(r, func(w io.Writer) {
				writeCheck(w, r.Check)
				fmt.Fprintf(w, "Restored: %s added.\n", counted(r.Added, "event"))
			})
			return checkCode(r.Check)
		})
	cmd.Long = `restore adds the events of a backup that the shop's ledger lacks. No event that is
there is lost.`
	cmd.Example = "  cardwright ledger restore /media/stick/ledger-2026-03-02.db"
	return cmd
}

func newLedgerSalvageCommand(s *session) *cobra.Command {
	o := &checkOptions{}
	var to string
	cmd := ledgerWork(s, o, "salvage FILE --to NEWFILE", "Take what can be read from a damaged ledger file into a new one", "the damaged file",
		func(ctx context.Context, _ *manifest.Shop, against store.CheckOptions, path string) error {
			if to == "" {
				return usage(fmt.Errorf("name the new ledger file with --to"))
			}
			r, err := store.Salvage(ctx, path, to, against)
			if err != nil {
				return fmt.Errorf("salvaging the ledger: %w", err)
			}
			s.answer(r, func(w io.Writer) {
				fmt.Fprintf(w, "Salvaged %s into %s.\n", counted(r.Taken, "event"), visible.Visible(to))
				if r.Unsound > 0 {
					fmt.Fprintf(w, "%s too damaged to be taken over.\n", counted(r.Unsound, "event"))
				}
				writeCheck(w, r.Check)
			})
			return checkCode(r.Check)
		})
	cmd.Long = `salvage takes every event that can still be read from a damaged ledger file into a new
one, and checks that. The damaged file is only read.`
	cmd.Example = "  cardwright ledger salvage ledger.db --to salvaged.db"
	cmd.Flags().StringVar(&to, "to", "", "the new ledger `FILE`")
	return cmd
}
