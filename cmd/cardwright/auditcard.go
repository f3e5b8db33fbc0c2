package main

import (
	"fmt"
	"io"
	"slices"

	"github.com/spf13/cobra"

	"cardwright/manifest"
	"cardwright/verify/ledger/audit"
	"cardwright/verify/ledger/record"
	"cardwright/verify/ledger/store"
	"cardwright/verify/visible"
)

func newAuditCardCommand(s *session, o *auditOptions) *cobra.Command {
	return &cobra.Command{
		Use:   "card DIGEST|TARGET",
		Short: "Show where a card was made and used",
		Long: `card says when a card was made and verified, for which vessel, and which visits used
it. Name it by its digest (the first 8 digits or more), or by the card itself.`,
		Example: `  cardwright audit card 3f9a12c4
  cardwright audit card kittiwake.img`,
		Args: exactly(1, "a digest or a target"),
		RunE: func(cmd *cobra.Command, args []string) error {
			return asked(interruptible(cmd), s, o, func(_ *manifest.Shop, l *store.Ledger, f audit.Filter) error {
				u, err := audit.OfCard(interruptible(cmd), l, record.Target(args[0]), f)
				if err != nil {
					return err
				}
				s.answer(u, func(w io.Writer) { writeCardUse(w, args[0], u) })
				return nil
			})
		},
	}
}

func writeCardUse(w io.Writer, asked string, u audit.CardUse) {
	fmt.Fprintf(w, "%s of %s in the ledger.\n", counted(len(u.Cards), "card"), visible.Visible(asked))
	writeLeftOut(w, u.LeftOut)
	for _, c := range u.Cards {
		fmt.Fprintf(w, "\nCard %s\n", c.Digest)
		for _, l := range slices.Concat(c.Prepared, c.Verified, c.Used, c.Fate) {
			text := fmt.Sprintf("%s  %s, by %s", clock(l.Entry.At), l.Entry.Tell(), l.Technician)
			fmt.Fprintf(w, "  %s\n", wrapped(text, "    "))
		}
	}
}
