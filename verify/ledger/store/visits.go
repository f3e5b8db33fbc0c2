package store

import (
	"context"
	"database/sql"
	"fmt"
	"time"

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

// HasVisit tells whether a visit was begun in this ledger already, so that a
// filled sheet isn't recorded twice.
func (l *Ledger) HasVisit(ctx context.Context, visit string) (bool, error) {
	var there bool
	err := l.Look(ctx, func(q Querier) error {
		var err error
		there, err = hasVisit(ctx, q, visit)
		return err
	})
	if err != nil {
		return false, fmt.Errorf("looking for visit %s: %w", visit, err)
	}
	return there, nil
}

// VisitsOf are the visits of one sheet, by when they were: that of its name, and
// those that were dated, NAME@DAY.
func (l *Ledger) VisitsOf(ctx context.Context, sheet string) (visits map[string]time.Time, err error) {
	visits = map[string]time.Time{}
	err = l.Look(ctx, func(q Querier) error {
		return Each(ctx, q, `SELECT visit, at FROM event WHERE kind = 'visit begun' AND (visit = $1 OR visit >= $2 AND visit < $3)`,
			[]any{sheet, sheet + "@", sheet + "A"}, func(r *sql.Rows) error {
				var visit, at string
				if err := r.Scan(&visit, &at); err != nil {
					return err
				}
				var err error
				visits[visit], err = parseTime(at)
				return err
			})
	})
	if err != nil {
		err = fmt.Errorf("looking for the visits of sheet %s: %w", sheet, err)
	}
	return visits, err
}

func hasVisit(ctx context.Context, q Querier, visit string) (there bool, err error) {
	if visit == "" {
		return false, nil
	}
	err = q.QueryRowContext(ctx, `SELECT EXISTS (SELECT 1 FROM event WHERE visit = $1 AND kind = 'visit begun')`, visit).Scan(&there)
	return there, err
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
