package store

import (
	"context"
	"database/sql"
	"fmt"
	"time"
)

// HasVisit reports whether a visit was begun in this ledger already, so that a
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
