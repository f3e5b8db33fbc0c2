package store

import (
	"context"
	"database/sql"
	"fmt"
	"strings"
	"time"

	"cardwright/verify/ledger"
	"cardwright/verify/ledger/known"
)

// Believe says whose events count in answers: writers, each with the last moment
// at which what came in from it still counts (zero: no end). nil: everybody's.
func (l *Ledger) Believe(writers map[string]time.Time) { l.believed = writers }

// Trust is whose events count, as Believe said; nil where everybody's do.
func (l *Ledger) Trust(ctx context.Context, q Querier) (known.Trust, error) {
	if l.believed == nil {
		return nil, nil
	}
	late := map[ledger.ID]bool{}
	for writer, until := range l.believed {
		if until.IsZero() {
			continue
		}
		query := `SELECT e.id FROM event e JOIN chain c ON c.no = e.chain
			WHERE c.writer = $1 AND e.no >= (SELECT min(a.no) FROM arrival a WHERE a.at > $2)`
		err := Each(ctx, q, query, []any{writer, timeText(until)}, func(r *sql.Rows) error {
			var id []byte
			err := r.Scan(&id)
			late[toID(id)] = true
			return err
		})
		if err != nil {
			return nil, err
		}
	}
	return func(e *ledger.Event) bool {
		_, ok := l.believed[e.Statement.Writer]
		return ok && !late[e.ID]
	}, nil
}

// Untrusted gives a condition on a column with an event's number: that the event
// counts; and the vessels that events which don't are about. Both are empty where
// every event counts.
func (l *Ledger) Untrusted(ctx context.Context, q Querier) (counts string, vessels []string, err error) {
	if l.believed == nil {
		return "", nil, nil
	}
	chains, err := chainsOf(ctx, q)
	if err != nil {
		return "", nil, err
	}
	var parts []string
	for _, c := range chains {
		until, ok := l.believed[c.writer]
		switch {
		case !ok:
			parts = append(parts, fmt.Sprintf("chain = %d", c.no))
		case !until.IsZero():
			parts = append(parts, fmt.Sprintf("chain = %d AND no >= (SELECT min(a.no) FROM arrival a WHERE a.at > '%s')", c.no, timeText(until)))
		}
	}
	if len(parts) == 0 {
		return "", nil, nil
	}
	where := "(" + strings.Join(parts, ") OR (") + ")"
	err = Each(ctx, q, "SELECT DISTINCT vessel FROM event WHERE "+where+" ORDER BY vessel", nil, func(r *sql.Rows) error {
		var vessel string
		err := r.Scan(&vessel)
		vessels = append(vessels, vessel)
		return err
	})
	return "NOT IN (SELECT no FROM event WHERE " + where + ")", vessels, err
}
