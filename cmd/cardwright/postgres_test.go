package main

import (
	"database/sql"
	"strings"
	"sync"

	_ "github.com/jackc/pgx/v5/stdlib" // the driver pgx
	"github.com/rogpeppe/go-internal/testscript"

	"cardwright/verify/ledger/ledgertest"
)

// servers are those that scripts started, by name.
var servers sync.Map

// postgres NAME starts a PostgreSQL server, or one again that was halted, and
// puts the address of its owner's database into NAME.
func startServer(ts *testscript.TestScript, neg bool, args []string) {
	if known, ok := servers.Load(args[0]); ok {
		ts.Check(known.(*ledgertest.Server).Start())
		return
	}
	server, err := ledgertest.StartServer()
	ts.Check(err)
	servers.Store(args[0], server)
	ts.Defer(func() { _ = server.Remove() })
	ts.Setenv(args[0], server.Address(""))
}

// halt NAME stops a server as a power cut would.
func haltServer(ts *testscript.TestScript, neg bool, args []string) {
	server, ok := servers.Load(args[0])
	if !ok {
		ts.Fatalf("no server %s", args[0])
	}
	ts.Check(server.(*ledgertest.Server).Halt())
}

// addressof NAME ROLE SERVER puts the address for another role into NAME.
func addressOf(ts *testscript.TestScript, neg bool, args []string) {
	ts.Setenv(args[0], strings.Replace(ts.Getenv(args[2]), "ledger@", args[1]+"@", 1))
}

// sqlrun ADDRESS SQL runs SQL, or a file of it, as somebody with a database
// tool would; with !, the server must refuse it for lack of rights.
func sqlRun(ts *testscript.TestScript, neg bool, args []string) {
	db, err := sql.Open("pgx", args[0])
	ts.Check(err)
	defer db.Close()
	query := args[1]
	if strings.HasSuffix(query, ".sql") {
		query = ts.ReadFile(query)
	}
	_, err = db.Exec(query)
	switch {
	case !neg:
		ts.Check(err)
	case err == nil || !strings.Contains(err.Error(), "42501"):
		ts.Fatalf("%s: expected that the role lacks the right (42501), found %v", args[1], err)
	}
}
