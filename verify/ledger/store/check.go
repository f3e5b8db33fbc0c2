package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"slices"
	"time"

	"cardwright/manifest/problem"
	"cardwright/verify/ledger"

	"golang.org/x/sync/errgroup"
)

// Verdict is the conclusion of a check.
type Verdict string

// The verdicts. Damage comes from a worn or torn file; what is edited was
// changed by somebody, in a database that is sound. A damaged ledger may have
// been edited too.
const (
	Whole   Verdict = "whole"
	Edited  Verdict = "edited"
	Damaged Verdict = "damaged"
	// Unproven: every event is there and holds, but it wasn't said which
	// writers the shop trusts, or a newer cardwright wrote some.
	Unproven Verdict = "unproven"
)

// maxBreaks is how many breaks a report lists; the rest are counted.
const maxBreaks = 200

// CheckOptions say what a ledger is checked against.
type CheckOptions struct {
	Known map[string]string // public keys of the writers that the shop trusts, 64 hex digits, with a name each
	Saved []ledger.Heads    // heads saved with a backup or sent by another ledger
	Words problem.Words     // for Acts, in advice
}

// What the advice of a check asks to have done.
const (
	SyncIntoNew problem.Act = "syncing with a new ledger"
	Rebuild     problem.Act = "rebuilding it"
	SyncWith    problem.Act = "syncing with"
	AcceptOlder problem.Act = "accepting it as it stands, with why"
)

// Acts is the closed list of them.
var Acts = []problem.Act{SyncIntoNew, Rebuild, SyncWith, AcceptOlder}

// CheckReport is the outcome of a check.
type CheckReport struct {
	Format  int            `json:"format"`
	Ledger  string         `json:"ledger"`
	Place   string         `json:"place"`
	Verdict Verdict        `json:"verdict"`
	Events  int64          `json:"events"`
	Chains  []ChainReport  `json:"chains"`
	First   *ledger.Break  `json:"first"`  // the first broken link, or nil
	Breaks  []ledger.Break `json:"breaks"` // at most maxBreaks
	More    int            `json:"more"`   // breaks that are not listed
	Notes   []string       `json:"notes"`

	Checked *time.Time `json:"checked,omitempty"` // when every event was last read; not there: now
}

// ChainReport is one writer's chain.
type ChainReport struct {
	Writer string      `json:"writer"`
	Name   string      `json:"name"` // of the writer, where the shop knows it
	Chain  string      `json:"chain"`
	Own    bool        `json:"own"` // appended to here
	Events int64       `json:"events"`
	Head   ledger.Head `json:"head"`
}

// What a check can't show, said in every report.
const (
	tailNote   = "events taken off the end of a chain show only against a head saved elsewhere: keep the heads of each backup in another place"
	writerNote = "the shop's trusted writers were not given: a chain forged with another key would go unnoticed"
)

// Check goes through every event: that it is what was signed, that it stands
// in its place in its writer's chain, and that what audits look up is what
// the events say. It reads the ledger as it is at one moment and changes
// nothing. The error says only that it could not be gone through.
func (l *Ledger) Check(ctx context.Context, o CheckOptions) (CheckReport, error) {
	c := l.newCheck(o)
	err := l.look(ctx, func(q Querier) error {
		if l.engine != sqliteEngine {
			return c.all(ctx, q, o.Saved)
		}
		sound := l.integrityBeside(ctx, q)
		err := c.all(ctx, q, o.Saved)
		damage, unread := sound()
		if unread == nil && len(damage) == 0 {
			return err
		}
		// What the engine finds comes first, as what it can't read does.
		c = l.newCheck(o)
		for _, found := range damage {
			c.damaged(found)
		}
		if unread != nil {
			return unread
		}
		return c.all(ctx, q, o.Saved)
	})
	switch {
	case errors.Is(err, ErrDamaged):
		c.damaged(err.Error())
	case errors.Is(err, ErrSchema):
		c.spoiled(err.Error())
	case err != nil:
		return CheckReport{}, fmt.Errorf("checking ledger %s: %w", l.place, err)
	}
	c.report.Notes = append(c.report.Notes, c.clocks.notes()...)
	c.conclude()
	return c.report, nil
}

