package main

import (
	"context"
	"fmt"

	"github.com/spf13/cobra"

	"cardwright/verify/ledger"
	"cardwright/verify/ledger/audit"
	"cardwright/verify/ledger/record"
	"cardwright/verify/ledger/store"
)

func newCardCommand(s *session) *cobra.Command {
	cmd := &cobra.Command{Use: "card", Short: "Note that a card was lost, handed over or destroyed"}
	cmd.AddCommand(
		newCardFateCommand(s, ledger.CardLost, "lost", "Note that a card was lost"),
		newCardFateCommand(s, ledger.CardHandedOver, "hand-over", "Note that a card was handed over"),
		newCardFateCommand(s, ledger.CardDestroyed, "destroyed", "Note that a card was destroyed or erased"),
	)
	return cmd
}

func newCardFateCommand(s *session, kind ledger.Kind, use, short string) *cobra.Command {
	var o lifeOptions
	var to, more string
	if kind == ledger.CardHandedOver {
		more = " --to skipper"
	}
	cmd := &cobra.Command{
		Use: use + " CARD", Short: short,
		Long: short + `, in the ledger; audit card shows it. CARD is the digest of the
card (its first 8 digits or more), or the target that it was written to.`,
		Example: "  cardwright card " + use + " 3f9a12c4" + more,
		Args:    exactly(1, "a card"),
		RunE: func(cmd *cobra.Command, args []string) error {
			return runCardFate(interruptible(cmd), s, o, ledger.CardFate{To: to, Note: o.note}, kind, args[0])
		},
	}
	o.addFlags(cmd)
	if kind == ledger.CardHandedOver {
		cmd.Use += " --to WHOM"
		cmd.Flags().StringVar(&to, "to", "", "`WHO` has it now: initials or a role, no name")
	}
	return cmd
}

func runCardFate(ctx context.Context, s *session, o lifeOptions, fate ledger.CardFate, kind ledger.Kind, card string) error {
	shop, err := s.shop()
	if err != nil {
		return err
	}
	if err := ledgerHolds(ctx, s, shop); err != nil {
		return err
	}
	if kind == ledger.CardHandedOver && fate.To == "" {
		return usage(fmt.Errorf("say with --to who has it now: initials or a role, no name"))
	}
	key, err := o.key.ledgerKey()
	if err != nil {
		return err
	}
	at, err := o.moment(ctx, s)
	if err != nil {
		return err
	}
	l, err := openLedger(ctx, shop)
	if err != nil {
		return err
	}
	digest, vessel, err := theCard(ctx, l, record.Target(card))
	if err := firstOf(err, l.Close()); err != nil {
		return err
	}
	fate.Card = digest
	e := ledger.Entry{At: at, Kind: kind, Vessel: vessel, CardFate: &fate}
	undo, err := noteLife(ctx, s, shop, key, e)
	if err != nil {
		return err
	}
	answerLife(&s.terminal, e, "", undo)
	return nil
}

func firstOf(errs ...error) error {
	for _, err := range errs {
		if err != nil {
			return err
		}
	}
	return nil
}

// theCard finds the one card that is meant, and whose it was last.
func theCard(ctx context.Context, l *store.Ledger, card string) (digest, vessel string, err error) {
	u, err := audit.OfCard(ctx, l, card, audit.Filter{})
	if err != nil {
		return "", "", err
	}
	for _, c := range u.Cards {
		if c.Digest == "" {
			continue
		}
		if digest != "" {
			return "", "", usage(fmt.Errorf("%q is more than one card: name it by its digest, as audit card shows it", card))
		}
		digest = c.Digest
		for _, line := range append(append([]audit.Line{}, c.Prepared...), c.Verified...) {
			if line.Entry.Vessel != "" {
				vessel = line.Entry.Vessel
			}
		}
	}
	if digest == "" {
		return "", "", usage(fmt.Errorf("no digest is known for %q: a card is identified by what was read off it", card))
	}
	return digest, vessel, nil
}
