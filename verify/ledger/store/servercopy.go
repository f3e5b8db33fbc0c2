package store

import (
	"cmp"
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"sort"
	"time"

	"github.com/jackc/pgx/v5"
	"golang.org/x/sync/errgroup"

	"cardwright/manifest/durable"
	"cardwright/manifest/problem"
	"cardwright/verify/ledger"
)

// beside is a copy of a server's events on this computer, a ledger file like any
// other. Questions about a server are asked of it: its contents were verified
// when it was taken over, and all that is looked up is worked out here, from what
// was signed. So whoever may write on the server can add events, and nothing that
// they do there changes an answer.
type beside struct {
	*Ledger
	memory string // see Options; "": nothing is kept
	temp   string // folder that goes with it; ""
	was    Remembered
	dirty  bool // the copy was written to, or was isn't saved

	report CheckReport // of the last following
	chains map[[2]string]ledger.Head
	odd    map[[2]string]bool          // chains to be gone along as a whole
	passed map[[2]string][]ledger.Head // places of events that were not taken over
}

// manyEvents take a while to be verified.
const manyEvents = 20_000

// follow brings the copy up to what is on the server now.
func (l *Ledger) follow(ctx context.Context) (*Ledger, error) {
	l.following.Lock()
	defer l.following.Unlock()
	if l.beside == nil {
		b, err := openBeside(ctx, l)
		if err != nil {
			return nil, fmt.Errorf("opening the copy of ledger %s on this computer: %w", l.place, err)
		}
		l.beside = b
	}
	b := l.beside
	if b.unchanged(ctx, l.db) {
		return b.Ledger, nil
	}
	if err := l.look(ctx, func(q Querier) error { return b.follow(ctx, q, l) }); err != nil {
		return nil, err
	}
	return b.Ledger, b.save()
}

// unchanged asks once whether a server that held is as it was: nothing
// is new, and all heads are there. Where it can't know, it says no.
func (b *beside) unchanged(ctx context.Context, q Querier) bool {
	heads := b.was.Heads.Heads
	if b.report.Verdict != Whole || len(heads) == 0 || len(heads) > chunk {
		return false
	}
	args := make([]any, len(heads))
	for i := range heads {
		args[i] = heads[i].ID[:]
	}
	var top, there int64
	err := q.QueryRowContext(ctx, "SELECT (SELECT max(no) FROM event), (SELECT count(*) FROM event WHERE id IN "+list(len(args))+")", args...).Scan(&top, &there)
	return err == nil && top == b.was.UpTo && there == int64(len(heads))
}

// Followed brings what is known of a server up to now, and reports the result:
// an event that doesn't hold, a chain with a gap, an older state than one that was
// seen before. checked is when every event was last read.
func (l *Ledger) Followed(ctx context.Context) (r CheckReport, checked time.Time, err error) {
	if l.engine != postgresEngine {
		return r, checked, errors.New("only a server is followed")
	}
	if _, err := l.follow(ctx); err != nil {
		return r, checked, err
	}
	return l.beside.report, l.beside.was.Checked, nil
}

// serverName distinguishes one server's ledger from another's; "" where the
// address can't be read.
func serverName(address string) string {
	config, err := pgx.ParseConfig(address)
	if err != nil {
		return ""
	}
	return fmt.Sprintf("postgres %s %d %s %s", config.Host, config.Port, config.Database, config.RuntimeParams["search_path"])
}

func openBeside(ctx context.Context, server *Ledger) (*beside, error) {
	b := &beside{memory: server.memory}
	err := b.openKept(ctx, server)
	if b.memory == "" || unwritable(err) || errors.Is(err, ErrNewer) {
		b.memory = ""
		err = b.openTemp(ctx)
	}
	if err != nil {
		return nil, err
	}
	b.was.Ledger = server.id
	if b.was.Checked.IsZero() {
		b.was.Checked = time.Now().UTC().Truncate(time.Second)
	}
	return b, b.readTails(ctx)
}

func unwritable(err error) bool {
	return errors.Is(err, fs.ErrPermission) || errors.Is(err, ErrReadOnly)
}

