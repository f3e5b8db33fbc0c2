package store

import (
	"context"
	"crypto/sha256"
	"database/sql"
	"encoding/hex"
	"errors"
	"fmt"
	"time"

	"cardwright/verify/ledger"
)

// maxAppend is the most entries that are appended at once.
const maxAppend = 10_000

// Writer is who appends: the shop, the person, and the key of this laptop.
type Writer struct {
	Shop       string
	Technician string
	Signer     ledger.Signer
	Now        func() time.Time // nil: the clock
}

func (w Writer) now() time.Time {
	now := time.Now
	if w.Now != nil {
		now = w.Now
	}
	return now().UTC().Truncate(time.Second)
}

// Append signs entries, links them to the writer's chain and stores them: all
// of them, or none. When it returns without an error they are on the disk.
//
// An error wrapping ErrUncertain means that a server went away while it was
// committing.
func (l *Ledger) Append(ctx context.Context, w Writer, entries ...ledger.Entry) ([]ledger.Event, error) {
	events, err := l.append(ctx, w, "", entries)
	if err != nil {
		return nil, fmt.Errorf("appending to ledger %s: %w", l.place, err)
	}
	return events, nil
}

// AppendVisit appends the entries of a visit as Append does. Where the ledger
// has the visit already it returns ErrRecorded; of two that append one visit at
// the same time one gets it.
func (l *Ledger) AppendVisit(ctx context.Context, w Writer, visit string, entries ...ledger.Entry) ([]ledger.Event, error) {
	events, err := l.append(ctx, w, visit, entries)
	if err != nil {
		return nil, fmt.Errorf("appending to ledger %s: %w", l.place, err)
	}
	return events, nil
}

// append appends entries; those of a visit (not "") only once.
func (l *Ledger) append(ctx context.Context, w Writer, visit string, entries []ledger.Entry) ([]ledger.Event, error) {
	if err := validateAll(entries); err != nil {
		return nil, err
	}
	var events []ledger.Event
	err := l.write(ctx, func(t *tx) error {
		return l.held(ctx, t, func(q Querier) error {
			there, err := hasVisit(ctx, q, visit)
			if err != nil {
				return err
			}
			if there {
				return ErrRecorded
			}
			if events, err = l.sign(ctx, t, q, w, entries); err != nil {
				return err
			}
			_, err = t.put(ctx, events)
			return err
		})
	})
	var commit *commitError
	if errors.As(err, &commit) {
		err = l.settleCommit(ctx, events, err)
	}
	return events, err
}

func validateAll(entries []ledger.Entry) error {
	if n := len(entries); n == 0 || n > maxAppend {
		return fmt.Errorf("%d entries, expected 1 to %d", n, maxAppend)
	}
	var errs []error
	for i := range entries {
		if err := entries[i].Validate(); err != nil {
			errs = append(errs, fmt.Errorf("entry %d (%s): %w", i+1, entries[i].Kind, err))
		}
	}
	return errors.Join(errs...)
}

// settleCommit looks whether a commit that failed was carried out all the
// same. It takes the writers' lock first, which the lost transaction holds
// until it has ended one way or the other.
func (l *Ledger) settleCommit(ctx context.Context, events []ledger.Event, failed error) error {
	if l.engine != postgresEngine {
		return failed
	}
	ctx, cancel := context.WithTimeout(context.WithoutCancel(ctx), connectTimeout)
	defer cancel()
	var there bool
	last := events[len(events)-1].ID
	err := l.write(ctx, func(t *tx) error {
		return t.QueryRowContext(ctx, `SELECT EXISTS (SELECT 1 FROM event WHERE id = $1)`, last[:]).Scan(&there)
	})
	switch {
	case err != nil:
		return fmt.Errorf("%w (%w)", ErrUncertain, failed)
	case there:
		return nil
	}
	return failed
}

// held asks what a writing transaction is to build on. On a server those are the
// events that hold, in the copy: what else stands there anybody may have put in.
func (l *Ledger) held(ctx context.Context, t *tx, ask func(Querier) error) error {
	if l.engine == postgresEngine {
		return l.Look(ctx, ask)
	}
	return ask(t)
}

// sign makes events of entries, at the end of the writer's own chain.
func (l *Ledger) sign(ctx context.Context, t *tx, q Querier, w Writer, entries []ledger.Entry) ([]ledger.Event, error) {
	writer := ledger.Writer(w.Signer.Public())
	own := t.ownChain
	if l.engine == postgresEngine {
		own = func(ctx context.Context, writer string) (string, ledger.Head, int64, error) {
			return l.ownOnServer(ctx, t, q, writer)
		}
	}
	name, head, no, err := own(ctx, writer)
	if err != nil {
		return nil, err
	}
	seen, err := newlySeen(ctx, q, name, writer, no)
	if err != nil {
		return nil, err
	}
	s := ledger.Statement{Chain: name, Shop: w.Shop, Technician: w.Technician, Written: w.now()}
	events := make([]ledger.Event, len(entries))
	for i, e := range entries {
		s.Entry, s.Seq, s.Prev, s.Seen = e, head.Seq+1, "", nil
		if i == 0 {
			s.Seen = seen
		}
		if head.Seq > 0 {
			s.Prev = head.ID.String()
		}
		if events[i], err = ledger.Draft(s, w.Signer.Public()); err != nil {
			return nil, fmt.Errorf("entry %d (%s): %w", i+1, e.Kind, err)
		}
		head = ledger.Head{Seq: s.Seq, ID: events[i].ID}
	}
	return events, ledger.SignAll(events, w.Signer)
}

