package main

import (
	"context"

	"cardwright/verify/seatrial"
)

// earlier takes the last trial of the vessel from the ledger, where there is one.
func (r *seatrying) earlier(_ context.Context, _ *seatrial.Input) error { return nil }

func (r *seatrying) record(_ context.Context, _ seatrial.Trial) error { return nil }
