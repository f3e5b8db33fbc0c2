package store

import (
	"bytes"
	"context"
	"database/sql"
	"errors"
	"runtime"
	"slices"
	"time"

	"golang.org/x/sync/errgroup"

	"cardwright/verify/ledger"
)

// put stores events that were verified, and what they say. Those that are
// there already are left alone. It returns how many were new.
func (t *tx) put(ctx context.Context, events []ledger.Event) (int, error) {
	added, err := t.insertEvents(ctx, events)
	if err != nil || len(added) == 0 {
		return 0, err
	}
	if t.engine == postgresEngine { // it says by itself when they came, and holds nothing else
		return len(added), nil
	}
	if err := t.insert(ctx, "arrival", "no, at", " ON CONFLICT (no) DO UPDATE SET at = excluded.at", [][]any{{added[0].no, timeText(time.Now())}}, nil); err != nil {
		return 0, err
	}
	return len(added), t.putAll(ctx, added)
}

// putAll stores all that events say that are in the ledger.
func (t *tx) putAll(ctx context.Context, added []placed) error {
	return errors.Join(t.putSeen(ctx, added), t.putSays(ctx, added))
}

// putSeen stores what writers had seen of other chains.
func (t *tx) putSeen(ctx context.Context, added []placed) error {
	var rows [][]any
	for _, p := range added {
		rows = append(rows, seenRows(p.Event)...)
	}
	return t.insert(ctx, "seen", seenColumns, " ON CONFLICT (chain, other, seq) DO NOTHING", rows, nil)
}

// putSays stores what events say that are in the ledger.
func (t *tx) putSays(ctx context.Context, added []placed) error {
	families, err := t.families(ctx, added)
	if err != nil {
		return err
	}
	touched := touched{devices: map[deviceKey]bool{}, vessels: map[string]bool{}}
	var out says
	for _, p := range added {
		if p.Statement.Entry.Vessel != "" {
			touched.vessels[p.Statement.Entry.Vessel] = true
		}
		if !families[p.ID] && p.Statement.Entry.Correction == nil {
			out.add(saysOf(p))
		}
	}
	for _, target := range sortedIDs(families) {
		stands, err := t.settleFamily(ctx, target, &touched)
		if err != nil {
			return err
		}
		out.add(stands)
	}
	touched.note(out)
	if err := t.insertSays(ctx, out); err != nil {
		return err
	}
	return t.refresh(ctx, touched)
}

func (s *says) add(more says) {
	s.sightings = append(s.sightings, more.sightings...)
	s.readings = append(s.readings, more.readings...)
	s.carried = append(s.carried, more.carried...)
}

func (t *tx) insertSays(ctx context.Context, s says) error {
	return errors.Join(
		t.insert(ctx, "sighting", sightingColumns, "", s.sightings, nil),
		t.insert(ctx, "reading", readingColumns, "", s.readings, nil),
		t.insert(ctx, "carried", carriedColumns, "", s.carried, nil),
	)
}

func (t *tx) insertEvents(ctx context.Context, events []ledger.Event) ([]placed, error) {
	chains := map[[2]string]int64{}
	byID := map[ledger.ID]*ledger.Event{}
	rows := make([][]any, len(events))
	for i := range events {
		e := &events[i]
		key := [2]string{e.Statement.Writer, e.Statement.Chain}
		no, ok := chains[key]
		if !ok {
			var err error
			if no, err = t.chain(ctx, key); err != nil {
				return nil, err
			}
			chains[key] = no
		}
		rows[i] = eventRow(e, no)
		byID[e.ID] = e
	}
	var added []placed
	err := t.insert(ctx, "event", eventColumns, " ON CONFLICT (id) DO NOTHING RETURNING no, id", rows, func(r *sql.Rows) error {
		var no int64
		var id []byte
		err := r.Scan(&no, &id)
		added = append(added, placed{no, byID[ledger.ID(id)]})
		return err
	})
	slices.SortFunc(added, func(a, b placed) int { return int(a.no - b.no) })
	return added, err
}

// chain finds the number of a chain, or gives it one.
func (t *tx) chain(ctx context.Context, key [2]string) (int64, error) {
	var no int64
	err := t.QueryRowContext(ctx, `SELECT no FROM chain WHERE writer = $1 AND name = $2`, key[0], key[1]).Scan(&no)
	if errors.Is(err, sql.ErrNoRows) {
		query := `INSERT INTO chain (writer, name, own) VALUES ($1, $2, 0) RETURNING no`
		if t.engine == postgresEngine { // nobody says there which chain is whose own
			query = `INSERT INTO chain (writer, name) VALUES ($1, $2) RETURNING no`
		}
		err = t.QueryRowContext(ctx, query, key[0], key[1]).Scan(&no)
	}
	return no, err
}

