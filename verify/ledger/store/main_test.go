package store_test

import (
	"flag"
	"os"
	"testing"

	"cardwright/verify/ledger/ledgertest"
)

// Property tests open four ledgers for each draw; -rapid.checks asks for more
// of them.
const draws = "8"

func TestMain(m *testing.M) {
	if job := os.Getenv(jobEnv); job != "" {
		os.Exit(runJob(job))
	}
	if err := flag.Set("rapid.checks", draws); err != nil {
		panic(err)
	}
	os.Exit(ledgertest.Main(m))
}
