package store

import (
	"context"
	"database/sql"
	"fmt"
	"maps"
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

// sightings are questions about what places in chains had seen of other chains.
type sightings []*sighting

// sighting is about places of one chain and of another. How far a chain has seen another
// only grows along it, so that few places are asked about: between two that had seen
// as much, all had.
type sighting struct {
	chain, other ledger.ChainID
	places       []int64 // in the one chain, in order
	least, most  int64   // of the places in the other
	upTo         map[int]int64
}

// between asks for what all places had seen of one another's chains.
func (s *sightings) between(places []chainPlace) {
	chains := map[ledger.ChainID][]int64{}
	for _, p := range places {
		chains[p.chain] = append(chains[p.chain], p.seq)
	}
	if len(chains) < 2 {
		return
	}
	for chain, seqs := range chains {
		slices.Sort(seqs)
		chains[chain] = slices.Compact(seqs)
	}
	for chain, seqs := range chains {
		for other, theirs := range chains {
			if other != chain {
				*s = append(*s, &sighting{chain, other, seqs, theirs[0], theirs[len(theirs)-1], map[int]int64{}})
			}
		}
	}
}

// unseen is how far a place has seen that has seen nothing.
const unseen = 0

// askedPlace is a place of a sighting that is asked about.
type askedPlace struct {
	*sighting
	at int
}

// ask asks about the ends first, and then goes on between places that had seen more
// and less.
func (s sightings) ask(ctx context.Context, q Querier) (*known.Seen, error) {
	var asked []askedPlace
	for _, x := range s {
		asked = append(asked, askedPlace{x, 0})
		if last := len(x.places) - 1; last > 0 {
			asked = append(asked, askedPlace{x, last})
		}
	}
	for len(asked) > 0 {
		for part := range slices.Chunk(asked, chunk) {
			if err := askPlaces(ctx, q, part); err != nil {
				return nil, err
			}
		}
		asked = nil
		for _, x := range s {
			asked = append(asked, x.open()...)
		}
	}
	seen := &known.Seen{}
	for _, x := range s {
		for at, upTo := range x.upTo {
			if upTo != unseen {
				seen.Add(x.chain, x.places[at], x.other, upTo)
			}
		}
	}
	return seen, nil
}

// open are the places that have to be asked about next.
func (x *sighting) open() (list []askedPlace) {
	known := slices.Sorted(maps.Keys(x.upTo))
	for i := 1; i < len(known); i++ {
		lo, hi := known[i-1], known[i]
		low, high := x.upTo[lo], x.upTo[hi]
		if hi-lo > 1 && low != high && high >= x.least && low < x.most {
			list = append(list, askedPlace{x, (lo + hi) / 2})
		}
	}
	return list
}

// askPlaces asks how far some places had seen.
func askPlaces(ctx context.Context, q Querier, list []askedPlace) error {
	var rows []string
	var args []any
	for i, p := range list {
		n := len(args)
		rows = append(rows, fmt.Sprintf("(CAST($%d AS text), CAST($%d AS bigint), CAST($%d AS text), %d)", n+1, n+2, n+3, i))
		args = append(args, chainText(p.chain), p.places[p.at], chainText(p.other))
	}
	query := `WITH w (chain, seq, other, n) AS (VALUES ` + strings.Join(rows, ", ") + `)
		SELECT w.n, (SELECT s.upto FROM seen s WHERE s.chain = w.chain AND s.other = w.other AND s.seq <= w.seq ORDER BY s.seq DESC LIMIT 1) FROM w`
	return Each(ctx, q, query, args, func(r *sql.Rows) error {
		var n int64
		var upTo sql.NullInt64
		err := r.Scan(&n, &upTo)
		if err == nil {
			list[n].upTo[list[n].at] = upTo.Int64 // unseen where there is none
		}
		return err
	})
}

// SeenAmong is what the writers of each group of events had seen of one another's
// chains when they wrote these.
func SeenAmong(ctx context.Context, q Querier, groups ...[]ledger.Event) (*known.Seen, error) {
	var want sightings
	for _, events := range groups {
		places := make([]chainPlace, len(events))
		for i := range events {
			s := &events[i].Statement
			places[i] = chainPlace{ledger.ChainKey(s.Writer, s.Chain), s.Seq}
		}
		want.between(places)
	}
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