func (b *beside) openTemp(ctx context.Context) (err error) {
	if b.temp, err = os.MkdirTemp("", "cardwright-ledger-*"); err != nil {
		return err
	}
	b.Ledger, err = openSQLite(ctx, filepath.Join(b.temp, "copy.db"), Options{Create: true})
	if err != nil {
		err = errors.Join(err, os.RemoveAll(b.temp))
	}
	return err
}

func (b *beside) file() string { return b.memory + ".db" }

// openKept opens the copy that is kept, if it is the one that was left here, or
// holds; otherwise it is put aside and begun anew. The heads that are remembered
// stay: they show what the server lost.
func (b *beside) openKept(ctx context.Context, server *Ledger) error {
	if b.memory == "" {
		return nil
	}
	if err := durable.MakeFolders(filepath.Dir(b.memory), 0o700); err != nil {
		return err
	}
	b.was = Recall(RememberedIn(b.memory))
	is := Fingerprint(b.file())
	if is != "" && b.was.Ledger != server.id {
		if b.was.Ledger != "" {
			b.report.Notes = append(b.report.Notes, fmt.Sprintf("the ledger on this server is not the one that was checked on %s", b.was.Checked.Format(time.DateOnly)))
		}
		if _, err := b.putAside(); err != nil {
			return err
		}
		is, b.was = "", Remembered{Heads: b.was.Heads, Accepted: b.was.Accepted}
	}
	err := b.openCopy(ctx, is)
	if errors.Is(err, ErrDamaged) || errors.Is(err, ErrNotLedger) || errors.Is(err, ErrSchema) {
		if _, err := b.putAside(); err != nil {
			return err
		}
		b.was.UpTo, b.was.Checked, b.was.Breaks = 0, time.Time{}, nil
		b.Ledger, err = openSQLite(ctx, b.file(), Options{Create: true})
		return err
	}
	return err
}

// openCopy opens the copy; one that isn't as it was left is checked.
func (b *beside) openCopy(ctx context.Context, is string) (err error) {
	if is == "" {
		b.was.UpTo, b.was.Checked, b.was.Breaks = 0, time.Time{}, nil
	}
	if b.Ledger, err = openSQLite(ctx, b.file(), Options{Create: true}); err != nil || is == "" || is == b.was.File {
		return err
	}
	r, err := b.Check(ctx, CheckOptions{})
	for _, broken := range r.Breaks {
		if !b.ofServer(broken.Kind) {
			err = ErrDamaged
		}
	}
	if err != nil {
		return errors.Join(err, b.Ledger.Close())
	}
	b.was.Checked, b.dirty = time.Now().UTC().Truncate(time.Second), true
	return nil
}

// ofServer are breaks that a sound copy has of a broken server.
func (*beside) ofServer(k ledger.BreakKind) bool {
	return slices.Contains([]ledger.BreakKind{ledger.EventMissing, ledger.LinkBroken, ledger.TwoInOnePlace}, k)
}

// putAside gives the copy another name, and returns it; "" where there is none.
func (b *beside) putAside() (string, error) {
	to := fmt.Sprintf("%s-until-%s.db", b.memory, time.Now().UTC().Format("20060102-150405"))
	for _, end := range []string{"-wal", "-shm"} {
		if err := os.Rename(b.file()+end, to+end); err != nil && !errors.Is(err, fs.ErrNotExist) {
			return "", err
		}
	}
	err := os.Rename(b.file(), to)
	if errors.Is(err, fs.ErrNotExist) {
		return "", nil
	}
	return to, err
}

// readTails reads how far the copy's chains go.
func (b *beside) readTails(ctx context.Context) error {
	b.chains, b.odd, b.passed = map[[2]string]ledger.Head{}, map[[2]string]bool{}, map[[2]string][]ledger.Head{}
	return b.look(ctx, func(q Querier) error {
		heads, err := headsIn(ctx, q)
		for _, h := range heads {
			b.chains[[2]string{h.Writer, h.Chain}] = h
		}
		return err
	})
}

