package main

import (
	"fmt"
	"io"

	"github.com/spf13/cobra"

	"cardwright/verify/ledger/store"
)

func newLedgerRebuildCommand(s *session) *cobra.Command {
	o := &checkOptions{}
	cmd := &cobra.Command{
		Use:   "rebuild",
		Short: "Work out anew from the events what answers are looked up in",
		Long: `rebuild empties the tables that answers are looked up in, and fills them from the
events that hold: where somebody changed those tables by hand, audit check says so
and names this command. Events are never changed. A server holds events alone; of
one it is this computer's copy that is worked out anew, with every event taken
over again, and any role may do it.`,
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
			address := ledgerAddress(shop)
			l, err := store.Open(ctx, address, store.Options{Memory: memoryOf(address), Slow: s.tellSlow})
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
