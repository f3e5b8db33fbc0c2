package store

import (
	"context"
	"errors"
	"fmt"
	"time"

	"cardwright/verify/ledger"
)

// CheckNew is Check for a ledger whose events were all read before, at checked,
// and which holds since: of a file nothing else has written to it, of a server what
// came since was verified. It reads no event again.
func (l *Ledger) CheckNew(ctx context.Context, o CheckOptions, checked time.Time) (CheckReport, error) {
	c := &check{known: o.Known, words: o.Words, clocks: newClocks(), report: CheckReport{
		Format: 1, Ledger: l.id, Place: l.place, Checked: &checked,
		Chains: []ChainReport{}, Breaks: []ledger.Break{}, Notes: []string{tailNote},
	}}
	if o.Known == nil {
		c.report.Notes = append(c.report.Notes, writerNote)
	}
	err := l.Look(ctx, func(q Querier) error {
		chains, err := chainsOf(ctx, q)
		if err != nil {
			return err
		}
		for _, ch := range chains {
			if err := c.counted(ctx, q, ch); err != nil {
				return err
			}
		}
		witnessed, err := witnesses(ctx, q)
		for _, h := range append(witnessed, o.Saved...) {
			err = errors.Join(err, c.heads(ctx, q, h))
		}
		return err
	})
	if err != nil {
		return CheckReport{}, fmt.Errorf("checking ledger %s: %w", l.place, err)
	}
	if l.beside != nil {
		for _, broken := range l.beside.report.Breaks {
			c.add(broken)
		}
	}
	c.conclude()
	return c.report, nil
}

// counted reports a chain without reading its events.
func (c *check) counted(ctx context.Context, q Querier, ch chainRow) error {
	r := c.begin(ch)
	if err := q.QueryRowContext(ctx, `SELECT count(*) FROM event WHERE chain = $1`, ch.no).Scan(&r.Events); err != nil {
		return err
	}
	head, _, err := headOf(ctx, q, ch.no)
	r.Head.Seq, r.Head.ID = head.Seq, head.ID
	c.report.Events += r.Events
	return err
}