// save remembers how far the copy goes.
func (b *beside) save() error {
	if b.memory == "" || !b.dirty {
		return nil
	}
	b.was.File = Fingerprint(b.file())
	b.dirty = false
	err := b.was.Save(RememberedIn(b.memory))
	if unwritable(err) {
		return nil // the next answer checks again
	}
	return err
}

func (b *beside) close() error {
	if b == nil {
		return nil
	}
	err := b.Ledger.Close()
	if b.temp != "" {
		return errors.Join(err, os.RemoveAll(b.temp))
	}
	if err == nil && b.was.File != Fingerprint(b.file()) {
		b.dirty = true
		err = b.save()
	}
	return err
}

// follow takes over what is new on the server, and looks whether the server still
// has what it had.
func (b *beside) follow(ctx context.Context, q Querier, server *Ledger) error {
	c := &check{words: server.words, clocks: newClocks(), report: CheckReport{
		Format: 1, Ledger: server.id, Place: server.place, Chains: []ChainReport{}, Breaks: []ledger.Break{}, Notes: b.report.Notes,
	}}
	var top, low int64
	if err := q.QueryRowContext(ctx, `SELECT coalesce(max(no), 0), coalesce(min(no), 0) FROM event`).Scan(&top, &low); err != nil {
		return err
	}
	if b.was.UpTo == 0 { // nothing was taken over
		b.was.UpTo = low - 1
	}
	if top > b.was.UpTo {
		if n := top - b.was.UpTo; n > manyEvents && server.slow != nil {
			server.slow(n)
		}
		if err := b.takeOver(ctx, q, c); err != nil {
			return err
		}
	}
	if err := b.lost(ctx, q, c); err != nil {
		return err
	}
	for _, broken := range b.was.Breaks {
		c.add(broken)
	}
	c.conclude()
	if c.report.Verdict == Unproven && len(c.report.Breaks) == 0 {
		c.report.Verdict = Whole
	}
	b.report = c.report
	return nil
}

// lost looks for the heads that were there before.
func (b *beside) lost(ctx context.Context, q Querier, c *check) error {
	there, err := present(ctx, q, b.was.Heads.Heads)
	if err != nil {
		return err
	}
	for _, h := range b.was.Heads.Heads {
		if there[h.ID] {
			continue
		}
		b.was.UpTo, b.dirty = 0, true // what is there now may have numbers that were others' before
		c.add(ledger.Break{
			Kind: ledger.TailMissing, Writer: h.Writer, Chain: h.Chain, Seq: h.Seq, ID: h.ID.String(),
			Problem: problem.Problem{
				Expected: fmt.Sprintf("event %d, which was there on %s", h.Seq, b.was.Heads.Taken.Format("2006-01-02 15:04")),
				Found:    "none",
				Meaning:  "events were taken off the end of the chain, or an older state of the ledger was put in its place",
				Advice:   b.bringBack(c.words),
			},
		})
	}
	return nil
}

func (b *beside) bringBack(words problem.Words) string {
	advice := "sync with a ledger that has it"
	if b.memory != "" {
		advice = "bring it back from this computer's copy: " + words.For(SyncWith, b.file())
	}
	return advice + "; or, where the ledger's owner restored an older backup on purpose: " + words.For(AcceptOlder)
}

// present are those of some heads that a ledger has.
func present(ctx context.Context, q Querier, heads []ledger.Head) (map[ledger.ID]bool, error) {
	there := map[ledger.ID]bool{}
	for part := range slices.Chunk(heads, chunk) {
		args := make([]any, len(part))
		for i := range part {
			args[i] = part[i].ID[:]
		}
		err := Each(ctx, q, "SELECT id FROM event WHERE id IN "+list(len(args)), args, func(r *sql.Rows) error {
			var id []byte
			err := r.Scan(&id)
			there[toID(id)] = true
			return err
		})
		if err != nil {
			return nil, err
		}
	}
	return there, nil
}

// arrival says that events from a number on came in at a time.
type arrival struct {
	no int64
	at string
}

