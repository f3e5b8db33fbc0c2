package audit_test

import (
	"cmp"
	"context"
	"database/sql"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"cardwright/manifest"
	"cardwright/verify/ledger"
	"cardwright/verify/ledger/audit"
	"cardwright/verify/ledger/ledgertest"
	"cardwright/verify/ledger/store"
)

// BenchmarkScale measures a ledger as it grows and prints a table. Run it with
//
//	go test ./verify/ledger/audit -run '^$' -bench Scale -benchtime 1x -timeout 60m
//
// CARDWRIGHT_SCALE names the numbers of events (default 1000,10000; the whole
// table is 1000,10000,100000,1000000), CARDWRIGHT_ENGINES the engines.
func BenchmarkScale(b *testing.B) {
	var table []figures
	for _, engine := range []string{"SQLite", "PostgreSQL"} {
		if !strings.Contains(cmp.Or(os.Getenv("CARDWRIGHT_ENGINES"), "SQLite PostgreSQL"), engine) {
			continue
		}
		for text := range strings.SplitSeq(cmp.Or(os.Getenv("CARDWRIGHT_SCALE"), "1000,10000"), ",") {
			n, err := strconv.Atoi(text)
			require.NoError(b, err)
			b.Run(fmt.Sprintf("%s/%d", engine, n), func(b *testing.B) {
				f := measure(b, engine, n)
				table = append(table, f)
				b.ReportMetric(f.appended, "appends/s")
				b.ReportMetric(ms(f.release.ours), "release-ms")
				b.ReportMetric(ms(f.vessel.ours), "vessel-ms")
				b.ReportMetric(ms(f.fleet), "fleet-ms")
				b.ReportMetric(float64(f.memory), "MB")
			})
		}
	}
	printTable(table)
}

// figures are what is measured at one size.
type figures struct {
	engine          string
	events          int
	appended        float64 // events a second, in batches
	release, vessel pair
	fleet           time.Duration
	synced          int
	sync            time.Duration
	memory          int // MB, the most that the process held
}

// pair is a question asked through this package and in bare SQL, medians over
// many picks; times is the median of how many times as long ours took, for
// each pick the least of five against the least of five, so that a busy
// machine doesn't decide.
type pair struct {
	ours, bare time.Duration
	times      float64
}

func ms(d time.Duration) float64 { return float64(d.Microseconds()) / 1000 }

func printTable(table []figures) {
	fmt.Println("\nengine      events  append/s  release ms (bare, times)  vessel ms (bare, times)  fleet ms  sync s (events)  memory MB")
	for _, f := range table {
		fmt.Printf("%-10s %7d  %8.0f  %8.2f (%6.2f, %4.2f)   %8.2f (%6.2f, %4.2f)  %8.1f  %6.2f (%6d)  %9d\n",
			f.engine, f.events, f.appended, ms(f.release.ours), ms(f.release.bare), f.release.times,
			ms(f.vessel.ours), ms(f.vessel.bare), f.vessel.times, ms(f.fleet), f.sync.Seconds(), f.synced, f.memory)
	}
	fmt.Println("bars at 1000000: append 2000/s; release and vessel 200 ms and 3 times the bare question; fleet 3000 ms; sync of 100000 in 60 s; 200 MB")
}

const (
	writers    = 5
	appendSize = 500
	syncMost   = 100_000
)

func measure(b *testing.B, engine string, events int) figures {
	forgetPeak(b)
	address := filepath.Join(b.TempDir(), "ledger.db")
	if engine == "PostgreSQL" {
		address = ledgertest.Postgres(b)
	}
	l := openAt(b, address)
	f := figures{engine: engine, events: events}
	vessels := max(1, events/101)
	f.appended = grow(b, l, vessels, events)
	if engine == "PostgreSQL" {
		analyse(b, address)
	}
	db := bare(b, address)
	f.release = compare(b, 40, func(r *rand.Rand) (ours, theirs func()) { return releaseQuestion(b, l, db, r) })
	f.vessel = compare(b, 60, func(r *rand.Rand) (ours, theirs func()) { return vesselQuestion(b, l, db, vessels, r) })
	f.fleet = median(repeat(5, func() {
		_, err := audit.OfFleet(ctx, l, benchCatalogue(), none)
		require.NoError(b, err)
	}))
	f.memory = peak(b)
	f.synced, f.sync = syncPart(b, l, events)
	f.memory = max(f.memory, peak(b))
	return f
}

