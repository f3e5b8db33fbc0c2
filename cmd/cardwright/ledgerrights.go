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
		Short: "Print the SQL for the least rights of a van's role",
		Long: `rights prints SQL for the owner of a ledger on a PostgreSQL server. With these
rights a role reads the ledger and adds events, and nothing else; rights that an
earlier cardwright printed are taken back. Run it once after each of them.

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
