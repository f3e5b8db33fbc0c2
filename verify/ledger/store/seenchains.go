package store

import (
	"context"
	"database/sql"
	"fmt"
	"slices"
	"strings"

	"cardwright/verify/ledger"
	"cardwright/verify/ledger/known"
)

// chainPlace is a place in a chain.
type chainPlace struct {
	chain ledger.ChainID
	seq   int64
}

// sightings are questions about what places in chains had seen of others.
type sightings struct {
	want map[sighting]bool
}

type sighting struct {
	at    chainPlace
	other ledger.ChainID
}

// between asks for what all places had seen of one another's chains.
func (s *sightings) between(places []chainPlace) {
	var chains []ledger.ChainID
	for _, p := range places {
		if !slices.Contains(chains, p.chain) {
			chains = append(chains, p.chain)
		}
	}
	if len(chains) < 2 {
		return
	}
	if s.want == nil {
		s.want = map[sighting]bool{}
	}
	for _, p := range places {
		for _, other := range chains {
			if other != p.chain {
				s.want[sighting{p, other}] = true
			}
		}
	}
}

func (s *sightings) ask(ctx context.Context, q Querier) (*known.Seen, error) {
	seen := &known.Seen{}
	list := make([]sighting, 0, len(s.want))
	for w := range s.want {
		list = append(list, w)
	}
	for part := range slices.Chunk(list, chunk) {
		var rows []string
		var args []any
		for _, w := range part {
			n := len(args)
			rows = append(rows, fmt.Sprintf("(CAST($%d AS text), CAST($%d AS bigint), CAST($%d AS text), CAST($%d AS bigint))", n+1, n+2, n+3, n+4))
			args = append(args, chainText(w.at.chain), w.at.seq, chainText(w.other), int64(n/4))
		}
		query := `WITH w (chain, seq, other, n) AS (VALUES ` + strings.Join(rows, ", ") + `)
			SELECT w.n, (SELECT s.upto FROM seen s WHERE s.chain = w.chain AND s.other = w.other AND s.seq <= w.seq ORDER BY s.seq DESC LIMIT 1) FROM w`
		err := Each(ctx, q, query, args, func(r *sql.Rows) error {
			var n int64
			var upTo sql.NullInt64
			err := r.Scan(&n, &upTo)
			if err == nil && upTo.Valid {
				w := part[n]
				seen.Add(w.at.chain, w.at.seq, w.other, upTo.Int64)
			}
			return err
		})
		if err != nil {
			return nil, err
		}
	}
	return seen, nil
}

// SeenAmong is what the writers of some events had seen of one another's chains
// when they wrote these.
func SeenAmong(ctx context.Context, q Querier, events []ledger.Event) (*known.Seen, error) {
	places := make([]chainPlace, len(events))
	for i := range events {
		s := &events[i].Statement
		places[i] = chainPlace{ledger.ChainKey(s.Writer, s.Chain), s.Seq}
	}
	var want sightings
	want.between(places)
	return want.ask(ctx, q)
}

// newlySeen are the heads of other chains that came in since the last event of
// the writer's own chain, number last here (0: it has none).
func newlySeen(ctx context.Context, q Querier, own string, writer string, last int64) ([]ledger.Seen, error) {
	var list []ledger.Seen
	query := fmt.Sprintf(`SELECT c.writer, c.name, e.seq, e.id FROM chain c
		JOIN event e ON e.no = (SELECT h.no FROM event h WHERE h.chain = c.no ORDER BY h.seq DESC, h.id DESC LIMIT 1)
		WHERE e.no > $1 AND NOT (c.writer = $2 AND c.name = $3) ORDER BY e.no DESC LIMIT %d`, ledger.MaxSeen)
	err := Each(ctx, q, query, []any{last, writer, own}, func(r *sql.Rows) error {
		var s ledger.Seen
		var id []byte
		err := r.Scan(&s.Writer, &s.Chain, &s.Seq, &id)
		s.ID = toID(id).String()
		list = append(list, s)
		return err
	})
	slices.SortFunc(list, func(a, b ledger.Seen) int { return strings.Compare(a.Writer+a.Chain, b.Writer+b.Chain) })
	return list, err
}
