package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"slices"

	"github.com/spf13/cobra"

	"cardwright/manifest"
	"cardwright/manifest/contacts"
	"cardwright/verify/ledger/audit"
	"cardwright/verify/ledger/known"
	"cardwright/verify/ledger/record"
	"cardwright/verify/ledger/store"
	"cardwright/verify/visible"
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
			if r.Todo, err = toDoAfterSync(ctx, s, r.from); err != nil {
				return fmt.Errorf("the ledgers are synced, but what the shop's files need isn't known: %w", err)
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

	Todo []string `json:"todo,omitempty"` // what the shop's files need after it, with the commands

	from int64 // the last event before it
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
	if r.from, err = audit.Last(ctx, here); err != nil {
		return r, err
	}
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
	for _, line := range r.Todo {
		fmt.Fprintln(w, wrapped(visible.Visible("! "+line), "  "))
	}
}

// toDoAfterSync is what the shop's files need after a sync: those that are behind, and
// whom to call where somebody else noted that a boat was sold or is gone.
func toDoAfterSync(ctx context.Context, s *session, from int64) (todo []string, err error) {
	shop, err := s.shopFor("") // as the sync left it
	if err != nil {
		return nil, err
	}
	l, err := openLedgerIfAny(ctx, shop)
	if l == nil || err != nil {
		return nil, err
	}
	defer l.Close()
	ids, err := audit.Otherwise(ctx, l, shop.Vessels)
	if err == nil {
		err = learn(ctx, s, shop, vesselsOf(shop, ids)...)
	}
	if err != nil {
		return nil, err
	}
	for _, v := range shop.Vessels {
		for _, o := range s.known[v.ID].FileOpen() {
			if o.Kind == known.FileOlder {
				todo = append(todo, v.ID+", "+o.On()+": "+s.keepShop(openHere(o, v.ID)))
			}
		}
	}
	people, err := contacts.Load(shop.Dir)
	if err != nil {
		return nil, usage(err)
	}
	fates, err := audit.FatesSince(ctx, l, from)
	if err != nil {
		return nil, err
	}
	for _, f := range fates {
		if c, ok := contacts.Of(people, f.IDs...); ok {
			todo = append(todo, fmt.Sprintf("%s: %s on %s, and a contact is still noted: %s", f.IDs[0], f.Kind, date(f.At), s.keepShop("cardwright vessel contact "+c.Vessel+" --forget")))
		}
	}
	back, err := servedAgain(ctx, shop, l)
	for _, id := range back {
		todo = append(todo, id+": she is served again, and her file is in "+record.AsideFolder+": "+s.keepShop("cardwright record "+id+" --from-ledger"))
	}
	return todo, err
}

// servedAgain are the vessels whose files were set aside, and of which the ledger says
// now that they aren't gone.
func servedAgain(ctx context.Context, shop *manifest.Shop, l *store.Ledger) (ids []string, err error) {
	aside, err := record.Aside(shop)
	if err != nil || len(aside) == 0 {
		return nil, err
	}
	all, err := audit.AllIDs(ctx, l)
	if err != nil {
		return nil, err
	}
	return slices.DeleteFunc(aside, func(id string) bool { return !all.Has(id) || all.Gone(id) || shop.VesselOnce(id) != nil }), nil
}