func (l *Ledger) newCheck(o CheckOptions) *check {
	c := &check{known: o.Known, words: o.Words, lookedUp: l.engine == sqliteEngine, clocks: newClocks(), seen: map[[3]string][]int64{}, report: CheckReport{
		Format: 1, Ledger: l.id, Place: l.place,
		Chains: []ChainReport{}, Breaks: []ledger.Break{}, Notes: []string{tailNote},
	}}
	if o.Known == nil {
		c.report.Notes = append(c.report.Notes, writerNote)
	}
	return c
}

type check struct {
	known  map[string]string
	words  problem.Words
	clocks *clocks
	report CheckReport

	lookedUp bool                  // there are tables that answers are looked up in: not on a server
	counts   [3]int64              // rows that the events give, by saysTables
	seen     map[[3]string][]int64 // rows of seen that the events give
	tries    int                   // events that were searched for a single flipped bit
}

func (c *check) add(b ledger.Break) {
	switch b.Kind {
	case ledger.DatabaseDamaged, ledger.Unreadable:
		c.report.Verdict = Damaged
	case ledger.NewerEvent:
		if c.report.Verdict == "" {
			c.report.Verdict = Unproven
		}
	default:
		if c.report.Verdict != Damaged {
			c.report.Verdict = Edited
		}
	}
	if len(c.report.Breaks) == maxBreaks {
		c.report.More++
		return
	}
	c.report.Breaks = append(c.report.Breaks, b)
	if first := c.report.First; first == nil || first.Seq == 0 && b.Seq > 0 {
		c.report.First = &b
	}
}

func (c *check) damaged(found string) {
	c.add(ledger.Break{
		Kind: ledger.DatabaseDamaged, Problem: problem.Problem{
			Expected: "a database that passes its own check", Found: found,
			Meaning: "a write was cut off or the medium is worn; nobody edits a ledger this way",
			Advice:  "keep the file as it is, and salvage it into a new ledger",
		},
	})
}

func (c *check) spoiled(found string) {
	c.add(ledger.Break{
		Kind: ledger.SchemaChanged, Problem: problem.Problem{
			Expected: "tables and fields as cardwright makes them", Found: found,
			Meaning: "somebody made or changed this database by hand; no answer from it would be safe",
			Advice:  "salvage the ledger into a new one: it takes over the signed events",
		},
	})
}

// integrityBeside asks SQLite whether the file is sound, on a connection of its own, so
// that events are verified meanwhile; q is asked where there is one connection only. What
// it returns waits for the answer: the damage that was found, none in a sound file.
func (l *Ledger) integrityBeside(ctx context.Context, q Querier) (wait func() (damage []string, err error)) {
	if l.db.Stats().MaxOpenConnections == 1 {
		damage, err := integrity(ctx, q)
		return func() ([]string, error) { return damage, err }
	}
	var damage []string
	var group errgroup.Group
	group.Go(func() error {
		return l.look(ctx, func(q Querier) (err error) {
			damage, err = integrity(ctx, q)
			return err
		})
	})
	return func() ([]string, error) {
		err := group.Wait()
		return damage, err
	}
}

// integrity asks SQLite whether the file is sound.
func integrity(ctx context.Context, q Querier) (damage []string, err error) {
	const most = 20
	err = Each(ctx, q, fmt.Sprintf("PRAGMA integrity_check(%d)", most), nil, func(r *sql.Rows) error {
		var line string
		err := r.Scan(&line)
		if err == nil && line != "ok" {
			damage = append(damage, line)
		}
		return err
	})
	return damage, err
}

