package main

import (
	"time"

	"cardwright/verify/ledger/known"
)

// shopLedger is how a run gets at the ledger of the shop that it works for: whether
// it is still what was checked, what it knows of vessels, and by whom events are.
type shopLedger struct {
	*terminal // for what has to be told meanwhile

	by string // --by

	known   map[string]*known.Joined // by vessel, once they were looked up
	unasked error                    // why the ledger couldn't be asked for them

	ledgerChecked *error    // what ledgerHolds said
	checkedWhole  time.Time // when the ledger was last checked whole
}
