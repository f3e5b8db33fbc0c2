package main

import (
	"context"
	"crypto/ed25519"
	"database/sql"
	"encoding/hex"
	"encoding/json"
	"errors"
	"flag"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"os/signal"
	"path/filepath"
	"runtime"
	"slices"
	"strconv"
	"strings"
	"syscall"
	"time"

	"golang.org/x/sync/errgroup"

	"cardwright/manifest"
	"cardwright/manifest/version"
	"cardwright/verify/ledger"
	"cardwright/verify/ledger/audit"
	"cardwright/verify/ledger/ledgertest"
	"cardwright/verify/ledger/store"
)

// The bars for a ledger, at any size that is measured.
const (
	leastAppends = 2000.0 // events a second, in batches
	mostTimes    = 3.0    // ours beside the bare question
	mostAnswer   = 200 * time.Millisecond
	mostFleet    = 3 * time.Second
	mostSync     = 60 * time.Second // of syncEvents
	mostCheck    = 2.5              // a check without the engine's own, beside the signatures alone
	mostMemory   = 200 << 20
	syncEvents   = 100_000
)

// Work of the invented fleet: ten visits a vessel, ten events a visit.
const (
	visitsEach  = 10
	eventsEach  = 1 + visitsEach*10
	technicians = 5
	batchSize   = 500
)

// ledgerFigures are what is measured at one size.
type ledgerFigures struct {
	Engine          string
	Events          int
	Appends         float64 // events a second
	Release, Vessel asking
	Fleet, Sync     time.Duration

	// The same without looking first whether the ledger is still what was checked.
	FreeRelease, FreeVessel asking
	FreeFleet               time.Duration
	First                   time.Duration // a first answer, with nothing remembered
	Check, Integrity        time.Duration // reading all events; of it, the engine's own look at the file
	Signatures              time.Duration // verifying their signatures alone, on all cores
	Synced                  int
	Bytes                   int64 // of the database; 0 where nobody can tell
	peak                    int64
}

// asking is a question asked through the package audit and in bare SQL:
// medians over many picks. Times is the median of how many times as long ours
// took, for each pick the least of some against the least of as many, so that
// a busy machine doesn't decide.
type asking struct {
	Ours, Bare time.Duration
	Times      float64
}

// runLedger measures ledgers as they grow, each in a process of its own:
//
//	go run ./testdata/bench ledger [-events 1000,10000] [-engines SQLite] [-disk DIR]
func runLedger(args []string) error {
	if len(args) == 3 && args[0] == "one" {
		return oneLedger(context.Background(), os.Getenv(addressEnv), args[1], args[2])
	}
	flags := flag.NewFlagSet("ledger", flag.ExitOnError)
	events := flags.String("events", "1000,10000,100000,1000000", "sizes, in events")
	engines := flags.String("engines", "SQLite,PostgreSQL", "which")
	disk := flags.String("disk", os.TempDir(), "folder on a disk; takes 4 GiB")
	if err := flags.Parse(args); err != nil {
		return err
	}
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	var table []ledgerFigures
	for engine := range strings.SplitSeq(*engines, ",") {
		for n := range strings.SplitSeq(*events, ",") {
			f, err := measureLedger(ctx, engine, n, *disk)
			if err != nil {
				return err
			}
			fmt.Fprintln(os.Stderr, f)
			table = append(table, f)
		}
	}
	printLedgers(os.Stdout, table)
	printRows(os.Stdout, table)
	return nil
}

// measureLedger makes a ledger, measures it in another process, and removes it.
func measureLedger(ctx context.Context, engine, events, disk string) (f ledgerFigures, err error) {
	dir, err := os.MkdirTemp(disk, "cardwright-bench-")
	if err != nil {
		return f, err
	}
	defer func() { err = errors.Join(err, os.RemoveAll(dir)) }()
	address := filepath.Join(dir, "ledger.db")
	if engine == "PostgreSQL" {
		server, err := ledgertest.StartServer("fsync=on")
		if err != nil {
			return f, err
		}
		defer func() { err = errors.Join(err, server.Remove()) }()
		address = server.Address("")
	}
	program, err := os.Executable()
	if err != nil {
		return f, err
	}
	if err := os.Setenv(addressEnv, address); err != nil {
		return f, err
	}
	t, err := measured(ctx, program, "ledger", "one", events, dir)
	if err != nil {
		return f, err
	}
	err = json.Unmarshal(t.out, &f)
	f.Engine, f.peak = engine, t.peak
	return f, err
}

