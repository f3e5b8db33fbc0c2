package store

import (
	"context"
	"fmt"

	"cardwright/verify/ledger"
)

// Count is how many events the ledger has.
func (l *Ledger) Count(ctx context.Context) (n int64, err error) {
	err = l.Look(ctx, func(q Querier) error {
		return q.QueryRowContext(ctx, `SELECT count(*) FROM event`).Scan(&n)
	})
	if err != nil {
		err = fmt.Errorf("counting the events of ledger %s: %w", l.place, err)
	}
	return n, err
}

// Event returns the event with this id; false where the ledger has none.
func (l *Ledger) Event(ctx context.Context, id ledger.ID) (found ledger.Event, ok bool, err error) {
	err = l.Look(ctx, func(q Querier) error {
		return EachEvent(ctx, q, `id = $1`, []any{id[:]}, func(e ledger.Event) error {
			found, ok = e, true
			return nil
		})
	})
	if err != nil {
		err = fmt.Errorf("looking for event %s: %w", id.Short(), err)
	}
	return found, ok, err
}

// Correction returns the correction of an event that counts, the last one;
// false where nobody corrected it.
func (l *Ledger) Correction(ctx context.Context, of ledger.ID) (found ledger.Event, ok bool, err error) {
	err = l.Look(ctx, func(q Querier) error {
		return EachEvent(ctx, q, `corrects = $1 ORDER BY ord DESC LIMIT 1`, []any{of[:]}, func(e ledger.Event) error {
			found, ok = e, true
			return nil
		})
	})
	if err != nil {
		err = fmt.Errorf("looking for corrections of event %s: %w", of.Short(), err)
	}
	return found, ok, err
}