func (c *check) all(ctx context.Context, q Querier, saved []ledger.Heads) error {
	chains, err := chainsOf(ctx, q)
	if err != nil {
		return err
	}
	for _, ch := range chains {
		if err := c.chain(ctx, q, ch); err != nil {
			return err
		}
	}
	witnessed, err := witnesses(ctx, q)
	if err != nil {
		return err
	}
	for _, h := range append(witnessed, saved...) {
		if err := c.heads(ctx, q, h); err != nil {
			return err
		}
	}
	if !c.lookedUp {
		return c.totals(ctx, q)
	}
	return errors.Join(c.totals(ctx, q), c.seenTable(ctx, q), c.devices(ctx, q), c.vessels(ctx, q))
}

type chainRow struct {
	no           int64
	writer, name string
	own          bool
}

func chainsOf(ctx context.Context, q Querier) ([]chainRow, error) {
	var list []chainRow
	err := Each(ctx, q, fmt.Sprintf(`SELECT no, writer, name, own FROM chain ORDER BY writer, name LIMIT %d`, ledger.MaxHeads+1), nil, func(r *sql.Rows) error {
		var c chainRow
		var own int64
		err := r.Scan(&c.no, &c.writer, &c.name, &own)
		c.own = own == 1
		list = append(list, c)
		return err
	})
	if err == nil && len(list) > ledger.MaxHeads {
		err = fmt.Errorf("%w: more than %d chains", ErrSchema, ledger.MaxHeads)
	}
	return list, err
}

// chain goes along one chain in the order that the database gives it. While events are
// verified the next are read, and those before are compared with what is looked up.
func (c *check) chain(ctx context.Context, q Querier, ch chainRow) error {
	report := c.begin(ch)
	var walk ledger.Walk
	var after scanPlace
	before := func() error { return nil }
	for {
		batch, err := readRaw(ctx, q, ch.no, after)
		if err != nil || len(batch) == 0 {
			return errors.Join(before(), err)
		}
		verified := verifyBeside(batch)
		err = before()
		before = func() error {
			verified.Wait()
			return c.batch(ctx, q, ch, batch, &walk, report)
		}
		if err != nil {
			verified.Wait()
			return err
		}
		last := batch[len(batch)-1]
		after = scanPlace{last.seq, last.no}
	}
}

// begin begins a chain's report.
func (c *check) begin(ch chainRow) *ChainReport {
	c.report.Chains = append(c.report.Chains, ChainReport{
		Writer: ch.writer, Name: c.known[ch.writer], Chain: ch.name, Own: ch.own,
		Head: ledger.Head{Writer: ch.writer, Chain: ch.name},
	})
	if _, ok := c.known[ch.writer]; !ok && c.known != nil {
		c.add(ledger.Break{
			Kind: ledger.WriterUnknown, Writer: ch.writer, Chain: ch.name, Problem: problem.Problem{
				Expected: "a writer whom the shop trusts", Found: ch.writer,
				Meaning: "somebody with a key of their own wrote this chain",
				Advice:  "add the key to the shop's trusted ones if it is one of yours; otherwise trust nothing in this chain",
			},
		})
	}
	return &c.report.Chains[len(c.report.Chains)-1]
}

func (c *check) batch(ctx context.Context, q Querier, ch chainRow, batch []*raw, walk *ledger.Walk, r *ChainReport) error {
	var sound []*raw
	for _, e := range batch {
		c.report.Events++
		r.Events++
		if e.err != nil {
			c.unsound(ch, e)
			walk.Pass(e.seq, toID(e.id))
			continue
		}
		if b := walk.Next(&e.event); b != nil {
			c.add(*b)
		}
		c.clocks.see(&e.event)
		for _, row := range seenRows(&e.event) {
			key := [3]string{plain(row[0]), plain(row[1]), plain(row[2])}
			c.seen[key] = append(c.seen[key], row[3].(int64))
		}
		r.Head.Seq, r.Head.ID = e.event.Statement.Seq, e.event.ID
		c.columns(ch, e)
		sound = append(sound, e)
	}
	if !c.lookedUp {
		return nil
	}
	return c.says(ctx, q, sound)
}