// addressEnv tells the other process which ledger; an address may hold a
// password, which has no place in a list of processes.
const addressEnv = "CARDWRIGHT_BENCH_LEDGER"

// ledgerBench is one ledger that is measured.
type ledgerBench struct {
	ctx     context.Context
	l       *store.Ledger // looked at before each answer
	free    *store.Ledger // not looked at; of a server, the copy beside it
	address string
	memory  string
	was     store.Remembered
	bare    *sql.DB
	tables  *sql.DB // where answers are looked up: bare, or of a server the copy
	vessels int
}

func oneLedger(ctx context.Context, address, events, dir string) error {
	n, err := strconv.Atoi(events)
	if err != nil {
		return err
	}
	b := ledgerBench{ctx: ctx, vessels: max(1, n/(eventsEach-1)), address: address, memory: filepath.Join(dir, "memory")}
	if b.l, err = store.Open(ctx, address, store.Options{Create: true, Memory: b.memory}); err != nil {
		return err
	}
	driver := "sqlite"
	if store.IsPostgres(address) {
		driver = "pgx"
	}
	if b.bare, err = sql.Open(driver, address); err != nil {
		return err
	}
	defer b.bare.Close()
	f, err := b.measure(dir, address, driver)
	if err != nil {
		return err
	}
	return json.NewEncoder(os.Stdout).Encode(f)
}

func (b *ledgerBench) measure(dir, address, driver string) (f ledgerFigures, err error) {
	if f.Events, f.Appends, err = grow(b.ctx, b.l, b.vessels); err != nil {
		return f, err
	}
	if driver == "pgx" { // let it count, as its own housekeeping would by itself
		if _, err := b.bare.ExecContext(b.ctx, `ANALYZE`); err != nil {
			return f, err
		}
	}
	if f.Bytes, err = b.size(driver); err != nil {
		return f, err
	}
	if err := b.remember(&f); err != nil {
		return f, err
	}
	if f.Release, f.FreeRelease, err = b.compareBoth(40, b.ourRelease, b.bareRelease); err != nil {
		return f, err
	}
	if f.Vessel, f.FreeVessel, err = b.compareBoth(60, b.ourVessel, b.bareVessel); err != nil {
		return f, err
	}
	if f.FreeFleet, err = medianOf(5, b.fleet(b.free)); err != nil {
		return f, err
	}
	if f.Fleet, err = medianOf(5, b.fleet(b.l)); err != nil {
		return f, err
	}
	if err := b.check(&f); err != nil {
		return f, err
	}
	if b.tables != b.bare {
		err = b.tables.Close()
	}
	if err := errors.Join(err, b.free.Close(), b.l.Close()); err != nil { // a sync holds two ledgers, not three
		return f, err
	}
	f.Synced, f.Sync, err = b.sync(dir, address, f.Events)
	return f, err
}

func (b *ledgerBench) size(driver string) (bytes int64, err error) {
	query := `SELECT page_count * page_size FROM pragma_page_count(), pragma_page_size()`
	if driver == "pgx" {
		query = `SELECT pg_database_size(current_database())`
	}
	err = b.bare.QueryRowContext(b.ctx, query).Scan(&bytes)
	return bytes, err
}

