package store

import (
	"context"
	"database/sql"
	"fmt"
	"strings"
	"time"

	"cardwright/verify/ledger"
)

// Heads gives the last event of every chain. Saved away from the ledger, they
// show later whether a tail was removed.
func (l *Ledger) Heads(ctx context.Context) (ledger.Heads, error) {
	h := ledger.Heads{Format: 1, Ledger: l.id, Taken: time.Now().UTC().Truncate(time.Second)}
	err := l.Look(ctx, func(q Querier) (err error) {
		h.Heads, err = headsIn(ctx, q)
		return err
	})
	if err != nil {
		return ledger.Heads{}, fmt.Errorf("reading the heads of ledger %s: %w", l.place, err)
	}
	return h, nil
}

func headsIn(ctx context.Context, q Querier) (heads []ledger.Head, err error) {
	chains, err := chainsOf(ctx, q)
	if err != nil {
		return nil, err
	}
	for _, c := range chains {
		head, ok, err := headOf(ctx, q, c.no)
		if err != nil {
			return nil, err
		}
		if ok {
			head.Writer, head.Chain = c.writer, c.name
			heads = append(heads, head)
		}
	}
	return heads, nil
}

// remember keeps another ledger's heads, so that a check shows what was
// removed here since.
func (l *Ledger) remember(ctx context.Context, h ledger.Heads) error {
	var rows [][]any
	for _, head := range h.Heads {
		rows = append(rows, []any{h.Ledger, head.Writer, head.Chain, head.Seq, head.ID[:], timeText(h.Taken)})
	}
	return l.write(ctx, func(t *tx) error {
		return t.insert(ctx, "witness", "ledger, writer, chain, seq, id, taken",
			` ON CONFLICT (ledger, writer, chain) DO UPDATE SET seq = excluded.seq, id = excluded.id, taken = excluded.taken`, rows, nil)
	})
}

func witnesses(ctx context.Context, q Querier) ([]ledger.Heads, error) {
	var list []ledger.Heads
	err := Each(ctx, q, fmt.Sprintf(`SELECT ledger, writer, chain, seq, id, taken FROM witness ORDER BY taken DESC, ledger, writer, chain LIMIT %d`, ledger.MaxHeads), nil, func(r *sql.Rows) error {
		var from, taken string
		var h ledger.Head
		var id []byte
		if err := r.Scan(&from, &h.Writer, &h.Chain, &h.Seq, &id, &taken); err != nil {
			return err
		}
		h.ID = toID(id)
		at, err := parseTime(taken)
		list = append(list, ledger.Heads{Ledger: from, Taken: at, Heads: []ledger.Head{h}})
		return err
	})
	return list, err
}

// LeastDigits of an event's id name it.
const LeastDigits = 8

// Find returns the events whose ids begin with some hex digits, at most two:
// whoever asks wants one.
func (l *Ledger) Find(ctx context.Context, digits string) ([]ledger.Event, error) {
	low, err1 := ledger.ParseID(pad(digits, "0"))
	high, err2 := ledger.ParseID(pad(digits, "f"))
	if len(digits) < LeastDigits || err1 != nil || err2 != nil {
		return nil, fmt.Errorf("event %.80q: expected %d to 64 lower-case hex digits, as audit vessel shows them", digits, LeastDigits)
	}
	var found []ledger.Event
	err := l.Look(ctx, func(q Querier) error {
		return EachEvent(ctx, q, `id >= $1 AND id <= $2 ORDER BY id LIMIT 2`, []any{low[:], high[:]}, func(e ledger.Event) error {
			found = append(found, e)
			return nil
		})
	})
	if err != nil {
		return nil, fmt.Errorf("looking for event %s: %w", digits, err)
	}
	return found, nil
}

func pad(digits, with string) string {
	return digits + strings.Repeat(with, max(0, 64-len(digits)))
}
