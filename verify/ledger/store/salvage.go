package store

import (
	"context"
	"errors"
	"fmt"

	"cardwright/verify/ledger"
)

// SalvageReport says what was salvaged. The check of the new ledger (ledger.Walk) names
// the gaps: the events that are missing from each chain.
type SalvageReport struct {
	Format  int         `json:"format"`
	From    string      `json:"from"`
	To      string      `json:"to"`
	Pages   int64       `json:"pages"`
	Taken   int         `json:"taken"`   // events that hold
	Unsound int         `json:"unsound"` // events that are there but don't hold, and no copy of them does
	Check   CheckReport `json:"check"`   // of the new ledger
}

// Salvage takes every event that holds out of a ledger file, however damaged
// or edited the file is, into a new ledger. The old file is only read.
func Salvage(ctx context.Context, file, path string, o CheckOptions) (SalvageReport, error) {
	r := SalvageReport{Format: 1, From: file, To: path}
	if err := salvage(ctx, file, path, o, &r); err != nil {
		return r, fmt.Errorf("salvaging %s: %w", file, inPlace(path, err))
	}
	return r, nil
}

func salvage(ctx context.Context, file, path string, o CheckOptions, r *SalvageReport) error {
	if err := mustBeFree(path); err != nil {
		return err
	}
	p, err := openPages(file)
	if err != nil {
		return err
	}
	defer p.close()
	temp, err := tempBeside(path)
	if err != nil {
		return err
	}
	defer removeDatabase(temp)
	if err := fill(ctx, p, temp, r); err != nil {
		return err
	}
	if _, r.Check, err = readBack(ctx, temp, o); err != nil {
		return err
	}
	r.Check.Place = path
	return nameNew(temp, path)
}

func fill(ctx context.Context, p *pages, temp string, r *SalvageReport) (err error) {
	if err := makeLedger(ctx, temp); err != nil {
		return explainSQLite(err)
	}
	to, err := openSQLite(ctx, temp, Options{})
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, to.settleFile(ctx), to.Close()) }()
	s := salvager{to: to, report: r}
	if err := p.each(func(page []byte) error {
		r.Pages++
		if err := ctx.Err(); err != nil {
			return err
		}
		return p.events(page, func(f found) error { return s.take(ctx, f) })
	}); err != nil {
		return err
	}
	if err := s.flush(ctx); err != nil {
		return err
	}
	return s.countLost(ctx)
}

// salvager collects events and stores them in batches.
type salvager struct {
	to      *Ledger
	report  *SalvageReport
	events  []ledger.Event
	size    int
	unsound map[ledger.ID]bool // at most maxUnsound
}

// maxUnsound is how many ids of unsound events are held; of more, every place
// counts.
const maxUnsound = 100_000

// note remembers an unsound event. Where rows were moved, a database has
// remains of them in its pages: what they were may be there whole.
func (s *salvager) note(id ledger.ID) {
	switch {
	case s.unsound[id]:
	case len(s.unsound) == maxUnsound:
		s.report.Unsound++
	default:
		if s.unsound == nil {
			s.unsound = map[ledger.ID]bool{}
		}
		s.unsound[id] = true
	}
}

// countLost counts the unsound events of which no sound copy was found.
func (s *salvager) countLost(ctx context.Context) error {
	return s.to.Look(ctx, func(q Querier) error {
		for id := range s.unsound {
			var there bool
			if err := q.QueryRowContext(ctx, `SELECT EXISTS (SELECT 1 FROM event WHERE id = $1)`, id[:]).Scan(&there); err != nil {
				return err
			}
			if !there {
				s.report.Unsound++
			}
		}
		return nil
	})
}

func (s *salvager) take(ctx context.Context, f found) error {
	e, err := ledger.Verify(f.id, f.content, f.signature)
	if err != nil {
		s.note(f.id)
		return nil
	}
	s.events = append(s.events, e)
	s.size += len(f.content)
	if len(s.events) < batch && s.size < batchBytes {
		return nil
	}
	return s.flush(ctx)
}

func (s *salvager) flush(ctx context.Context) error {
	if len(s.events) == 0 {
		return nil
	}
	var added int
	err := s.to.write(ctx, func(t *tx) (err error) {
		added, err = t.put(ctx, s.events)
		return err
	})
	s.report.Taken += added
	s.events, s.size = nil, 0
	return err
}

// CheckAt checks the ledger at an address, also one that can't be opened any
// longer: then the report says whether it was damaged or changed.
func CheckAt(ctx context.Context, address string, o CheckOptions) (r CheckReport, err error) {
	l, err := Open(ctx, address, Options{ReadOnly: true})
	if err == nil {
		defer func() { err = errors.Join(err, l.Close()) }()
		return l.Check(ctx, o)
	}
	c := &check{known: o.Known, words: o.Words, report: CheckReport{
		Format: 1, Place: redacted(address), Chains: []ChainReport{}, Breaks: []ledger.Break{}, Notes: []string{tailNote},
	}}
	switch {
	case errors.Is(err, ErrDamaged), errors.Is(err, ErrNotLedger) && holdsEvents(ctx, address):
		c.damaged(err.Error())
	case errors.Is(err, ErrSchema):
		c.spoiled(err.Error())
	default:
		return CheckReport{}, err
	}
	c.conclude()
	return c.report, nil
}

var errFound = errors.New("found one")

// holdsEvents reports whether a file that isn't a database any longer still
// holds an event.
func holdsEvents(ctx context.Context, file string) bool {
	p, err := openPages(file)
	if err != nil {
		return false
	}
	defer p.close()
	err = p.each(func(page []byte) error {
		if err := ctx.Err(); err != nil {
			return err
		}
		return p.events(page, func(f found) error {
			if _, err := ledger.Verify(f.id, f.content, f.signature); err == nil {
				return errFound
			}
			return nil
		})
	})
	return errors.Is(err, errFound)
}