// grow appends the work of an invented fleet, the technicians by turns.
func grow(ctx context.Context, l *store.Ledger, vessels int) (events int, perSecond float64, err error) {
	w := ledgertest.NewWorld(1)
	var queues [technicians][]ledger.Entry
	var took time.Duration
	add := func(n, least int, entries ...ledger.Entry) {
		queues[n] = append(queues[n], entries...)
		if err != nil || len(queues[n]) < least {
			return
		}
		start := time.Now()
		_, err = l.Append(ctx, ledgertest.Writer(fmt.Sprint("technician ", n)), queues[n]...)
		took += time.Since(start)
		events += len(queues[n])
		queues[n] = nil
	}
	for n := range vessels {
		add(n%technicians, batchSize, w.TakeOn(n, 0))
	}
	for visit := range visitsEach {
		for n := range vessels {
			add(n%technicians, batchSize, w.Visit(n, (visit+1)*90+n%60)...)
		}
	}
	for n := range queues {
		add(n, 1)
	}
	return events, float64(events) / took.Seconds(), err
}

// question asks about something that chance picks.
type question func(*rand.Rand) error

// compareBoth asks with and without looking first, by turns for each pick, so that
// neither alone pays for what the process did before.
func (b *ledgerBench) compareBoth(picks int, ours func(*store.Ledger) question, bare question) (looked, free asking, err error) {
	const again = 5
	var times [3][]time.Duration // bare, looked, free: medians
	var ratios [3][]float64
	for n := range picks {
		var least [3]time.Duration
		for i, q := range []question{bare, ours(b.l), ours(b.free)} {
			ask := func() error { return q(rand.New(rand.NewPCG(3, uint64(n)))) }
			if err := ask(); err != nil { // all find the pages in memory
				return looked, free, err
			}
			took, err := several(again, ask)
			if err != nil {
				return looked, free, err
			}
			least[i] = took[0]
			times[i] = append(times[i], took[again/2])
			ratios[i] = append(ratios[i], float64(least[i])/float64(least[0]))
		}
	}
	for i := range times {
		slices.Sort(times[i])
		slices.Sort(ratios[i])
	}
	half := picks / 2
	return asking{times[1][half], times[0][half], ratios[1][half]}, asking{times[2][half], times[0][half], ratios[2][half]}, nil
}

// several times something and gives the times, the least first.
func several(n int, do func() error) ([]time.Duration, error) {
	times := make([]time.Duration, n)
	for i := range times {
		start := time.Now()
		if err := do(); err != nil {
			return nil, err
		}
		times[i] = time.Since(start)
	}
	slices.Sort(times)
	return times, nil
}

func medianOf(n int, do func() error) (time.Duration, error) {
	times, err := several(n, do)
	if err != nil {
		return 0, err
	}
	return times[n/2], nil
}

func pickRelease(r *rand.Rand) (string, version.V) {
	return ledgertest.Equipment[r.IntN(len(ledgertest.Equipment))].Model, ledgertest.Release(r.IntN(10))
}

// remember has the ledger checked, as a first answer does, and what is remembered.
func (b *ledgerBench) remember(f *ledgerFigures) (err error) {
	copied := b.address
	if store.IsPostgres(b.address) {
		// What was appended here is in the copy already; a computer that never asked
		// has nothing.
		if f.Events <= mostFirst {
			fresh, err := store.Open(b.ctx, b.address, store.Options{ReadOnly: true, Memory: b.memory + "-fresh"})
			if err != nil {
				return err
			}
			start := time.Now()
			_, _, err = fresh.Followed(b.ctx)
			f.First = time.Since(start)
			if err = errors.Join(err, fresh.Close()); err != nil {
				return err
			}
		}
		if _, _, err := b.l.Followed(b.ctx); err != nil {
			return err
		}
		copied = b.memory + ".db"
	}
	if b.tables = b.bare; copied != b.address {
		if b.tables, err = sql.Open("sqlite", copied); err != nil {
			return err
		}
	}
	if b.free, err = store.Open(b.ctx, copied, store.Options{ReadOnly: true}); err != nil {
		return err
	}
	b.was = store.Remembered{Ledger: b.l.ID(), File: store.Fingerprint(b.address), Checked: time.Now()}
	return b.was.Save(store.RememberedIn(b.memory + "-file"))
}

// mostFirst is up to how many events of a server are taken over by a computer that
// never asked it.
const mostFirst = 200_000