// arrivals of events behind a number, and the last one before.
func arrivals(ctx context.Context, q Querier, after int64) (list []arrival, err error) {
	err = Each(ctx, q, `SELECT no, at FROM arrival WHERE no >= (SELECT coalesce(max(no), 0) FROM arrival WHERE no <= $1) ORDER BY no`, []any{after + 1}, func(r *sql.Rows) error {
		var a arrival
		err := r.Scan(&a.no, &a.at)
		list = append(list, a)
		return err
	})
	return list, err
}

// takeOver verifies the server's new events and stores those that hold, while the
// next are read. What follows one that doesn't hold is read again the next time:
// it may have been put right.
func (b *beside) takeOver(ctx context.Context, q Querier, c *check) error {
	came, err := arrivals(ctx, q, b.was.UpTo)
	if err != nil {
		return err
	}
	chains, err := chainsOf(ctx, q)
	if err != nil {
		return err
	}
	rows := map[int64]chainRow{}
	for _, ch := range chains {
		rows[ch.no] = ch
	}
	reading, stop := context.WithCancel(ctx)
	verified := make(chan []*raw)
	var reader errgroup.Group
	reader.Go(func() error {
		defer close(verified)
		return readFrom(reading, q, b.was.UpTo, verified)
	})
	clear(b.passed)
	upTo, stuck := b.was.UpTo, false
	var failed error
	for part := range verified {
		if failed = b.store(ctx, part, came); failed != nil {
			break
		}
		for _, e := range part {
			if e.err == nil {
				b.link(&e.event)
			} else {
				stuck = true
				row := rows[chainOf(e)]
				c.unsound(row, e)
				b.pass(row, e)
			}
			if !stuck {
				upTo = e.no
			}
		}
	}
	stop()
	if err := cmp.Or(failed, reader.Wait()); err != nil {
		return err
	}
	if err := b.settleChains(ctx); err != nil {
		return err
	}
	b.was.UpTo = upTo
	return nil
}

// readFrom gives the events behind a number, verified, about batch at a time.
func readFrom(ctx context.Context, q Querier, after int64, verified chan<- []*raw) error {
	var part []*raw
	size := 0
	for {
		found, err := readRawWhere(ctx, q, fmt.Sprintf("no > $1 ORDER BY no LIMIT %d", rawBatch), after)
		if err != nil {
			return err
		}
		verifyAll(found)
		for _, e := range found {
			size += len(e.content)
			after = e.no
		}
		part = append(part, found...)
		if len(found) < rawBatch || len(part) >= batch || size > batchBytes {
			select {
			case verified <- part:
			case <-ctx.Done():
				return ctx.Err()
			}
			part, size = nil, 0
		}
		if len(found) < rawBatch {
			return nil
		}
	}
}

func chainOf(e *raw) int64 {
	no, _ := e.columns[slices.Index(eventColumnNames, "chain")].(int64)
	return no
}

// pass notes the place of an event that isn't taken over.
func (b *beside) pass(row chainRow, e *raw) {
	key := [2]string{row.writer, row.name}
	b.passed[key] = append(b.passed[key], ledger.Head{Seq: e.seq, ID: toID(e.id)})
	b.odd[key] = true
}

// store puts the events of a part that hold into the copy, in the order in which
// they came, each as of when it came.
func (b *beside) store(ctx context.Context, part []*raw, came []arrival) error {
	events := make([]ledger.Event, 0, len(part))
	numbers := map[ledger.ID]int64{}
	for _, e := range part {
		if e.err == nil {
			events = append(events, e.event)
			numbers[e.event.ID] = e.no
		}
	}
	if len(events) == 0 {
		return nil
	}
	b.dirty = true
	return b.write(ctx, func(t *tx) error {
		added, err := t.insertEvents(ctx, events)
		if err != nil {
			return err
		}
		var rows [][]any
		last := -1
		for _, p := range added {
			at := sort.Search(len(came), func(i int) bool { return came[i].no > numbers[p.ID] }) - 1
			if at != last && at >= 0 {
				rows = append(rows, []any{p.no, came[at].at})
			}
			last = at
		}
		return errors.Join(t.insert(ctx, "arrival", "no, at", " ON CONFLICT (no) DO NOTHING", rows, nil), t.putAll(ctx, added))
	})
}