func openAt(b *testing.B, address string) *store.Ledger {
	l, err := store.Open(ctx, address, store.Options{Create: true})
	require.NoError(b, err)
	b.Cleanup(func() { require.NoError(b, l.Close()) })
	return l
}

func bare(b *testing.B, address string) *sql.DB {
	driver := "sqlite"
	if store.IsPostgres(address) {
		driver = "pgx"
	}
	db, err := sql.Open(driver, address)
	require.NoError(b, err)
	b.Cleanup(func() { db.Close() })
	return db
}

// analyse lets PostgreSQL count, as its own housekeeping would by itself.
func analyse(b *testing.B, address string) {
	_, err := bare(b, address).Exec(`ANALYZE`)
	require.NoError(b, err)
}

// grow appends the work of an invented fleet, five technicians by turns.
func grow(b *testing.B, l *store.Ledger, vessels, events int) float64 {
	w := ledgertest.NewWorld(1)
	var queues [writers][]ledger.Entry
	appended, took := 0, time.Duration(0)
	flush := func(n int) {
		start := time.Now()
		_, err := l.Append(ctx, ledgertest.Writer(fmt.Sprint("technician ", n)), queues[n]...)
		took += time.Since(start)
		require.NoError(b, err)
		appended += len(queues[n])
		queues[n] = nil
	}
	add := func(n int, entries ...ledger.Entry) {
		queues[n] = append(queues[n], entries...)
		if len(queues[n]) >= appendSize {
			flush(n)
		}
	}
	for n := range vessels {
		add(n%writers, w.TakeOn(n, 0))
	}
	for visit := 1; visit <= 10; visit++ {
		for n := range vessels {
			if appended < events {
				add(n%writers, w.Visit(n, visit*90+n%60)...)
			}
		}
	}
	for n := range queues {
		if len(queues[n]) > 0 {
			flush(n)
		}
	}
	return float64(appended) / took.Seconds()
}

func repeat(n int, do func()) []time.Duration {
	times := make([]time.Duration, n)
	for i := range times {
		start := time.Now()
		do()
		times[i] = time.Since(start)
	}
	return times
}

func median(times []time.Duration) time.Duration {
	slices.Sort(times)
	return times[len(times)/2]
}

// compare asks different questions, each in both ways.
func compare(b *testing.B, n int, question func(*rand.Rand) (ours, theirs func())) pair {
	var p pair
	var ours, theirs []time.Duration
	var times []float64
	r := rand.New(rand.NewPCG(3, 4))
	for range n {
		us, them := question(r)
		them() // both find the pages in memory
		t, o := repeat(5, them), repeat(5, us)
		times = append(times, float64(slices.Min(o))/float64(slices.Min(t)))
		ours, theirs = append(ours, median(o)), append(theirs, median(t))
	}
	slices.Sort(times)
	p.ours, p.bare, p.times = median(ours), median(theirs), times[len(times)/2]
	return p
}

func drain(b *testing.B, rows *sql.Rows, err error) {
	require.NoError(b, err)
	names, err := rows.Columns()
	require.NoError(b, err)
	row, to := make([]any, len(names)), make([]any, len(names))
	for i := range row {
		to[i] = &row[i]
	}
	for rows.Next() {
		require.NoError(b, rows.Scan(to...))
	}
	require.NoError(b, rows.Err())
	require.NoError(b, rows.Close())
}