// check reads all events, has the engine look whether the file is sound, and verifies
// the signatures alone.
func (b *ledgerBench) check(f *ledgerFigures) (err error) {
	var r store.CheckReport
	f.Check, err = timed(func() (err error) {
		r, err = b.l.Check(b.ctx, store.CheckOptions{})
		return err
	})
	if err != nil || len(r.Breaks) > 0 {
		return fmt.Errorf("checking: %d breaks (%w)", len(r.Breaks), err)
	}
	if !store.IsPostgres(b.address) {
		f.First = f.Check
		f.Integrity, err = timed(func() error { return b.drain(`PRAGMA integrity_check`) })
		if err != nil {
			return err
		}
	}
	f.Signatures, err = b.signatures()
	return err
}

func timed(do func() error) (time.Duration, error) {
	start := time.Now()
	err := do()
	return time.Since(start), err
}

// signed is what is verified of an event.
type signed struct {
	writer             ed25519.PublicKey
	message, signature []byte
}

// signatures verifies those of all events on all processors; how long that takes
// doesn't count the reading.
func (b *ledgerBench) signatures() (took time.Duration, err error) {
	rows, err := b.bare.QueryContext(b.ctx, `SELECT c.writer, e.id, e.signature FROM event e JOIN chain c ON c.no = e.chain`)
	if err != nil {
		return 0, err
	}
	defer rows.Close()
	var part []signed
	verify := func() error {
		t, err := timed(func() error { return verifyAll(part) })
		took += t
		part = part[:0]
		return err
	}
	for rows.Next() {
		var name string
		var id []byte
		var s signed
		if err := rows.Scan(&name, &id, &s.signature); err != nil {
			return 0, err
		}
		if s.writer, err = hex.DecodeString(name); err != nil {
			return 0, err
		}
		s.message = ledger.SignedMessage(ledger.ID(id))
		if part = append(part, s); len(part) == 20_000 {
			if err := verify(); err != nil {
				return 0, err
			}
		}
	}
	return took, errors.Join(rows.Err(), verify())
}

func verifyAll(list []signed) error {
	var group errgroup.Group
	workers := runtime.GOMAXPROCS(0)
	for w := range workers {
		group.Go(func() error {
			for i := w; i < len(list); i += workers {
				if !ed25519.Verify(list[i].writer, list[i].message, list[i].signature) {
					return errors.New("a signature doesn't verify")
				}
			}
			return nil
		})
	}
	return group.Wait()
}

// holds is what a command does before an answer of a file; of a server the answer
// does it by itself.
func (b *ledgerBench) holds(l *store.Ledger) error {
	if l == b.free || store.IsPostgres(b.address) {
		return nil
	}
	if was := store.Recall(store.RememberedIn(b.memory + "-file")); was.File != store.Fingerprint(b.address) {
		return errors.New("the ledger isn't the one that was checked")
	}
	return nil
}

func (b *ledgerBench) ourRelease(l *store.Ledger) question {
	return func(r *rand.Rand) error {
		model, v := pickRelease(r)
		_, err := audit.OfRelease(b.ctx, l, model, v, audit.Filter{})
		return errors.Join(b.holds(l), err)
	}
}

func (b *ledgerBench) bareRelease(r *rand.Rand) error {
	model, v := pickRelease(r)
	key := ledger.VersionKey(v)
	return errors.Join(
		b.drain(`SELECT r.vessel, r.device, r.serial, min(r.at), max(r.at), v.name, v.berth, v.imo, v.mmsi, v.hull,
				d.kind, d.maker, d.model, d.name, d.place, d.serial, d.variant, d.version, d.other, d.at, d.gone
			FROM reading r JOIN vessel v ON v.vessel = r.vessel JOIN device d ON d.vessel = r.vessel AND d.device = r.device
			WHERE r.model = $1 AND r.version_key = $2 AND r.version_key <> ''
			GROUP BY r.vessel, r.device, r.serial, v.name, v.berth, v.imo, v.mmsi, v.hull,
				d.kind, d.maker, d.model, d.name, d.place, d.serial, d.variant, d.version, d.other, d.at, d.gone
			ORDER BY r.vessel, r.device`, model, key),
		b.drain(`SELECT c.vessel, v.name, v.berth, v.imo, v.mmsi, v.hull, c.device, c.card, c.at, c.good
			FROM carried c LEFT JOIN vessel v ON v.vessel = c.vessel
			WHERE c.model = $1 AND c.version_key = $2 ORDER BY c.vessel, c.device, c.at`, model, key))
}

