package store

import _ "embed" // the statements of Rights

// Rights is what a van's role on a PostgreSQL server needs and no more, as
// SQL with the role written as :van. The ledger's owner runs it once.
//
//go:embed rights.sql
var Rights string