// link sees whether an event goes on from the end of its chain; otherwise, and
// where it was taken over before, the chain is gone along as a whole.
func (b *beside) link(e *ledger.Event) {
	s := &e.Statement
	key := [2]string{s.Writer, s.Chain}
	last := b.chains[key]
	prev := ""
	if last.Seq > 0 {
		prev = last.ID.String()
	}
	if s.Seq != last.Seq+1 || s.Prev != prev {
		b.odd[key] = true
	}
	if s.Seq >= last.Seq {
		b.chains[key] = ledger.Head{Writer: s.Writer, Chain: s.Chain, Seq: s.Seq, ID: e.ID}
	}
}

// settleChains goes along the chains that are out of order, and remembers what is
// wrong with them, and how far the copy goes.
func (b *beside) settleChains(ctx context.Context) error {
	for _, broken := range b.was.Breaks {
		b.odd[[2]string{broken.Writer, broken.Chain}] = true
	}
	var breaks []ledger.Break
	lost := b.was.Heads.Heads
	err := b.look(ctx, func(q Querier) error {
		for key := range b.odd {
			found, err := b.walk(ctx, q, key)
			if err != nil {
				return err
			}
			breaks = append(breaks, found...)
		}
		heads, err := headsIn(ctx, q)
		if err != nil {
			return err
		}
		b.was.Heads = ledger.Heads{Format: 1, Ledger: b.was.Ledger, Taken: time.Now().UTC().Truncate(time.Second), Heads: withLost(heads, lost)}
		return nil
	})
	if err != nil {
		return err
	}
	slices.SortFunc(breaks, func(x, y ledger.Break) int {
		return cmp.Or(cmp.Compare(x.Writer+x.Chain, y.Writer+y.Chain), cmp.Compare(x.Seq, y.Seq))
	})
	b.was.Breaks = breaks[:min(len(breaks), maxBreaks)]
	clear(b.odd)
	b.dirty = true
	return nil
}

// withLost adds to heads those of chains that went further once.
func withLost(heads, before []ledger.Head) []ledger.Head {
	at := map[[2]string]int{}
	for i, h := range heads {
		at[[2]string{h.Writer, h.Chain}] = i
	}
	for _, h := range before {
		i, ok := at[[2]string{h.Writer, h.Chain}]
		switch {
		case !ok:
			heads = append(heads, h)
		case heads[i].Seq < h.Seq:
			heads[i] = h
		}
	}
	return heads
}

// walk goes along one chain of the copy.
func (b *beside) walk(ctx context.Context, q Querier, key [2]string) (breaks []ledger.Break, err error) {
	var walk ledger.Walk
	passed := slices.Clone(b.passed[key])
	slices.SortFunc(passed, func(x, y ledger.Head) int { return cmp.Compare(x.Seq, y.Seq) })
	where := `chain = (SELECT no FROM chain WHERE writer = $1 AND name = $2) ORDER BY seq, no`
	err = EachEvent(ctx, q, where, []any{key[0], key[1]}, func(e ledger.Event) error {
		for len(passed) > 0 && passed[0].Seq <= e.Statement.Seq {
			walk.Pass(passed[0].Seq, passed[0].ID)
			passed = passed[1:]
		}
		if broken := walk.Next(&e); broken != nil && len(breaks) < maxBreaks {
			breaks = append(breaks, *broken)
		}
		return nil
	})
	return breaks, err
}

// rebuildBeside works out the copy's tables anew, and takes every event over again.
func (l *Ledger) rebuildBeside(ctx context.Context) error {
	if _, err := l.follow(ctx); err != nil {
		return fmt.Errorf("rebuilding the copy of ledger %s: %w", l.place, err)
	}
	b := l.beside
	err := b.write(ctx, func(t *tx) error { return t.fill(ctx) })
	if err == nil {
		b.was.UpTo, b.was.Breaks, b.dirty = 0, nil, true
		_, err = l.follow(ctx)
	}
	if err != nil {
		return fmt.Errorf("rebuilding the copy of ledger %s: %w", l.place, err)
	}
	return nil
}