func (b *ledgerBench) ourVessel(l *store.Ledger) question {
	return func(r *rand.Rand) error {
		_, err := audit.OfVessel(b.ctx, l, ledgertest.Vessel(r.IntN(b.vessels)), time.Time{}, audit.Filter{})
		return errors.Join(b.holds(l), err)
	}
}

// bareVessel asks for what happened with the database's own JSON, since it
// stands in the content.
func (b *ledgerBench) bareVessel(r *rand.Rand) error {
	vessel := ledgertest.Vessel(r.IntN(b.vessels))
	return errors.Join(
		b.drain(`SELECT vessel, name, berth, imo, mmsi, hull FROM vessel WHERE vessel = $1`, vessel),
		b.drain(`SELECT id, seq, at, kind, technician, visit, berth, card, target, content -> '$.entry', signature FROM event WHERE vessel = $1 ORDER BY ord`, vessel),
		b.drain(`SELECT r.device, e.id, r.at, r.writer, r.kind, r.maker, r.model, r.name, r.place, r.serial, r.variant, r.version, r.before, r.gone
			FROM reading r JOIN event e ON e.no = r.event WHERE r.vessel = $1 ORDER BY r.device, r.ord`, vessel))
}

// drain asks and reads every row.
func (b *ledgerBench) drain(query string, args ...any) error {
	rows, err := b.tables.QueryContext(b.ctx, query, args...)
	if err != nil {
		return err
	}
	defer rows.Close()
	names, err := rows.Columns()
	if err != nil {
		return err
	}
	row, to := make([]any, len(names)), make([]any, len(names))
	for i := range row {
		to[i] = &row[i]
	}
	for rows.Next() {
		if err := rows.Scan(to...); err != nil {
			return err
		}
	}
	return rows.Err()
}

func (b *ledgerBench) fleet(l *store.Ledger) func() error {
	var models []*manifest.Model
	for _, d := range ledgertest.Equipment {
		m := &manifest.Model{ID: d.Model, Maker: d.Maker}
		for n := range 16 {
			m.Releases = append(m.Releases, &manifest.Release{Version: ledgertest.Release(n)})
		}
		models = append(models, m)
	}
	return func() error {
		_, err := audit.OfFleet(b.ctx, l, models, audit.Filter{})
		return errors.Join(b.holds(l), err)
	}
}

// sync brings the events of a van, at most syncEvents, to a new ledger of the
// same engine.
func (b *ledgerBench) sync(dir, address string, events int) (synced int, took time.Duration, err error) {
	place := filepath.Join(dir, "other.db")
	if store.IsPostgres(address) {
		if _, err := b.bare.ExecContext(b.ctx, `CREATE SCHEMA other`); err != nil {
			return 0, 0, err
		}
		place = address + "&search_path=other"
	}
	other, err := store.Open(b.ctx, place, store.Options{Create: true})
	if err != nil {
		return 0, 0, err
	}
	defer other.Close()
	van, err := store.Open(b.ctx, filepath.Join(dir, "van.db"), store.Options{Create: true})
	if err != nil {
		return 0, 0, err
	}
	defer van.Close()
	if _, _, err := grow(b.ctx, van, max(1, min(events, syncEvents)/(eventsEach-1))); err != nil {
		return 0, 0, err
	}
	start := time.Now()
	r, err := store.Sync(b.ctx, other, van, store.SyncOptions{})
	return r.Received, time.Since(start), err
}

