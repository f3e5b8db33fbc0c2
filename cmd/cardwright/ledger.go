package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"strings"

	"github.com/spf13/cobra"

	"cardwright/manifest"
	"cardwright/manifest/pattern"
	"cardwright/media/keys"
	"cardwright/verify/ledger"
	"cardwright/verify/ledger/store"
	"cardwright/verify/visible"
)

type checkOptions struct {
	key   keyOptions
	heads []string
	place string
}

func (o *checkOptions) addFlags(cmd *cobra.Command) {
	o.key.addFlag(cmd)
	cmd.Flags().StringArrayVar(&o.heads, "heads", nil, "report of an earlier backup (JSON): its heads show whether a tail was removed; may be repeated")
}

// against are the writers that the shop trusts and this laptop's own key. Where
// that key can't be had, only the trusted ones; where there are none either,
// nobody is known, which the check tells.
func (o checkOptions) against(s *session, shop *manifest.Shop) (store.CheckOptions, error) {
	own, err := o.key.signing()
	if err != nil && o.key.file != "" {
		return store.CheckOptions{}, err
	}
	c := store.CheckOptions{Known: knownWriters(shop, own)}
	if err != nil {
		s.complain(err.Error() + "; only the keys that shop.yaml trusts are known")
		if len(c.Known) == 0 {
			c.Known = nil
		}
	}
	for _, path := range o.heads {
		h, err := savedHeads(path)
		if err != nil {
			return c, err
		}
		c.Saved = append(c.Saved, h)
	}
	return c, nil
}

// savedHeads reads the heads from the JSON that ledger backup printed.
func savedHeads(path string) (ledger.Heads, error) {
	f, err := os.Open(path)
	if err != nil {
		return ledger.Heads{}, fmt.Errorf("reading saved heads: %w", err)
	}
	defer f.Close()
	h, err := ledger.ReadHeads(f)
	switch {
	case errors.Is(err, ledger.ErrNewer), errors.Is(err, ledger.ErrNotHeads):
		return h, usage(fmt.Errorf("%s: %w", path, err))
	case err != nil:
		return h, fmt.Errorf("%s: %w", path, err)
	}
	return h, nil
}

func newAuditCheckCommand(s *session) *cobra.Command {
	var o checkOptions
	cmd := &cobra.Command{
		Use:   "check",
		Short: "Check every event; name the first link that is broken",
		Long: `check reads the whole ledger: an edited, removed, reordered or forged event is
found, and the first broken link named. That events at the end of a chain were
removed shows only against heads that were saved elsewhere (--heads).`,
		Args: exactly(0, "no arguments"),
		RunE: func(cmd *cobra.Command, _ []string) error {
			return runAuditCheck(interruptible(cmd), s, o)
		},
	}
	o.addFlags(cmd)
	cmd.Flags().StringVar(&o.place, "ledger", "", "another ledger than the shop's: a file or a postgres:// address")
	return cmd
}

func runAuditCheck(ctx context.Context, s *session, o checkOptions) error {
	shop, err := s.shop()
	if err != nil {
		return err
	}
	against, err := o.against(s, shop)
	if err != nil {
		return err
	}
	place := o.place
	if place == "" {
		place = ledgerAddress(shop)
	}
	r, err := store.CheckAt(ctx, place, against)
	if err != nil {
		return fmt.Errorf("checking the ledger: %w", err)
	}
	s.answer(r, func(w io.Writer) { writeCheck(w, r) })
	switch r.Verdict {
	case store.Whole:
		return nil
	case store.Unproven:
		return &answered{exitUnchecked}
	}
	return &answered{exitNo}
}

var checkLines = map[store.Verdict]string{
	store.Whole: "✓ WHOLE", store.Edited: "✗ EDITED", store.Damaged: "✗ DAMAGED", store.Unproven: "? UNPROVEN",
}

