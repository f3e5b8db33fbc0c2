package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"slices"
	"time"

	"github.com/spf13/cobra"

	"cardwright/manifest"
	"cardwright/manifest/version"
	"cardwright/verify/ledger"
	"cardwright/verify/ledger/audit"
	"cardwright/verify/ledger/record"
	"cardwright/verify/visible"
)

type withdrawOptions struct {
	key      keyOptions
	why      string
	variant  string
	takeBack bool
}

func newLedgerWithdrawCommand(s *session) *cobra.Command {
	var o withdrawOptions
	cmd := &cobra.Command{
		Use:   "withdraw MODEL VERSION --why TEXT",
		Short: "Note that a maker withdrew a release",
		Long: `withdraw notes that nobody should run a release any longer, in the ledger and in the
model's file. The release is planned no more, and a card with it isn't good.
--take-back lifts the withdrawal in both, also one that only the model's file has.`,
		Example: `  cardwright ledger withdraw fennick-sweep-2 1.9 --why 'targets vanish in rain'`,
		Args:    exactly(2, "a model and a version"),
		RunE: func(cmd *cobra.Command, args []string) error {
			v, err := version.Parse(args[1])
			if err != nil {
				return usage(err)
			}
			w := ledger.Withdrawal{Model: args[0], Version: v, Variant: o.variant, Why: o.why}
			if o.takeBack {
				return runLift(interruptible(cmd), s, o, w)
			}
			return runWithdraw(interruptible(cmd), s, o, w)
		},
	}
	o.key.addFlag(cmd)
	cmd.Flags().StringVar(&o.why, "why", "", "`WHY`: what the maker says is wrong with it; with --take-back, why it is lifted")
	cmd.Flags().StringVar(&o.variant, "variant", "", "only this `VARIANT`: a region or a language")
	cmd.Flags().BoolVar(&o.takeBack, "take-back", false, "lift it: the maker says that the release is right, or it was another one")
	return cmd
}

// withdrawn is the answer of ledger withdraw.
type withdrawn struct {
	ledger.Entry
	Files []string `json:"files"` // of the catalogue, that were changed
}

func runWithdraw(ctx context.Context, s *session, o withdrawOptions, w ledger.Withdrawal) error {
	shop, err := s.shop()
	if err != nil {
		return err
	}
	key, err := o.key.ledgerKey()
	if err != nil {
		return err
	}
	model := shop.Model(w.Model)
	if model == nil {
		return usage(fmt.Errorf("no model %s in the catalogue%s", w.Model, tryIt(manifest.Nearest(w.Model, shop.ModelIDs()))))
	}
	w.Maker = model.Maker
	e := ledger.Entry{At: time.Now().UTC().Truncate(time.Second), Kind: ledger.ReleaseWithdrawn, Withdrawal: &w}
	if err := e.Validate(); err != nil {
		return usage(err)
	}
	if err := note(ctx, s, shop, key, e); err != nil {
		return err
	}
	files, err := followWithdrawals(ctx, shop)
	if err != nil {
		return fmt.Errorf("it is noted in the ledger, but the catalogue could not be brought up to date: %w", err)
	}
	s.answer(withdrawn{e, files}, func(out io.Writer) {
		fmt.Fprintln(out, wrapped("Noted: "+e.Tell(), "  "))
		tellFiles(out, files)
		if !slices.ContainsFunc(model.Releases, func(r *manifest.Release) bool { return ledger.VersionKey(r.Version) == ledger.VersionKey(w.Version) }) {
			fmt.Fprintln(out, wrapped(fmt.Sprintf("Note: the catalogue has no %s %s: check that the version is right.", w.Model, w.Version), "      "))
		}
	})
	return nil
}

func tellFiles(out io.Writer, files []string) {
	for _, f := range files {
		fmt.Fprintf(out, "%s was brought up to date.\n", visible.Visible(f))
	}
}

// runLift takes back every withdrawal of a release, in the ledger and in the
// catalogue.
func runLift(ctx context.Context, s *session, o withdrawOptions, w ledger.Withdrawal) error {
	shop, err := s.shop()
	if err != nil {
		return err
	}
	key, err := o.key.ledgerKey()
	if err != nil {
		return err
	}
	if o.why == "" {
		return usage(errors.New("say why with --why: the history shows it with the withdrawal"))
	}
	all, err := withdrawalsIn(ctx, shop)
	if err != nil {
		return err
	}
	entries := all.Lift(w, o.why, time.Now().UTC().Truncate(time.Second))
	if len(entries) == 0 && !record.WithdrawnInCatalogue(shop, w) {
		return usage(fmt.Errorf("neither the ledger nor the catalogue says that %s %s is withdrawn: see cardwright audit withdrawn", w.Model, w.Version))
	}
	if len(entries) > 0 {
		if err := note(ctx, s, shop, key, entries...); err != nil {
			return err
		}
	}
	files, err := record.LiftInCatalogue(shop, w)
	if err != nil {
		return fmt.Errorf("it is noted in the ledger, but the catalogue could not be brought up to date: %w", err)
	}
	s.answer(struct {
		Format  int            `json:"format"`
		Entries []ledger.Entry `json:"entries"`
		Files   []string       `json:"files"`
	}{1, entries, files}, func(out io.Writer) {
		fmt.Fprintf(out, "Lifted: %s %s is no longer withdrawn.\n", visible.Visible(w.Model), w.Version)
		tellFiles(out, files)
	})
	return nil
}

// withdrawalsIn are the withdrawn releases in the shop's ledger.
func withdrawalsIn(ctx context.Context, shop *manifest.Shop) (all record.Withdrawals, err error) {
	l, err := openLedgerIfAny(ctx, shop)
	if l == nil || err != nil {
		return all, err
	}
	defer l.Close()
	all.Standing, all.Lifted, err = audit.WithdrawnAndLifted(ctx, l)
	return all, err
}

// followWithdrawals brings the catalogue up to date with the ledger, and gives the
// files that were changed.
func followWithdrawals(ctx context.Context, shop *manifest.Shop) ([]string, error) {
	all, err := withdrawalsIn(ctx, shop)
	if err != nil {
		return nil, err
	}
	return all.Follow(shop)
}
