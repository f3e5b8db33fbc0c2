package main

import (
	"io"

	"github.com/spf13/cobra"

	"cardwright/verify/ledger/store"
	"cardwright/verify/ledger/unchanged"
)

func newLedgerRebuildCommand(s *session) *cobra.Command {
	o := &checkOptions{}
	cmd := &cobra.Command{
		Use:   "rebuild",
		Short: "Rebuild the tables for answers from the events",
		Long: `rebuild empties the tables that answers are looked up in, and fills them again from
the events. audit check names this command where somebody changed those tables by
hand. Events are never changed.

A PostgreSQL server holds events alone. There rebuild makes this computer's copy anew,
from every event on the server; any role may do it.`,
		Example: `  cardwright ledger rebuild`,
		Args:    exactly(0, "no arguments"),
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
			l, err := store.Open(ctx, address, store.Options{Memory: memoryOf(address), Slow: func(events int64) {
				s.complain(noticeText(unchanged.Notice{Kind: unchanged.CopyingFirst, Events: events}))
			}})
			if err != nil {
				return err
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
