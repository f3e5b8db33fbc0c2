package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"os"
	"slices"
	"time"

	"golang.org/x/sync/errgroup"

	"cardwright/verify/ledger"
)

// SyncOptions say whose events are taken.
type SyncOptions struct {
	Known map[string]string // writers whom the shop trusts, as for CheckOptions; nil: everybody
}

// SyncReport says what a sync did.
type SyncReport struct {
	Format   int       `json:"format"`
	Here     string    `json:"here"`
	There    string    `json:"there"`
	Sent     int       `json:"sent"`     // events new there
	Received int       `json:"received"` // events new here
	Returned int       `json:"returned"` // of these, events that were appended here once and had been lost
	Refused  []Refusal `json:"refused"`  // at most maxBreaks
	More     int       `json:"more"`     // refusals that are not listed
	Disputed []Dispute `json:"disputed"` // devices on which two writers left different versions
	Notes    []string  `json:"notes"`
}

// Refusal is an event that was not taken over.
type Refusal struct {
	Ledger string `json:"ledger"` // where it is
	Writer string `json:"writer"`
	Chain  string `json:"chain"`
	Seq    int64  `json:"seq"`
	ID     string `json:"id"`
	Why    string `json:"why"`
}

// Dispute is a device whose version two writers say differently.
type Dispute struct {
	Vessel  string `json:"vessel"`
	Device  string `json:"device"`
	Version string `json:"version"` // the later reading
	Other   string `json:"other"`
}

// batch is how many events go into one transaction.
const batch = 500

// Sync merges two ledgers both ways: afterwards each has every event of the
// other that holds. A ledger opened for reading only just gives. It may be
// interrupted anywhere and done again any number of times; what is done is
// kept.
func Sync(ctx context.Context, here, there *Ledger, o SyncOptions) (SyncReport, error) {
	r := SyncReport{Format: 1, Here: here.place, There: there.place, Refused: []Refusal{}, Disputed: []Dispute{}, Notes: []string{}}
	err := here.sync(ctx, there, o, &r)
	if err != nil {
		return r, fmt.Errorf("syncing ledger %s with %s: %w", here.place, there.place, err)
	}
	return r, nil
}

func (l *Ledger) sync(ctx context.Context, there *Ledger, o SyncOptions, r *SyncReport) error {
	if samePlace(l, there) {
		return errors.New("both are the same ledger: name another one")
	}
	if l.id == there.id && !there.readOnly {
		r.Notes = append(r.Notes, "the two are copies of one file: put one of them away, or their chains will fork")
	}
	received := transfer{from: there, to: l, known: o.Known, report: r, clocks: newClocks()}
	err := received.run(ctx)
	r.Notes = append(r.Notes, received.clocks.notes()...)
	r.Received, r.Returned = received.added, received.returned
	if err != nil {
		return err
	}
	if !there.readOnly {
		sent := transfer{from: l, to: there, known: o.Known, report: r}
		err = sent.run(ctx)
		r.Sent = sent.added
		if err != nil {
			return err
		}
	}
	if err := exchangeHeads(ctx, l, there); err != nil {
		return err
	}
	r.Disputed, err = l.Disputes(ctx)
	return err
}

func samePlace(a, b *Ledger) bool {
	if a.place == b.place {
		return true
	}
	infoA, errA := os.Stat(a.place)
	infoB, errB := os.Stat(b.place)
	return errA == nil && errB == nil && os.SameFile(infoA, infoB)
}

// exchangeHeads lets each ledger file remember the other's heads, so that it shows
// when one of them loses its tail. Heads that were refused are left out. A server
// remembers none, since whoever may write there could write false ones: of its
// tail those know who asked it before.
func exchangeHeads(ctx context.Context, a, b *Ledger) error {
	for _, pair := range [][2]*Ledger{{a, b}, {b, a}} {
		to, from := pair[0], pair[1]
		if to.readOnly || to.engine == postgresEngine {
			continue
		}
		heads := ledger.Heads{Format: 1, Ledger: from.id, Taken: time.Now().UTC().Truncate(time.Second)}
		err := from.look(ctx, func(q Querier) (err error) {
			heads.Heads, err = headsIn(ctx, q)
			return err
		})
		if err != nil {
			return err
		}
		if heads.Heads, err = to.has(ctx, heads.Heads); err != nil {
			return err
		}
		if err := to.remember(ctx, heads); err != nil {
			return err
		}
	}
	return nil
}

func (l *Ledger) has(ctx context.Context, heads []ledger.Head) ([]ledger.Head, error) {
	var there []ledger.Head
	err := l.look(ctx, func(q Querier) error {
		for _, h := range heads {
			var ok bool
			if err := q.QueryRowContext(ctx, `SELECT EXISTS (SELECT 1 FROM event WHERE id = $1)`, h.ID[:]).Scan(&ok); err != nil {
				return err
			}
			if ok {
				there = append(there, h)
			}
		}
		return nil
	})
	return there, err
}