func writeCheck(w io.Writer, r store.CheckReport) {
	fmt.Fprintf(w, "%s: %s in %s.\n", checkLines[r.Verdict], counted(int(r.Events), "event"), counted(len(r.Chains), "chain"))
	if b := r.First; b != nil {
		where := ""
		if b.Seq > 0 {
			where = fmt.Sprintf(", event %d of chain %s", b.Seq, b.Chain)
		}
		text := fmt.Sprintf("First broken link: %s%s: found %s, expected %s. It means: %s. Do: %s.", b.Kind, where, b.Found, b.Expected, b.Meaning, b.Advice)
		fmt.Fprintln(w, wrapped(text, "  "))
		if more := len(r.Breaks) - 1 + r.More; more > 0 {
			fmt.Fprintf(w, "%s more; --json lists them.\n", counted(more, "break"))
		}
	}
	for _, c := range r.Chains {
		name := c.Name
		if name == "" {
			name = "a writer not known here"
		}
		fmt.Fprintf(w, "  %s\n", wrapped(fmt.Sprintf("%s, chain %s: %s", name, c.Chain, counted(int(c.Events), "event")), "    "))
	}
	for _, n := range r.Notes {
		fmt.Fprintf(w, "Note: %s\n", wrapped(n, "      "))
	}
}

func newLedgerCommand(s *session) *cobra.Command {
	cmd := &cobra.Command{
		Use:   "ledger",
		Short: "Sync, back up, restore, salvage and correct the shop's ledger",
		Long: `A ledger is a file (ledger.db) or a PostgreSQL database (postgres://…, with TLS as
the address says). A van works on its own file, with no network, and syncs when
it has one: both sides then hold the same events.`,
	}
	cmd.AddCommand(newLedgerSyncCommand(s), newLedgerBackupCommand(s), newLedgerRestoreCommand(s), newLedgerSalvageCommand(s), newLedgerCorrectCommand(s), newLedgerWithdrawCommand(s), newLedgerRightsCommand(s), newLedgerRebuildCommand(s))
	return cmd
}

// ledgerWork is what the commands of the ledger have in common.
func ledgerWork(s *session, o *checkOptions, use, short, arg string, do func(context.Context, *manifest.Shop, store.CheckOptions, string) error) *cobra.Command {
	cmd := &cobra.Command{
		Use: use, Short: short, Args: exactly(1, arg),
		RunE: func(cmd *cobra.Command, args []string) error {
			shop, err := s.shop()
			if err != nil {
				return err
			}
			against, err := o.against(s, shop)
			if err != nil {
				return err
			}
			return do(interruptible(cmd), shop, against, args[0])
		},
	}
	o.addFlags(cmd)
	return cmd
}

func newLedgerSyncCommand(s *session) *cobra.Command {
	o := &checkOptions{}
	var fresh bool
	cmd := ledgerWork(s, o, "sync LEDGER", "Merge the shop's ledger and another, both ways", "a ledger file or a postgres:// address",
		func(ctx context.Context, shop *manifest.Shop, against store.CheckOptions, place string) error {
			here, err := store.Open(ctx, ledgerAddress(shop), store.Options{Create: true})
			if err != nil {
				return fmt.Errorf("opening the ledger: %w", err)
			}
			defer here.Close()
			there, err := store.Open(ctx, place, store.Options{Create: fresh})
			if errors.Is(err, store.ErrNoLedger) {
				return fmt.Errorf("opening the other ledger: %w: look whether the name is right, or make a first one there with --new", err)
			}
			if err != nil {
				return fmt.Errorf("opening the other ledger: %w", err)
			}
			defer there.Close()
			r, err := store.Sync(ctx, here, there, store.SyncOptions{Known: against.Known})
			if err != nil {
				return fmt.Errorf("syncing: %w", err)
			}
			files, err := s.followWithdrawals(ctx, shop)
			if err != nil {
				return fmt.Errorf("the ledgers are synced, but the catalogue could not be brought up to date with withdrawn releases: %w", err)
			}
			s.answer(synced{r, files}, func(w io.Writer) {
				writeSync(w, r)
				tellFiles(w, files)
			})
			if len(r.Refused) > 0 {
				return &answered{exitNo}
			}
			return nil
		})
	cmd.Flags().BoolVar(&fresh, "new", false, "make the other ledger: there is none yet")
	return cmd
}

// synced is the answer of ledger sync.
type synced struct {
	store.SyncReport
	Files []string `json:"files"` // of the catalogue, that follow withdrawals
}

func writeSync(w io.Writer, r store.SyncReport) {
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
}