func (f ledgerFigures) String() string {
	return fmt.Sprintf("%-11s%8d%8.0f%8s%8s%6.2f%8s%8s%6.2f%8s%8s%6d%8.2f | %8s%8s%8s%8s%8s%8s%8s%6.2f", f.Engine, f.Events, f.Appends,
		millis(f.Release.Ours), millis(f.Release.Bare), f.Release.Times, millis(f.Vessel.Ours), millis(f.Vessel.Bare), f.Vessel.Times,
		millis(f.Fleet), seconds(f.Sync), f.peak>>20, float64(f.Bytes)/1e9,
		millis(f.FreeRelease.Ours), millis(f.FreeVessel.Ours), millis(f.FreeFleet), seconds(f.First), seconds(f.Check), seconds(f.Integrity), seconds(f.Signatures), f.checkTimes())
}

// checkTimes is how many times as long as the signatures alone a check takes, without
// the engine's own.
func (f ledgerFigures) checkTimes() float64 {
	return float64(f.Check-f.Integrity) / float64(f.Signatures)
}

func millis(d time.Duration) string { return fmt.Sprintf("%.1f", float64(d.Microseconds())/1000) }

// barredEvents is from which size on the bars are asked for.
const barredEvents = 1_000_000

type bar struct {
	what string
	met  bool
}

func (f ledgerFigures) bars() []bar {
	return []bar{
		{fmt.Sprintf("append, %.0f events/s at least", leastAppends), f.Appends >= leastAppends},
		{fmt.Sprintf("release, at most %.0f times the bare question", mostTimes), f.Release.Times <= mostTimes},
		{fmt.Sprintf("release, under %s", mostAnswer), f.Release.Ours < mostAnswer},
		{fmt.Sprintf("vessel, at most %.0f times the bare question", mostTimes), f.Vessel.Times <= mostTimes},
		{fmt.Sprintf("vessel, under %s", mostAnswer), f.Vessel.Ours < mostAnswer},
		{fmt.Sprintf("fleet, under %s", mostFleet), f.Fleet < mostFleet},
		{fmt.Sprintf("sync of %d events, under %s", f.Synced, mostSync), f.Sync < mostSync},
		{fmt.Sprintf("check without the engine's own, at most %.1f times the signatures", mostCheck), f.checkTimes() <= mostCheck},
		{fmt.Sprintf("memory of the whole process, under %d MiB", mostMemory>>20), f.peak < mostMemory},
	}
}

func printLedgers(w io.Writer, table []ledgerFigures) {
	fmt.Fprintf(w, "release, vessel, fleet: ms, medians; bare: the same question in SQL through the\n")
	fmt.Fprintf(w, "same driver; ratio: of the least times, median. sync: of at most %d events\n", syncEvents)
	fmt.Fprintf(w, "to a new ledger. MB: most memory of the process. Behind the bar: the same without\n")
	fmt.Fprintf(w, "looking first whether the ledger is still what was checked; s: a first answer with\n")
	fmt.Fprintf(w, "nothing remembered, a check of all, of it the engine's own, their signatures alone\n")
	fmt.Fprintf(w, "on all cores; ratio: the check without the engine's own beside them.\n\n")
	fmt.Fprintf(w, "%-11s%8s%8s%8s%8s%6s%8s%8s%6s%8s%8s%6s%8s | %8s%8s%8s%8s%8s%8s%8s%6s\n", "", "events", "app./s", "release", "bare", "ratio", "vessel", "bare", "ratio", "fleet", "sync", "MB", "GB file",
		"release", "vessel", "fleet", "first", "check", "engine", "sign.", "ratio")
	for _, f := range table {
		fmt.Fprintln(w, f)
	}
	fmt.Fprintln(w)
	met, asked := 0, 0
	for _, f := range table {
		if f.Events < barredEvents {
			continue
		}
		for _, b := range f.bars() {
			asked++
			if b.met {
				met++
			}
			fmt.Fprintf(w, "%s %s, %d events: %s\n", mark(b.met), f.Engine, f.Events, b.what)
		}
	}
	fmt.Fprintf(w, "%s, %d of its processors, %s, load %s\n%d of %d limits kept.\n", processor(), runtime.NumCPU(), runtime.Version(), load(), met, asked)
}