// maxDisputes is how many disputes are listed.
const maxDisputes = 1000

// Disputes lists the devices whose version two writers say differently.
func (l *Ledger) Disputes(ctx context.Context) ([]Dispute, error) {
	list := []Dispute{}
	err := l.Look(ctx, func(q Querier) error {
		return Each(ctx, q, fmt.Sprintf(`SELECT vessel, device, version, other FROM device WHERE other <> ''
			ORDER BY vessel, device LIMIT %d`, maxDisputes), nil, func(rows *sql.Rows) error {
			var d Dispute
			err := rows.Scan(&d.Vessel, &d.Device, &d.Version, &d.Other)
			list = append(list, d)
			return err
		})
	})
	return list, err
}

// transfer brings the events of one ledger into another.
type transfer struct {
	from, to *Ledger
	known    map[string]string
	report   *SyncReport // nil: refusals are not listed
	clocks   *clocks     // nil: nobody asks
	at       chainRow    // the chain that is being gone along, in from
	added    int
	returned int
}

func (t *transfer) run(ctx context.Context) error {
	chains, err := t.from.extents(ctx)
	if err != nil {
		return fmt.Errorf("reading %s: %w", t.from.place, err)
	}
	there, err := t.to.extents(ctx)
	if err != nil {
		return fmt.Errorf("reading %s: %w", t.to.place, err)
	}
	for _, key := range sortedChains(chains) {
		if err := t.chain(ctx, chains[key], there[key]); err != nil {
			return fmt.Errorf("from %s to %s: %w", t.from.place, t.to.place, err)
		}
	}
	return nil
}

// extent is how far a chain goes in one ledger.
type extent struct {
	chainRow
	count, places int64 // events, and places that they stand in
	head          ledger.Head
}

// complete reports whether the chain has one event in every place up to its
// head; then the head's id stands for all of them.
func (e extent) complete() bool { return e.count == e.head.Seq && e.places == e.head.Seq }

func (l *Ledger) extents(ctx context.Context) (map[[2]string]extent, error) {
	all := map[[2]string]extent{}
	err := l.look(ctx, func(q Querier) error {
		chains, err := chainsOf(ctx, q)
		if err != nil {
			return err
		}
		for _, c := range chains {
			e := extent{chainRow: c}
			err := q.QueryRowContext(ctx, `SELECT count(*), count(DISTINCT seq) FROM event WHERE chain = $1`, c.no).Scan(&e.count, &e.places)
			if err != nil {
				return err
			}
			if e.head, _, err = headOf(ctx, q, c.no); err != nil {
				return err
			}
			all[[2]string{c.writer, c.name}] = e
		}
		return nil
	})
	return all, err
}

func sortedChains(m map[[2]string]extent) [][2]string {
	keys := make([][2]string, 0, len(m))
	for k := range m {
		keys = append(keys, k)
	}
	slices.SortFunc(keys, func(a, b [2]string) int { return slices.Compare(a[:], b[:]) })
	return keys
}

// chain brings what the other ledger lacks of one chain. As far as both have
// the same head nothing has to be looked at.
func (t *transfer) chain(ctx context.Context, from, to extent) error {
	t.at = from.chainRow
	after := int64(0)
	if from.complete() && to.complete() && to.count > 0 {
		if to.head == from.head {
			return nil
		}
		same, err := t.fromHas(ctx, from.no, to.head)
		if err != nil {
			return err
		}
		if same {
			after = to.head.Seq
		}
	}
	return t.events(ctx, from, to, after)
}

func (t *transfer) fromHas(ctx context.Context, chain int64, h ledger.Head) (there bool, err error) {
	err = t.from.look(ctx, func(q Querier) error {
		return q.QueryRowContext(ctx, `SELECT EXISTS (SELECT 1 FROM event WHERE chain = $1 AND seq = $2 AND id = $3)`, chain, h.Seq, h.ID[:]).Scan(&there)
	})
	return there, err
}

// events brings the events of a chain after a place, leaving out those that
// the other ledger has. While some are stored the next are read and verified.
func (t *transfer) events(ctx context.Context, from, to extent, after int64) error {
	reading, stop := context.WithCancel(ctx)
	verified := make(chan []ledger.Event)
	var reader errgroup.Group
	reader.Go(func() error {
		defer close(verified)
		return t.readAll(reading, from, after, verified)
	})
	var failed error
	for events := range verified {
		if failed = t.put(ctx, events, to.own); failed != nil {
			break
		}
	}
	stop()
	err := reader.Wait()
	if failed != nil {
		return failed
	}
	return err
}

