package audit

import (
	"context"
	"fmt"

	"cardwright/verify/ledger"
	"cardwright/verify/ledger/known"
	"cardwright/verify/ledger/store"
)

// StandingOn are the facts about a vessel that build on an event and so have to be taken
// back before it, the last first.
func StandingOn(ctx context.Context, l *store.Ledger, vessel string, of ledger.ID) (later []known.Fact, err error) {
	err = l.Look(ctx, func(q store.Querier) error {
		all, err := livesIn(ctx, l, q)
		if err != nil {
			return err
		}
		ask, events, err := askOf(ctx, l, q, all.Names, vessel, nil)
		if err != nil {
			return err
		}
		facts, _ := known.Facts(events, ask.Trust)
		later = known.StandingOn(facts, of, ask.Seen)
		return nil
	})
	if err != nil {
		err = fmt.Errorf("looking for what builds on event %s: %w", of.Short(), err)
	}
	return later, err
}
