package main

import (
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"cardwright/manifest/pattern"
	"cardwright/verify/ledger/store"
)

// roleName is a role or schema as PostgreSQL takes it without quotes.
var roleName = pattern.Of(`^[a-z_][a-z0-9_]{0,62}$`)

func newLedgerRightsCommand(s *session) *cobra.Command {
	var schema string
	cmd := &cobra.Command{
		Use:   "rights ROLE",
		Short: "Print the SQL that gives a van's role the least rights",
		Long: `rights prints SQL for the owner of a ledger on a PostgreSQL server. With these rights a
role can read the ledger and add events, and nothing else. Rights that an earlier
cardwright gave are taken back: after an update of cardwright, run it again.`,
		Example: `  psql "postgres://owner@server/ledger" -c "CREATE ROLE van LOGIN PASSWORD '…'"
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
	cmd.Flags().StringVar(&schema, "schema", "public", "the `SCHEMA` that the ledger is in")
	return cmd
}