// unsound says what is wrong with an event that doesn't verify.
func (c *check) unsound(ch chainRow, e *raw) {
	b := ledger.Break{Writer: ch.writer, Chain: ch.name, Seq: e.seq, ID: fmt.Sprintf("%x", e.id)}
	switch {
	case e.wornOut():
		b.Kind = ledger.Unreadable
		b.Expected, b.Found = "an event as it was written", e.err.Error()
		b.Meaning = "no writer makes such bytes: the medium is worn, or a write was cut off"
		b.Advice = "keep the file as it is, and salvage it into a new ledger"
	case errors.Is(e.err, ledger.ErrNewer):
		b.Kind = ledger.NewerEvent
		b.Expected, b.Found = fmt.Sprintf("an event of format %d", ledger.Newest), e.err.Error()
		b.Meaning = "it is intact and signed, but this build can't read it"
		b.Advice = "update cardwright on this computer, and check again"
	case errors.Is(e.err, ledger.ErrSignature):
		b.Kind = ledger.SignatureWrong
		b.Expected, b.Found = "the signature of writer "+ch.writer, "another"
		b.Meaning = "the writer didn't write this"
		b.Advice = "use the copy in another ledger or in a backup"
	default:
		b.Kind = ledger.ContentChanged
		b.Expected, b.Found = "content with the digest "+b.ID, "content with the digest "+ledger.IDOf(e.content).String()
		b.Meaning = "somebody changed what the event says (or its id) after it was signed"
		b.Advice = "use the copy in another ledger or in a backup"
		if c.oneBit(e) {
			b.Meaning += "; it is a single bit, which a worn medium can do too"
		}
	}
	c.add(b)
}

// columns compares what is looked up of an event with the event.
func (c *check) columns(ch chainRow, e *raw) {
	want := eventRow(&e.event, ch.no)
	s := &e.event.Statement
	if s.Writer != ch.writer || s.Chain != ch.name {
		c.changed(s, e.event.ID, "event", "chain", s.Writer+" "+s.Chain, ch.writer+" "+ch.name)
	}
	for i, name := range eventColumnNames {
		if name == "content" || name == "signature" || name == "id" || name == "chain" {
			continue
		}
		if w, f := want[i], e.columns[i]; !sameField(w, f) {
			c.changed(s, e.event.ID, "event", name, plain(w), plain(f))
		}
	}
}

func (c *check) changed(s *ledger.Statement, id ledger.ID, table, column, want, found string) {
	c.add(ledger.Break{
		Kind: ledger.IndexChanged, Writer: s.Writer, Chain: s.Chain, Seq: s.Seq, ID: id.String(),
		Problem: problem.Problem{
			Expected: fmt.Sprintf("%s.%s: %.300s", table, column, want), Found: fmt.Sprintf("%.300s", found),
			Meaning: "audits would use this, but the event says something else: somebody changed the database",
			Advice:  c.advice(table),
		},
	})
}

// says compares the rows that events give with those that are stored.
func (c *check) says(ctx context.Context, q Querier, events []*raw) error {
	if len(events) == 0 {
		return nil
	}
	want, err := c.wanted(ctx, q, events)
	if err != nil {
		return err
	}
	found, err := storedSays(ctx, q, events)
	if err != nil {
		return err
	}
	for _, e := range events {
		for _, table := range saysTables {
			w, f := want[e.no][table.name], found[e.no][table.name]
			c.counts[table.at] += int64(len(w))
			slices.Sort(w)
			slices.Sort(f)
			if !slices.Equal(w, f) {
				c.changed(&e.event.Statement, e.event.ID, table.name, "rows", fmt.Sprintf("%.250q", w), fmt.Sprintf("%.250q", f))
			}
		}
	}
	return nil
}

// saysTables are the tables that hold what single events say.
var saysTables = []struct {
	at            int
	name, columns string
	event         int // place of the column event
}{
	{0, "sighting", sightingColumns, 0},
	{1, "reading", readingColumns, 3},
	{2, "carried", carriedColumns, 0},
}

