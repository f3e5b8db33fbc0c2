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
		Short: "Fill the tables for answers anew, from the events",
		Long: `rebuild empties the tables that answers are looked up in, and fills them again
from the events that hold. Where somebody changed those tables by hand, audit
check says so and names this command. Events are never changed. A server holds
events alone: there this computer's copy is made anew, with every event taken
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
