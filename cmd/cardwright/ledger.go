package main

import (
	"context"

	"github.com/spf13/cobra"

	"cardwright/manifest"
	"cardwright/verify/ledger/store"
)

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