// rowsByTable holds rows as text, by table.
type rowsByTable map[string][]string

func (c *check) wanted(ctx context.Context, q Querier, events []*raw) (map[int64]rowsByTable, error) {
	stands, err := standing(ctx, q, events)
	if err != nil {
		return nil, err
	}
	out := map[int64]rowsByTable{}
	for _, e := range events {
		out[e.no] = rowsByTable{}
		if !stands[e.no] {
			continue
		}
		s, err := saysPlaced(ctx, q, placed{e.no, &e.event})
		if err != nil {
			return nil, err
		}
		for i, rows := range [][][]any{s.sightings, s.readings, s.carried} {
			for _, row := range rows {
				out[e.no][saysTables[i].name] = append(out[e.no][saysTables[i].name], plainRow(row))
			}
		}
	}
	return out, nil
}

// saysPlaced gives the rows of an event that stands; those of a correction stand
// in the place of what it corrects, if that is here.
func saysPlaced(ctx context.Context, q Querier, p placed) (says, error) {
	of := corrects(p.Event)
	if of == nil {
		return saysOf(p), nil
	}
	found, err := readRawWhere(ctx, q, "id = $1 LIMIT 1", of)
	if err != nil {
		return says{}, err
	}
	verifyAll(found)
	if len(found) == 0 || found[0].err != nil {
		return saysOf(p), nil
	}
	return saysIn(p, &found[0].event), nil
}

func storedSays(ctx context.Context, q Querier, events []*raw) (map[int64]rowsByTable, error) {
	out := map[int64]rowsByTable{}
	args := make([]any, len(events))
	for i, e := range events {
		args[i] = e.no
		out[e.no] = rowsByTable{}
	}
	for _, table := range saysTables {
		query := "SELECT " + table.columns + " FROM " + table.name + " WHERE event IN " + list(len(args)) +
			fmt.Sprintf(" LIMIT %d", chunk*2*ledger.MaxList)
		var stored anyRows
		err := Each(ctx, q, query, args, func(r *sql.Rows) error {
			row, err := stored.scan(r)
			if err != nil {
				return err
			}
			no, _ := row[table.event].(int64)
			if rows, ok := out[no]; ok {
				rows[table.name] = append(rows[table.name], plainRow(row))
			}
			return nil
		})
		if err != nil {
			return nil, err
		}
	}
	return out, nil
}

// standing reports which events stand: those that nobody corrected, and of an
// event's corrections the last one.
func standing(ctx context.Context, q Querier, events []*raw) (map[int64]bool, error) {
	stands := map[int64]bool{}
	byID := map[ledger.ID]int64{}
	args := make([]any, len(events))
	for i, e := range events {
		id := e.event.ID
		args[i] = id[:]
		byID[id] = e.no
		stands[e.no] = true
	}
	corrected := map[int64]bool{}
	err := Each(ctx, q, "SELECT DISTINCT corrects FROM event WHERE corrects IS NOT NULL AND corrects IN "+list(len(args)), args, func(r *sql.Rows) error {
		var id []byte
		err := r.Scan(&id)
		corrected[byID[toID(id)]] = true
		return err
	})
	if err != nil {
		return nil, err
	}
	for _, e := range events {
		if e.event.Statement.Entry.Correction == nil {
			stands[e.no] = !corrected[e.no]
		} else if stands[e.no], err = correctionStands(ctx, q, e); err != nil {
			return nil, err
		}
	}
	return stands, nil
}

func correctionStands(ctx context.Context, q Querier, e *raw) (bool, error) {
	of := corrects(&e.event)
	var later, ofCorrection bool
	err := q.QueryRowContext(ctx, `SELECT
		EXISTS (SELECT 1 FROM event WHERE corrects = $1 AND ord > $2),
		EXISTS (SELECT 1 FROM event WHERE id = $1 AND corrects IS NOT NULL)`,
		of, ledger.Ord(e.event.Statement.Entry.At, &e.event.Statement, e.event.ID)).Scan(&later, &ofCorrection)
	return !later && !ofCorrection, err
}

