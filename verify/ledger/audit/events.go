package audit

import (
	"context"
	"fmt"

	"cardwright/verify/ledger"
	"cardwright/verify/ledger/store"
)

// Events gives every event that passes the filter, in order of time (or of
// one vessel, where vessel is set), one after another: there may be millions.
// With an event come its corrections, whoever made them and when: without them
// it would be shown as it wasn't.
func Events(ctx context.Context, l *store.Ledger, vessel string, f Filter, give func(ledger.Event) error) error {
	ask := question{where: []string{"1 = 1"}}
	ask.equal("vessel", vessel)
	ask.times(f, "at")
	ask.berth(f, "berth")
	ask.equal("technician", f.Technician)
	err := l.Look(ctx, func(q store.Querier) error {
		corrected, err := correctedThatPass(ctx, q, ask, f)
		if err != nil {
			return err
		}
		where := ask.String()
		if len(corrected) > 0 {
			where = "(" + where + " OR corrects IS NOT NULL)"
		}
		return store.EachEvent(ctx, q, where+" ORDER BY ord", ask.args, func(e ledger.Event) error {
			entry := &e.Statement.Entry
			here := vessel == "" || entry.Vessel == vessel
			if here && f.lets(lineOf(e)) || entry.Correction != nil && corrected[entry.Correction.Of] {
				return give(e)
			}
			return nil
		})
	})
	if err != nil {
		return fmt.Errorf("reading events: %w", err)
	}
	return nil
}

// correctedThatPass are the ids of events that were corrected and pass the
// filter. Where nothing is filtered their corrections come anyway.
func correctedThatPass(ctx context.Context, q store.Querier, ask question, f Filter) (map[string]bool, error) {
	if f == (Filter{}) {
		return nil, nil
	}
	ids := map[string]bool{}
	where := ask.String() + " AND id IN (SELECT corrects FROM event WHERE corrects IS NOT NULL)"
	err := store.EachEvent(ctx, q, where, ask.args, func(e ledger.Event) error {
		if f.lets(lineOf(e)) {
			ids[e.ID.String()] = true
		}
		return nil
	})
	return ids, err
}