// ownChain finds the chain that this writer appends to in this ledger, its
// head, and the head's number here; the first time it names a new one.
func (t *tx) ownChain(ctx context.Context, writer string) (name string, head ledger.Head, last int64, err error) {
	var no int64
	err = t.QueryRowContext(ctx, `SELECT no, name FROM chain WHERE writer = $1 AND own = 1`, writer).Scan(&no, &name)
	if errors.Is(err, sql.ErrNoRows) {
		name = ledger.NewChain()
		_, err = t.ExecContext(ctx, `INSERT INTO chain (writer, name, own) VALUES ($1, $2, 1)`, writer, name)
		return name, head, 0, err
	}
	if err != nil {
		return "", head, 0, err
	}
	head, last, err = lastOf(ctx, t, no)
	return name, head, last, err
}

// lastOf is the last event of a chain, and its number here; zero where it has none.
func lastOf(ctx context.Context, q Querier, chain int64) (head ledger.Head, last int64, err error) {
	err = q.QueryRowContext(ctx, `SELECT coalesce(max(no), 0) FROM event WHERE chain = $1 AND seq = (SELECT max(seq) FROM event WHERE chain = $1)`, chain).Scan(&last)
	if err != nil {
		return head, 0, err
	}
	head, _, err = headOf(ctx, q, chain)
	return head, last, err
}

// ownOnServer is ownChain for a server, where nobody can be kept from writing a
// chain's name: a writer's own are named by the ledger and the writer's key, one
// after another. A new one is begun where the server has lost the end of the last,
// which others may still have. Before this rule the row itself said which is its
// writer's own.
func (l *Ledger) ownOnServer(ctx context.Context, t *tx, q Querier, writer string) (name string, head ledger.Head, last int64, err error) {
	err = t.QueryRowContext(ctx, `SELECT name FROM chain WHERE writer = $1 AND own = 1 ORDER BY no LIMIT 1`, writer).Scan(&name)
	if err != nil && !errors.Is(err, sql.ErrNoRows) {
		return "", head, 0, err
	}
	for n := 0; ; n++ {
		next := serverChain(l.id, writer, n)
		if name != "" {
			if head, last, err = lastNamed(ctx, q, writer, name); err != nil {
				return "", head, 0, err
			}
			there, err := hasEvent(ctx, t, head)
			if err != nil {
				return "", head, 0, err
			}
			there = there && !l.beside.gaveUp(writer, name)
			begun, err := hasChain(ctx, writer, next, t, q)
			if err != nil || there && !begun {
				return name, head, last, err
			}
		}
		name = next
		if n == ledger.MaxHeads {
			return "", head, 0, fmt.Errorf("%w: more than %d chains of one writer", ErrSchema, n)
		}
	}
}

// serverChain names the chain that a writer appends to on a server, its nth.
func serverChain(id, writer string, n int) string {
	sum := sha256.Sum256(fmt.Appendf(nil, "cardwright chain %s %s %d", id, writer, n))
	return hex.EncodeToString(sum[:16])
}

func lastNamed(ctx context.Context, q Querier, writer, name string) (head ledger.Head, last int64, err error) {
	var no int64
	err = q.QueryRowContext(ctx, `SELECT no FROM chain WHERE writer = $1 AND name = $2`, writer, name).Scan(&no)
	if errors.Is(err, sql.ErrNoRows) {
		return head, 0, nil
	}
	if err != nil {
		return head, 0, err
	}
	return lastOf(ctx, q, no)
}

// hasEvent reports whether a chain's last event is there; of one without events it
// is.
func hasEvent(ctx context.Context, q Querier, head ledger.Head) (there bool, err error) {
	if head.Seq == 0 {
		return true, nil
	}
	err = q.QueryRowContext(ctx, `SELECT EXISTS (SELECT 1 FROM event WHERE id = $1)`, head.ID[:]).Scan(&there)
	return there, err
}

func hasChain(ctx context.Context, writer, name string, in ...Querier) (bool, error) {
	for _, q := range in {
		var there bool
		err := q.QueryRowContext(ctx, `SELECT EXISTS (SELECT 1 FROM chain WHERE writer = $1 AND name = $2)`, writer, name).Scan(&there)
		if err != nil || there {
			return there, err
		}
	}
	return false, nil
}

// headOf returns the last event of a chain; false where it has none.
func headOf(ctx context.Context, q Querier, chain int64) (ledger.Head, bool, error) {
	var h ledger.Head
	var id []byte
	err := q.QueryRowContext(ctx, `SELECT seq, id FROM event WHERE chain = $1 ORDER BY seq DESC, id DESC LIMIT 1`, chain).Scan(&h.Seq, &id)
	if errors.Is(err, sql.ErrNoRows) {
		return h, false, nil
	}
	copy(h.ID[:], id)
	return h, err == nil, err
}