// readAll gives the events of a chain that the other ledger lacks and that
// hold, in batches, up to the head that the chain had at first: a writer that
// is faster would keep it busy for ever.
func (t *transfer) readAll(ctx context.Context, from extent, after int64, verified chan<- []ledger.Event) error {
	place := scanPlace{after, 1 << 62}
	give := func(events []ledger.Event) error {
		select {
		case verified <- events:
			return nil
		case <-ctx.Done():
			return ctx.Err()
		}
	}
	for {
		ids, next, err := t.readIDs(ctx, from, place)
		if err != nil || len(ids) == 0 {
			return err
		}
		place = next
		missing, err := t.missing(ctx, ids)
		if err != nil {
			return err
		}
		if err := t.verify(ctx, missing, give); err != nil {
			return err
		}
	}
}

// numbered is an event's number in the ledger that it comes from.
type numbered struct {
	no int64
	id []byte
}

func (t *transfer) readIDs(ctx context.Context, from extent, after scanPlace) ([]numbered, scanPlace, error) {
	var ids []numbered
	err := t.from.look(ctx, func(q Querier) error {
		query := fmt.Sprintf(`SELECT no, seq, %s FROM event WHERE chain = $1 AND (seq, no) > ($2, $3) AND seq <= $4 ORDER BY seq, no LIMIT %d`, bounded("id", 32), batch)
		return Each(ctx, q, query, []any{from.no, after.seq, after.no, from.head.Seq}, func(r *sql.Rows) error {
			var n numbered
			err := r.Scan(&n.no, &after.seq, &n.id)
			after.no = n.no
			ids = append(ids, n)
			return err
		})
	})
	return ids, after, err
}

func (t *transfer) missing(ctx context.Context, ids []numbered) ([]int64, error) {
	have := map[ledger.ID]bool{}
	err := t.to.look(ctx, func(q Querier) error {
		for part := range slices.Chunk(ids, chunk) {
			args := make([]any, len(part))
			for i, n := range part {
				args[i] = n.id
			}
			err := Each(ctx, q, "SELECT id FROM event WHERE id IN "+list(len(args)), args, func(r *sql.Rows) error {
				var id []byte
				err := r.Scan(&id)
				have[toID(id)] = true
				return err
			})
			if err != nil {
				return err
			}
		}
		return nil
	})
	var missing []int64
	for _, n := range ids {
		if len(n.id) != len(ledger.ID{}) || !have[toID(n.id)] {
			missing = append(missing, n.no)
		}
	}
	return missing, err
}

// batchBytes is how much content goes into one transaction, about.
const batchBytes = 8 << 20

// verify reads the events with these numbers and gives those that hold.
func (t *transfer) verify(ctx context.Context, numbers []int64, give func([]ledger.Event) error) error {
	var events []ledger.Event
	size := 0
	for part := range slices.Chunk(numbers, chunk) {
		found, err := t.read(ctx, part)
		if err != nil {
			return err
		}
		verifyAll(found)
		for _, e := range found {
			if why := t.refusal(e); why != "" {
				t.refuse(e, why)
				continue
			}
			if t.clocks != nil {
				t.clocks.see(&e.event)
			}
			events = append(events, e.event)
			size += len(e.content)
		}
		if size > batchBytes {
			if err := give(events); err != nil {
				return err
			}
			events, size = nil, 0
		}
	}
	return give(events)
}

func (t *transfer) put(ctx context.Context, events []ledger.Event, own bool) error {
	if len(events) == 0 {
		return nil
	}
	var added int
	err := t.to.write(ctx, func(w *tx) (err error) {
		added, err = w.put(ctx, events)
		return err
	})
	if err != nil {
		return err
	}
	t.added += added
	if own {
		t.returned += added
	}
	return nil
}

func (t *transfer) read(ctx context.Context, numbers []int64) ([]*raw, error) {
	args := make([]any, len(numbers))
	for i, n := range numbers {
		args[i] = n
	}
	var found []*raw
	err := t.from.look(ctx, func(q Querier) (err error) {
		found, err = readRawWhere(ctx, q, "no IN "+list(len(args))+" ORDER BY seq, no", args...)
		return err
	})
	return found, err
}

func (t *transfer) refusal(e *raw) string {
	if e.err != nil {
		return e.err.Error()
	}
	if _, ok := t.known[e.event.Statement.Writer]; !ok && t.known != nil {
		return "the shop doesn't trust this writer"
	}
	return ""
}

func (t *transfer) refuse(e *raw, why string) {
	if t.report == nil {
		return
	}
	if len(t.report.Refused) == maxBreaks {
		t.report.More++
		return
	}
	t.report.Refused = append(t.report.Refused, Refusal{
		Ledger: t.from.place, Writer: t.at.writer, Chain: t.at.name, Seq: e.seq, ID: fmt.Sprintf("%x", e.id), Why: why,
	})
}