func newLedgerBackupCommand(s *session) *cobra.Command {
	o := &checkOptions{}
	return ledgerWork(s, o, "backup FILE", "Write the ledger to a new file, also while it is in use", "the file to write",
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
}

// checkCode is the exit code for a ledger that was checked on the way.
func checkCode(r store.CheckReport) error {
	if r.Verdict == store.Edited || r.Verdict == store.Damaged {
		return &answered{exitNo}
	}
	return nil
}

func newLedgerRestoreCommand(s *session) *cobra.Command {
	o := &checkOptions{}
	return ledgerWork(s, o, "restore FILE", "Bring a backup's events back; none that is there is lost", "the backup's file",
		func(ctx context.Context, shop *manifest.Shop, against store.CheckOptions, path string) error {
			r, err := store.Restore(ctx, path, ledgerAddress(shop), against)
			if err != nil {
				return fmt.Errorf("restoring the ledger: %w", err)
			}
			s.answer(r, func(w io.Writer) {
				writeCheck(w, r.Check)
				fmt.Fprintf(w, "Restored: %s added.\n", counted(r.Added, "event"))
			})
			return checkCode(r.Check)
		})
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
					fmt.Fprintf(w, "%s too spoiled to be taken over.\n", counted(r.Unsound, "event"))
				}
				writeCheck(w, r.Check)
			})
			return checkCode(r.Check)
		})
	cmd.Flags().StringVar(&to, "to", "", "the new ledger file")
	return cmd
}

// ledgerKey is the key that signs events; without one nothing can be noted.
func (o keyOptions) ledgerKey() (*keys.Key, error) {
	key, err := o.signing()
	if err == nil && key == nil {
		err = fmt.Errorf("events are signed, and there is no key yet: make one with cardwright key new")
	}
	return key, err
}

func newLedgerRebuildCommand(s *session) *cobra.Command {
	o := &checkOptions{}
	cmd := &cobra.Command{
		Use:   "rebuild",
		Short: "Work out anew from the events what answers are looked up in",
		Long: `rebuild empties the tables that answers are looked up in, and fills them from the
events that hold: where somebody changed those tables by hand, audit check says so
and names this command. Events are never changed. On a server it takes the
ledger's owner.`,
		Args: exactly(0, "no arguments"),
		RunE: func(cmd *cobra.Command, _ []string) error {
			ctx := interruptible(cmd)
			shop, err := s.shop()
			if err != nil {
				return err
			}
			against, err := o.against(s, shop)
			if err != nil {
				return err
			}
			l, err := store.Open(ctx, ledgerAddress(shop), store.Options{})
			if err != nil {
				return fmt.Errorf("opening the ledger: %w", err)
			}
			defer l.Close()
			if err := l.Rebuild(ctx); err != nil {
				return err
			}
			r, err := l.Check(ctx, against)
			if err != nil {
				return err
			}
			s.answer(r, func(w io.Writer) { writeCheck(w, r) })
			return checkCode(r)
		},
	}
	o.addFlags(cmd)
	return cmd
}

// roleName is a role or schema as PostgreSQL takes it without quotes.
var roleName = pattern.Of(`^[a-z_][a-z0-9_]{0,62}$`)

func newLedgerRightsCommand(s *session) *cobra.Command {
	var schema string
	cmd := &cobra.Command{
		Use:   "rights ROLE",
		Short: "Print the SQL for the least rights of a van's role",
		Long: `rights prints SQL for the owner of a ledger on a PostgreSQL server. With these
rights a role reads the ledger and adds events; it can't change or remove one.

  psql "postgres://owner@server/ledger" -c "CREATE ROLE van LOGIN PASSWORD '…'"
  cardwright ledger rights van | psql "postgres://owner@server/ledger"`,
		Args: exactly(1, "a role"),
		RunE: func(_ *cobra.Command, args []string) error {
			for _, name := range []string{args[0], schema} {
				if !roleName.MatchString(name) {
					return usage(fmt.Errorf("%q: expected a name of small letters, digits and _", name))
				}
			}
			_, err := fmt.Fprintf(s.out, "SET search_path = %s;\nGRANT USAGE ON SCHEMA %s TO %s;\n%s", schema, schema, args[0], strings.ReplaceAll(store.Rights, ":van", args[0]))
			return err
		},
	}
	cmd.Flags().StringVar(&schema, "schema", "public", "the schema that the ledger is in")
	return cmd
}
