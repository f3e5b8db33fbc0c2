package store

import (
	"context"
	"errors"
	"fmt"
	"time"

	"cardwright/verify/ledger"
)

// ErrNothingLost says that a ledger has all that it is remembered to have had.
var ErrNothingLost = errors.New("there is nothing to accept: no event is missing")

// Accept takes an older state of the ledger for the ledger, on somebody's word: the
// heads that were there before are asked for no more. Writers whose events are gone
// begin new chains, since the old ones may still stand somewhere and go on. Of a
// file was is what is remembered, and the caller remembers the outcome; of a server
// the copy with the events is put aside, and a new one begun.
func (l *Ledger) Accept(ctx context.Context, was Remembered, why string) (Accepted, error) {
	a := Accepted{At: time.Now().UTC().Truncate(time.Second), Why: why}
	var err error
	if l.engine == postgresEngine {
		err = l.acceptServer(ctx, &a)
	} else {
		err = l.acceptFile(ctx, was, &a)
	}
	if err != nil {
		return a, fmt.Errorf("accepting ledger %s as it stands: %w", l.place, err)
	}
	return a, nil
}

func (l *Ledger) acceptFile(ctx context.Context, was Remembered, a *Accepted) (err error) {
	err = l.look(ctx, func(q Querier) (err error) {
		a.Lost, err = lostOf(ctx, q, was.Heads.Heads)
		return err
	})
	if err != nil {
		return err
	}
	return l.write(ctx, func(t *tx) error {
		for _, h := range a.Lost {
			if _, err := t.ExecContext(ctx, `UPDATE chain SET own = 0 WHERE writer = $1 AND name = $2`, h.Writer, h.Chain); err != nil {
				return err
			}
		}
		return nil
	})
}

// lostOf are those of some heads that a ledger hasn't; ErrNothingLost where there
// are none.
func lostOf(ctx context.Context, q Querier, heads []ledger.Head) (lost []ledger.Head, err error) {
	there, err := present(ctx, q, heads)
	if err != nil {
		return nil, err
	}
	for _, h := range heads {
		if !there[h.ID] {
			lost = append(lost, h)
		}
	}
	if len(lost) == 0 {
		return nil, ErrNothingLost
	}
	return lost, nil
}

func (l *Ledger) acceptServer(ctx context.Context, a *Accepted) error {
	if _, err := l.follow(ctx); err != nil {
		return err
	}
	b := l.beside
	err := l.look(ctx, func(q Querier) (err error) {
		a.Lost, err = lostOf(ctx, q, b.was.Heads.Heads)
		return err
	})
	if err != nil {
		return err
	}
	was := b.was.Accepted
	if err := b.close(); err != nil {
		return err
	}
	l.beside = nil
	if b.memory != "" {
		if a.Kept, err = b.putAside(); err != nil {
			return err
		}
		if err := (Remembered{Ledger: l.id, Accepted: accepted(was, *a)}).Save(RememberedIn(b.memory)); err != nil {
			return err
		}
	}
	_, err = l.follow(ctx)
	return err
}

// gaveUp reports whether the end of a chain is gone on the server, and was accepted to
// be.
func (b *beside) gaveUp(writer, chain string) bool {
	for _, a := range b.was.Accepted {
		for _, h := range a.Lost {
			if h.Writer == writer && h.Chain == chain {
				return true
			}
		}
	}
	return false
}

// accepted adds an older state to those that were accepted before.
func accepted(was []Accepted, a Accepted) []Accepted {
	was = append(was, a)
	return was[max(0, len(was)-maxAccepted):]
}

// Accept adds an older state to what is remembered.
func (r *Remembered) Accept(a Accepted) { r.Accepted = accepted(r.Accepted, a) }