func releaseQuestion(b *testing.B, l *store.Ledger, db *sql.DB, r *rand.Rand) (ours, theirs func()) {
	model := ledgertest.Equipment[r.IntN(len(ledgertest.Equipment))].Model
	v := ledgertest.Release(r.IntN(10))
	ours = func() {
		_, err := audit.OfRelease(ctx, l, model, v, none)
		require.NoError(b, err)
	}
	key := ledger.VersionKey(v)
	return ours, func() {
		rows, err := db.Query(`SELECT r.vessel, r.device, min(r.at), max(r.at), v.name, v.berth, v.imo, v.mmsi, v.hull,
				d.kind, d.maker, d.model, d.name, d.place, d.serial, d.variant, d.version, d.other, d.at, d.gone
			FROM reading r JOIN vessel v ON v.vessel = r.vessel JOIN device d ON d.vessel = r.vessel AND d.device = r.device
			WHERE r.model = $1 AND r.version_key = $2 AND r.version_key <> ''
			GROUP BY r.vessel, r.device, v.name, v.berth, v.imo, v.mmsi, v.hull,
				d.kind, d.maker, d.model, d.name, d.place, d.serial, d.variant, d.version, d.other, d.at, d.gone
			ORDER BY r.vessel, r.device`, model, key)
		drain(b, rows, err)
		rows, err = db.Query(`SELECT c.vessel, v.name, v.berth, v.imo, v.mmsi, v.hull, c.device, c.card, c.at, c.good
			FROM carried c LEFT JOIN vessel v ON v.vessel = c.vessel
			WHERE c.model = $1 AND c.version_key = $2 ORDER BY c.vessel, c.device, c.at`, model, key)
		drain(b, rows, err)
	}
}

func vesselQuestion(b *testing.B, l *store.Ledger, db *sql.DB, vessels int, r *rand.Rand) (ours, theirs func()) {
	vessel := ledgertest.Vessel(r.IntN(vessels))
	ours = func() {
		_, err := audit.OfVessel(ctx, l, vessel, time.Time{}, none)
		require.NoError(b, err)
	}
	// What happened stands in the content, so it is asked with the database's
	// own JSON.
	entry := `content -> '$.entry'`
	if _, err := db.Exec(`SELECT sqlite_version()`); err != nil {
		entry = `content::jsonb -> 'entry'`
	}
	return ours, func() {
		rows, err := db.Query(`SELECT vessel, name, berth, imo, mmsi, hull FROM vessel WHERE vessel = $1`, vessel)
		drain(b, rows, err)
		rows, err = db.Query(`SELECT id, seq, at, kind, technician, visit, berth, card, target, `+entry+`, signature FROM event WHERE vessel = $1 ORDER BY ord`, vessel)
		drain(b, rows, err)
		rows, err = db.Query(`SELECT r.device, e.id, r.at, r.writer, r.kind, r.maker, r.model, r.name, r.place, r.serial, r.variant, r.version, r.before, r.gone
			FROM reading r JOIN event e ON e.no = r.event WHERE r.vessel = $1 ORDER BY r.device, r.ord`, vessel)
		drain(b, rows, err)
	}
}

func benchCatalogue() []*manifest.Model {
	var list []*manifest.Model
	for _, d := range ledgertest.Equipment {
		m := &manifest.Model{ID: d.Model, Maker: d.Maker}
		for n := range 16 {
			m.Releases = append(m.Releases, &manifest.Release{Version: ledgertest.Release(n)})
		}
		list = append(list, m)
	}
	return list
}

// syncPart syncs a ledger of at most syncMost events to an empty file.
func syncPart(b *testing.B, l *store.Ledger, events int) (int, time.Duration) {
	from := l
	if events > syncMost {
		from = openAt(b, filepath.Join(b.TempDir(), "part.db"))
		grow(b, from, syncMost/101, syncMost)
	}
	to := openAt(b, filepath.Join(b.TempDir(), "to.db"))
	start := time.Now()
	r, err := store.Sync(context.Background(), to, from, store.SyncOptions{})
	require.NoError(b, err)
	return r.Received, time.Since(start)
}

// forgetPeak begins to count the most memory held anew (Linux, proc(5)).
func forgetPeak(b *testing.B) {
	require.NoError(b, os.WriteFile("/proc/self/clear_refs", []byte("5"), 0))
}

func peak(b *testing.B) int {
	status, err := os.ReadFile("/proc/self/status")
	require.NoError(b, err)
	for line := range strings.Lines(string(status)) {
		if rest, ok := strings.CutPrefix(line, "VmHWM:"); ok {
			kb, err := strconv.Atoi(strings.TrimSpace(strings.TrimSuffix(strings.TrimSpace(rest), "kB")))
			require.NoError(b, err)
			return kb / 1024
		}
	}
	b.Fatal("no VmHWM in /proc/self/status")
	return 0
}