// families are the events whose corrections have to be gone through again: an
// event that is new and was corrected before it came, and one that a new
// correction is of.
func (t *tx) families(ctx context.Context, added []placed) (map[ledger.ID]bool, error) {
	targets := map[ledger.ID]bool{}
	var ids []any
	for _, p := range added {
		if of := corrects(p.Event); of != nil {
			targets[ledger.ID(of)] = true
		}
		ids = append(ids, p.ID[:])
	}
	for part := range slices.Chunk(ids, chunk) {
		query := "SELECT DISTINCT corrects FROM event WHERE corrects IS NOT NULL AND corrects IN " + list(len(part))
		err := Each(ctx, t, query, part, func(r *sql.Rows) error {
			var id []byte
			err := r.Scan(&id)
			targets[ledger.ID(id)] = true
			return err
		})
		if err != nil {
			return nil, err
		}
	}
	return targets, nil
}

// list writes n parameters: ($1, $2, …).
func list(n int) string { return values(1, n) }

func sortedIDs(set map[ledger.ID]bool) []ledger.ID {
	ids := make([]ledger.ID, 0, len(set))
	for id := range set {
		ids = append(ids, id)
	}
	slices.SortFunc(ids, func(a, b ledger.ID) int { return bytes.Compare(a[:], b[:]) })
	return ids
}

// settleFamily takes out what an event and its corrections say, and gives
// what stands of it: what the last correction puts instead. The target may
// not have arrived yet.
func (t *tx) settleFamily(ctx context.Context, target ledger.ID, touched *touched) (says, error) {
	first, err := t.find(ctx, `id = $1`, target[:])
	if err != nil {
		return says{}, err
	}
	members := `IN (SELECT no FROM event WHERE id = $1 OR corrects = $1)`
	if first.isCorrection() { // what it says itself is settled in its own family
		members = `IN (SELECT no FROM event WHERE corrects = $1)`
	}
	if err := t.takeOut(ctx, members, target, touched); err != nil {
		return says{}, err
	}
	last, err := t.find(ctx, `corrects = $1 ORDER BY ord DESC LIMIT 1`, target[:])
	switch {
	case err != nil:
		return says{}, err
	case first.isCorrection():
		return says{}, nil
	case last != nil && first != nil:
		return saysIn(*last, first.Event), nil
	case last != nil:
		return saysOf(*last), nil
	}
	return saysOf(*first), nil
}

func (p *placed) isCorrection() bool { return p != nil && p.Statement.Entry.Correction != nil }

func (t *tx) takeOut(ctx context.Context, members string, target ledger.ID, touched *touched) error {
	if err := touched.noteStored(ctx, t, members, target[:]); err != nil {
		return err
	}
	for _, table := range []string{"sighting", "reading", "carried"} {
		if _, err := t.ExecContext(ctx, "DELETE FROM "+table+" WHERE event "+members, target[:]); err != nil {
			return err
		}
	}
	return nil
}

func (t *tx) find(ctx context.Context, where string, args ...any) (*placed, error) {
	var p *placed
	err := eachPlaced(ctx, t, where, args, func(found placed) error {
		p = &found
		return nil
	})
	return p, err
}

// EachEvent gives the events for which a condition on the table event holds.
// They were checked when they came in and are not checked again.
func EachEvent(ctx context.Context, q Querier, where string, args []any, give func(ledger.Event) error) error {
	return eachPlaced(ctx, q, where, args, func(p placed) error { return give(*p.Event) })
}

// Events are the events for which a condition on the table event holds, read as
// EachEvent reads them, on all processors.
func Events(ctx context.Context, q Querier, where string, args ...any) ([]ledger.Event, error) {
	var rows []signedRow
	err := Each(ctx, q, "SELECT id, content, signature FROM event WHERE "+where, args, func(r *sql.Rows) error {
		var row signedRow
		err := r.Scan(&row.id, &row.content, &row.signature)
		rows = append(rows, row)
		return err
	})
	if err != nil {
		return nil, err
	}
	events := make([]ledger.Event, len(rows))
	var group errgroup.Group
	workers := runtime.GOMAXPROCS(0)
	for w := range workers {
		group.Go(func() (err error) {
			for i := w; i < len(rows) && err == nil; i += workers {
				events[i], err = ledger.Read(toID(rows[i].id), rows[i].content, rows[i].signature)
			}
			return err
		})
	}
	return events, group.Wait()
}

// signedRow is what an event is read from.
type signedRow struct{ id, content, signature []byte }

func eachPlaced(ctx context.Context, q Querier, where string, args []any, give func(placed) error) error {
	return Each(ctx, q, "SELECT no, id, content, signature FROM event WHERE "+where, args, func(r *sql.Rows) error {
		var no int64
		var id, content, signature []byte
		if err := r.Scan(&no, &id, &content, &signature); err != nil {
			return err
		}
		e, err := ledger.Read(toID(id), content, signature)
		if err != nil {
			return err
		}
		return give(placed{no, &e})
	})
}
