package audit

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"cardwright/verify/ledger"
	"cardwright/verify/ledger/known"
	"cardwright/verify/ledger/store"
)

// lives is what became of vessels as wholes.
type lives struct {
	known.Names
	gone  map[string]bool // by today's id: no longer served; nothing is due there, and they are no part of the fleet
	named map[string]bool // by today's id: had another name
}

// livesIn reads it. What a vessel had stays in every other answer.
func livesIn(ctx context.Context, l *store.Ledger, q store.Querier) (lives, error) {
	var events []ledger.Event
	collect := func(e ledger.Event) error {
		events = append(events, e)
		return nil
	}
	const kinds = `kind IN (` + store.LifeKinds + `)`
	if err := store.EachEvent(ctx, q, kinds, nil, collect); err != nil || len(events) == 0 {
		return lives{}, err
	}
	if err := store.EachEvent(ctx, q, `corrects IS NOT NULL AND corrects IN (SELECT id FROM event WHERE `+kinds+`)`, nil, collect); err != nil {
		return lives{}, err
	}
	trust, err := l.Trust(ctx, q)
	if err != nil {
		return lives{}, err
	}
	facts, _ := known.Facts(events, trust)
	all := lives{known.Renamed(facts), map[string]bool{}, map[string]bool{}}
	for _, f := range facts {
		switch f.Entry.Kind {
		case ledger.VesselGone:
			all.gone[all.Now(f.Entry.Vessel)] = true
		case ledger.VesselRenamed:
			all.named[all.Now(f.Entry.Vessel)] = true
		}
	}
	return all, nil
}

// Last is the number of a ledger's last event.
func Last(ctx context.Context, l *store.Ledger) (no int64, err error) {
	err = l.Look(ctx, func(q store.Querier) error {
		return q.QueryRowContext(ctx, `SELECT COALESCE(MAX(no), 0) FROM event`).Scan(&no)
	})
	if err != nil {
		err = fmt.Errorf("looking for the last event: %w", err)
	}
	return no, err
}

// Fate is what became of a vessel: sold or gone.
type Fate struct {
	IDs  []string // all of hers, today's first
	Kind ledger.Kind
	At   time.Time
}

// FatesSince are those that came in after an event, and that stand.
func FatesSince(ctx context.Context, l *store.Ledger, no int64) (fates []Fate, err error) {
	err = l.Look(ctx, func(q store.Querier) error {
		all, err := livesIn(ctx, l, q)
		if err != nil {
			return err
		}
		trust, err := l.Trust(ctx, q)
		if err != nil {
			return err
		}
		var events []ledger.Event
		err = store.EachEvent(ctx, q, `no > $1 AND kind IN ('vessel sold', 'vessel gone', 'correction')`, []any{no}, func(e ledger.Event) error {
			events = append(events, e)
			return nil
		})
		facts, _ := known.Facts(events, trust)
		for _, f := range facts {
			if k := f.Entry.Kind; k == ledger.VesselSold || k == ledger.VesselGone {
				fates = append(fates, Fate{all.All(f.Entry.Vessel), k, f.Entry.At})
			}
		}
		return err
	})
	if err != nil {
		err = fmt.Errorf("looking for vessels that were sold or are gone: %w", err)
	}
	return fates, err
}

// IDs are all ids of vessels that a ledger knows.
type IDs struct {
	lives
	noted map[string]bool
}

// Gone reports whether a vessel is no longer served.
func (ids IDs) Gone(id string) bool { return ids.gone[ids.Now(id)] }

// Has reports whether anything was noted under an id.
func (ids IDs) Has(id string) bool { return ids.noted[id] }

// AllIDs reads them.
func AllIDs(ctx context.Context, l *store.Ledger) (IDs, error) {
	ids := IDs{noted: map[string]bool{}}
	err := l.Look(ctx, func(q store.Querier) error {
		all, err := livesIn(ctx, l, q)
		if err != nil {
			return err
		}
		ids.lives = all
		return store.Each(ctx, q, `SELECT DISTINCT vessel FROM event`, nil, func(r *sql.Rows) error {
			var id string
			err := r.Scan(&id)
			ids.noted[id] = true
			return err
		})
	})
	if err != nil {
		err = fmt.Errorf("looking for the ids of vessels: %w", err)
	}
	return ids, err
}

// Vessels are all that a ledger knows, those that are gone too, by today's ids.
func Vessels(ctx context.Context, l *store.Ledger) (vessels []Vessel, err error) {
	err = l.Look(ctx, func(q store.Querier) error {
		again, err := anewIn(ctx, l, q)
		if err != nil {
			return err
		}
		var ids []string
		err = store.Each(ctx, q, `SELECT vessel FROM vessel`, nil, func(r *sql.Rows) error {
			var id string
			err := r.Scan(&id)
			ids = append(ids, again.Now(id))
			return err
		})
		slices.Sort(ids)
		for _, id := range slices.Compact(ids) {
			v := Vessel{ID: id}
			err = errors.Join(err, again.describe(ctx, q, &v))
			vessels = append(vessels, v)
		}
		return err
	})
	if err != nil {
		err = fmt.Errorf("looking for the vessels that are noted: %w", err)
	}
	return vessels, err
}

// among is a condition that a column has one of some ids, with its arguments from
// number first on.
func among(column string, ids []string, first int) (condition string, args []any) {
	numbers := make([]string, len(ids))
	for i, id := range ids {
		numbers[i] = fmt.Sprintf("$%d", first+i)
		args = append(args, id)
	}
	return column + " IN (" + strings.Join(numbers, ", ") + ")", args
}

// markGone marks the vessels that are no longer served; what they had is still shown.
func (u *ReleaseUse) markGone(ctx context.Context, l *store.Ledger, q store.Querier) error {
	all, err := livesIn(ctx, l, q)
	if err != nil {
		return err
	}
	for _, uses := range [][]Use{u.Has, u.Had} {
		for i := range uses {
			uses[i].VesselGone = all.gone[uses[i].Vessel.ID]
		}
	}
	for i := range u.Carried {
		u.Carried[i].VesselGone = all.gone[u.Carried[i].Vessel.ID]
	}
	return nil
}
