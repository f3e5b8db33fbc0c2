package store_test

import (
	"os"
	"testing"

	"cardwright/verify/ledger/ledgertest"
)

func TestMain(m *testing.M) { os.Exit(ledgertest.Main(m)) }