// seenTable compares what writers had seen with what their events say. Where a
// chain forked, one of two events in a place gave the row.
func (c *check) seenTable(ctx context.Context, q Querier) error {
	found := 0
	var rows anyRows
	err := Each(ctx, q, "SELECT "+seenColumns+" FROM seen", nil, func(r *sql.Rows) error {
		row, err := rows.scan(r)
		if err != nil {
			return err
		}
		found++
		key := [3]string{plain(row[0]), plain(row[1]), plain(row[2])}
		upTo, _ := row[3].(int64)
		if !slices.Contains(c.seen[key], upTo) && len(c.report.Breaks) < maxBreaks {
			c.same("seen", key[0]+" "+key[2], fmt.Sprint(c.seen[key]), fmt.Sprint(upTo))
		}
		return nil
	})
	if err == nil && found < len(c.seen) && c.report.Verdict == "" {
		c.stray("seen", int64(len(c.seen)), int64(found))
	}
	return err
}

// totals finds rows that belong to no event that was gone through.
func (c *check) totals(ctx context.Context, q Querier) error {
	count := func(table string) (n int64, err error) {
		err = q.QueryRowContext(ctx, "SELECT count(*) FROM "+table).Scan(&n)
		return n, err
	}
	events, err := count("event")
	if err != nil {
		return err
	}
	if events != c.report.Events {
		c.stray("event", c.report.Events, events)
	}
	if !c.lookedUp {
		return nil
	}
	for _, table := range saysTables {
		n, err := count(table.name)
		if err != nil {
			return err
		}
		if n > c.counts[table.at] && len(c.report.Breaks) == 0 {
			c.stray(table.name, c.counts[table.at], n)
		}
	}
	return nil
}

// advice is what to do where a table isn't what the events say. All but the events'
// own is worked out from them.
func (c *check) advice(table string) string {
	if table == "event" {
		return "bring the events into a new ledger: " + c.words.For(SyncIntoNew) + " takes over the signed events"
	}
	return "make this table anew from the events: " + c.words.For(Rebuild)
}

func (c *check) stray(table string, want, found int64) {
	c.add(ledger.Break{
		Kind: ledger.IndexChanged, Problem: problem.Problem{
			Expected: fmt.Sprintf("%s: %d rows", table, want), Found: fmt.Sprint(found),
			Meaning: "the table has rows that belong to no chain or event: somebody changed the database",
			Advice:  c.advice(table),
		},
	})
}

// heads looks for heads that were saved elsewhere.
func (c *check) heads(ctx context.Context, q Querier, saved ledger.Heads) error {
	for _, h := range saved.Heads {
		var there bool
		err := q.QueryRowContext(ctx, `SELECT EXISTS (SELECT 1 FROM event WHERE id = $1)`, h.ID[:]).Scan(&there)
		if err != nil {
			return err
		}
		if !there {
			c.add(ledger.Break{
				Kind: ledger.TailMissing, Writer: h.Writer, Chain: h.Chain, Seq: h.Seq, ID: h.ID.String(),
				Problem: problem.Problem{
					Expected: fmt.Sprintf("event %d, as ledger %.12s had it on %s", h.Seq, saved.Ledger, saved.Taken.Format("2006-01-02 15:04")),
					Found:    "none",
					Meaning:  "events were taken off the end of the chain, or an older copy of the ledger was put in its place",
					Advice: "sync with that ledger, or with another that has the event, or restore the backup that the head was saved with" +
						"; or, where you put an older backup in its place on purpose: " + c.words.For(AcceptOlder),
				},
			})
		}
	}
	return nil
}

// conclude calls a ledger whole only when nothing was found.
func (c *check) conclude() {
	switch {
	case c.report.Verdict != "":
	case c.known == nil:
		c.report.Verdict = Unproven
	default:
		c.report.Verdict = Whole
	}
}
