package store_test

import (
	"context"
	"database/sql"
	"fmt"
	"path/filepath"
	"sort"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"cardwright/manifest/version"
	"cardwright/verify/ledger"
	"cardwright/verify/ledger/ledgertest"
	"cardwright/verify/ledger/store"
)

func file(t testing.TB) string { return filepath.Join(t.TempDir(), "ledger.db") }

func syncWith(t testing.TB, here, there *store.Ledger) store.SyncReport {
	t.Helper()
	r, err := store.Sync(context.Background(), here, there, store.SyncOptions{})
	require.NoError(t, err)
	require.Empty(t, r.Refused)
	return r
}

// contents is everything that audits can ask of a ledger, but for the order
// in which events arrived and which chains are its own.
func contents(t require.TestingT, l *store.Ledger) string {
	var out []string
	err := l.Look(context.Background(), func(q store.Querier) error {
		for _, query := range []string{
			`SELECT 'event', id, seq, ord, at, kind, vessel, visit, berth, technician, card, target, corrects, content, signature FROM event`,
			`SELECT 'chain', writer, name FROM chain WHERE no IN (SELECT chain FROM event)`,
			`SELECT 'sighting', e.id, s.ord, s.vessel, s.name, s.berth, s.imo, s.mmsi, s.hull FROM sighting s JOIN event e ON e.no = s.event`,
			`SELECT 'reading', e.id, r.ord, r.vessel, r.device, r.model, r.version, r.version_key, r.before, r.gone FROM reading r JOIN event e ON e.no = r.event`,
			`SELECT 'carried', e.id, c.place, c.vessel, c.card, c.device, c.model, c.version, c.good FROM carried c JOIN event e ON e.no = c.event`,
			`SELECT 'device', e.id, d.vessel, d.device, d.at, d.model, d.serial, d.version, d.other, d.gone FROM device d JOIN event e ON e.no = d.event`,
			`SELECT 'vessel', vessel, name, berth, imo, mmsi, hull FROM vessel`,
		} {
			err := store.Each(context.Background(), q, query, nil, func(r *sql.Rows) error {
				names, err := r.Columns()
				if err != nil {
					return err
				}
				row, to := make([]any, len(names)), make([]any, len(names))
				for i := range row {
					to[i] = &row[i]
				}
				err = r.Scan(to...)
				for i, v := range row {
					if b, ok := v.([]byte); ok {
						row[i] = fmt.Sprintf("%x", b)
					}
				}
				out = append(out, fmt.Sprint(row...))
				return err
			})
			if err != nil {
				return err
			}
		}
		return nil
	})
	require.NoError(t, err)
	sort.Strings(out)
	return strings.Join(out, "\n")
}

func TestSyncMergesBothWays(t *testing.T) {
	onBoth(t, func(t *testing.T, server *store.Ledger) {
		w := ledgertest.NewWorld(1)
		van := open(t, file(t))
		appendTo(t, van, "Ada", append([]ledger.Entry{w.TakeOn(1, 0)}, w.Visit(1, 2)...)...)
		appendTo(t, server, "Ben", append([]ledger.Entry{w.TakeOn(2, 0)}, w.Visit(2, 2)...)...)
		r := syncWith(t, van, server)
		assert.Equal(t, 11, r.Sent)
		assert.Equal(t, 11, r.Received)
		assert.Zero(t, r.Returned)
		assert.Equal(t, contents(t, van), contents(t, server))

		r = syncWith(t, van, server)
		assert.Zero(t, r.Sent+r.Received, "again: nothing to do")
		appendTo(t, van, "Ada", w.Visit(1, 5)...)
		assert.Equal(t, 10, syncWith(t, van, server).Sent)
		requireWhole(t, van, "Ada", "Ben")
		requireWhole(t, server, "Ada", "Ben")
	})
}

func TestSyncShowsTwoAfterVersions(t *testing.T) {
	onBoth(t, func(t *testing.T, server *store.Ledger) {
		one, two := open(t, file(t)), open(t, file(t))
		appendTo(t, one, "Ada", step(0, "1.6", "1.8"))
		appendTo(t, two, "Ben", step(3, "1.6", "1.9"))
		assert.Empty(t, syncWith(t, one, server).Disputed)
		r := syncWith(t, two, server)
		assert.Equal(t, []store.Dispute{{Vessel: "kittiwake", Device: "radar", Version: "1.9", Other: "1.8"}}, r.Disputed)
		assert.Equal(t, 1, syncWith(t, one, server).Received, "both stand everywhere")
	})
}

// Heads that another ledger saw show that a tail is gone, and a sync brings
// it back.
func TestSyncBringsALostTailBack(t *testing.T) {
	onBoth(t, func(t *testing.T, server *store.Ledger) {
		path := file(t)
		van := open(t, path)
		appendTo(t, van, "Ada", step(0, "1.5", "1.6"))
		old := filepath.Join(t.TempDir(), "old.db")
		_, err := van.Backup(context.Background(), old, store.CheckOptions{})
		require.NoError(t, err)
		lost := appendTo(t, van, "Ada", step(1, "1.6", "1.8"))[0]
		syncWith(t, van, server)

		rolledBack := open(t, old)
		heads, err := server.Heads(context.Background())
		require.NoError(t, err)
		r := check(t, rolledBack, heads)
		require.NotNil(t, r.First)
		assert.Equal(t, ledger.TailMissing, r.First.Kind)
		assert.Equal(t, lost.ID.String(), r.First.ID)

		s := syncWith(t, rolledBack, server)
		assert.Equal(t, 1, s.Returned)
		appendTo(t, rolledBack, "Ada", step(2, "1.8", "1.9"))
		requireWhole(t, rolledBack, "Ada")
	})
}

// Somebody took the file of a van, removed its tail and went on: the chain
// forks, both branches stand, and the check says so.
func TestAForkedChainIsShownAndLosesNothing(t *testing.T) {
	onBoth(t, func(t *testing.T, server *store.Ledger) {
		van := open(t, file(t))
		appendTo(t, van, "Ada", step(0, "1.5", "1.6"))
		copied := filepath.Join(t.TempDir(), "copy.db")
		_, err := van.Backup(context.Background(), copied, store.CheckOptions{})
		require.NoError(t, err)
		appendTo(t, van, "Ada", step(1, "1.6", "1.8"))
		syncWith(t, van, server)
		other := open(t, copied)
		appendTo(t, other, "Ada", step(2, "1.6", "1.9"), step(3, "1.9", "2.5"))
		assert.Equal(t, 2, syncWith(t, other, server).Sent)
		r := check(t, server)
		require.Len(t, r.Breaks, 1)
		assert.Equal(t, ledger.TwoInOnePlace, r.First.Kind)
		assert.EqualValues(t, 2, r.First.Seq)
		assert.EqualValues(t, 4, r.Events)
		assert.Equal(t, contents(t, other), contents(t, server))
		assert.Contains(t, syncWith(t, van, other).Notes[0], "copies of one file")
		assert.Equal(t, contents(t, van), contents(t, server))
	})
}

func TestSyncRefusesWhatDoesNotHold(t *testing.T) {
	onBoth(t, func(t *testing.T, server *store.Ledger) {
		path := file(t)
		van := open(t, path)
		appendTo(t, van, "Ada", step(0, "1.5", "1.6"), step(1, "1.6", "1.8"), step(2, "1.8", "1.9"))
		appendTo(t, van, "Mallory", step(3, "1.9", "9.9"))
		db := bare(t, path)
		lock := unlock(t, db, false)
		_, err := db.Exec(`UPDATE event SET content = replace(content, '1.8', '2.9') WHERE seq = 2`)
		require.NoError(t, err)
		lock()
		r, err := store.Sync(context.Background(), server, van, store.SyncOptions{Known: ledgertest.Known("Ada")})
		require.NoError(t, err)
		assert.Equal(t, 2, r.Received)
		require.Len(t, r.Refused, 2)
		whys := r.Refused[0].Why + r.Refused[1].Why
		assert.Contains(t, whys, ledger.ErrDigest.Error())
		assert.Contains(t, whys, "the shop doesn't trust this writer")
		c := check(t, server)
		require.Len(t, c.Breaks, 1)
		assert.Equal(t, ledger.EventMissing, c.First.Kind)
		assert.EqualValues(t, 2, c.First.Seq)
	})
}

// One sheet that two vans recorded gives two accounts of one visit that agree.
func TestTwoVansThatRecordOneVisitAgree(t *testing.T) {
	van1, van2 := open(t, file(t)), open(t, file(t))
	visit := ledgertest.NewWorld(5).Visit(1, 3)
	appendTo(t, van1, "Ada", visit...)
	appendTo(t, van2, "Ben", visit...)
	r := syncWith(t, van1, van2)
	assert.Equal(t, []int{len(visit), len(visit)}, []int{r.Received, r.Sent})
	assert.Empty(t, r.Disputed)
	assert.Equal(t, contents(t, van1), contents(t, van2))
	has, err := van2.HasVisit(context.Background(), visit[2].Visit)
	require.NoError(t, err)
	assert.True(t, has)
	requireWhole(t, van1, "Ada", "Ben")
}

// A wrong clock breaks nothing, but it is reported: at the sync, and at each check
// until the event is corrected.
func TestClocksThatAreWrongAreTold(t *testing.T) {
	here, van := open(t, file(t)), open(t, file(t))
	clock := func(at time.Time) store.Writer {
		w := ledgertest.Writer("Ben")
		w.Now = func() time.Time { return at }
		return w
	}
	early := step(0, "1.6", "1.8")
	late := step(1, "1.8", "1.9")
	late.At = time.Now().UTC().AddDate(3, 0, 0).Truncate(time.Second)
	for _, e := range []struct {
		w store.Writer
		e ledger.Entry
	}{{clock(ledgertest.Day(2)), early}, {clock(ledgertest.Day(1)), late}} {
		_, err := van.Append(context.Background(), e.w, e.e)
		require.NoError(t, err)
	}
	r := syncWith(t, here, van)
	require.Len(t, r.Notes, 2, "%q", r.Notes)
	assert.Contains(t, r.Notes[0], "1 events are dated in the future")
	assert.Contains(t, r.Notes[0], "by Ben")
	assert.Contains(t, r.Notes[1], "clock went back 1 times (before event 2")
	c := requireWhole(t, here, "Ben")
	assert.Subset(t, c.Notes, r.Notes)
	assert.Empty(t, syncWith(t, here, van).Notes, "nothing new came")
}

func TestALedgerIsNotSyncedWithItself(t *testing.T) {
	path := file(t)
	l := open(t, path)
	_, err := store.Sync(context.Background(), l, open(t, filepath.Dir(path)+"/./ledger.db"), store.SyncOptions{})
	assert.ErrorContains(t, err, "both are the same ledger")
}

// TestSyncConverges splits random work over three vans and a server and syncs
// them in random order, here and there interrupted: in the end all hold the
// same events and give the same answers.
func TestSyncConverges(t *testing.T) {
	for _, e := range engines {
		t.Run(e.name, func(t *testing.T) {
			rapid.Check(t, func(r *rapid.T) {
				dir, err := tempDir(t)
				require.NoError(r, err)
				s := &splits{r: r, t: t, places: []string{e.fresh(t)}, now: 1}
				for van := range 3 {
					s.places = append(s.places, filepath.Join(dir, fmt.Sprintf("van%d.db", van)))
				}
				s.open()
				defer s.close()
				for range rapid.IntRange(1, 12).Draw(r, "moves") {
					s.move()
				}
				s.syncAll()
				s.converged()
			})
		})
	}
}

func tempDir(t *testing.T) (string, error) { return t.TempDir(), nil }

type splits struct {
	r       *rapid.T
	t       *testing.T
	places  []string
	ledgers []*store.Ledger
	events  []ledger.Event
	now     int
}

var names = []string{"server", "Ada", "Ben", "Cam"}

func (s *splits) open() {
	for _, p := range s.places {
		l, err := store.Open(context.Background(), p, store.Options{Create: true})
		require.NoError(s.r, err)
		s.ledgers = append(s.ledgers, l)
	}
}

func (s *splits) close() {
	for _, l := range s.ledgers {
		require.NoError(s.r, l.Close())
	}
}

func (s *splits) move() {
	s.now += rapid.IntRange(0, 20).Draw(s.r, "hours")
	at := rapid.IntRange(0, 3).Draw(s.r, "where")
	if rapid.IntRange(0, 2).Draw(s.r, "what") == 0 {
		other := rapid.IntRange(0, 3).Filter(func(n int) bool { return n != at }).Draw(s.r, "with")
		s.syncPair(at, other, rapid.IntRange(0, 3).Draw(s.r, "interrupted") == 0)
		return
	}
	var list []ledger.Entry
	for range rapid.IntRange(1, 3).Draw(s.r, "entries") {
		list = append(list, s.entry())
	}
	events, err := s.ledgers[at].Append(context.Background(), ledgertest.Writer(names[at]), list...)
	require.NoError(s.r, err)
	s.events = append(s.events, events...)
}

// entry is a step, a survey, or a correction of anything that anybody wrote,
// whether or not this van has seen it.
func (s *splits) entry() ledger.Entry {
	before := rapid.SampledFrom([]string{"", "1.5", "1.6"}).Draw(s.r, "before")
	e := step(s.now, before, rapid.SampledFrom([]string{"1.6", "1.8", "1.9"}).Draw(s.r, "after"))
	switch rapid.IntRange(0, 4).Draw(s.r, "kind") {
	case 0:
		e.Vessel = "morven-rose"
	case 1:
		return ledger.Entry{At: e.At, Kind: ledger.VesselTakenOn, Vessel: "kittiwake", Berth: fmt.Sprint("berth ", s.now), TakenOn: &ledger.TakenOn{
			Name: "Kittiwake", Devices: []ledger.Fitted{{Device: e.Step.Device, Version: version.Unknown}}, Removed: []string{"sounder"},
		}}
	case 2:
		if len(s.events) == 0 {
			return e
		}
		of := rapid.SampledFrom(s.events).Draw(s.r, "of")
		c := correct(of, s.now, nil)
		if rapid.Bool().Draw(s.r, "instead") {
			c.Correction.Instead = &e
		}
		return c
	}
	return e
}

func (s *splits) syncPair(a, b int, interrupted bool) {
	ctx, cancel := context.WithCancel(context.Background())
	defer cancel()
	if interrupted {
		go func() { time.Sleep(time.Duration(s.now%5) * time.Millisecond); cancel() }()
	}
	_, err := store.Sync(ctx, s.ledgers[a], s.ledgers[b], store.SyncOptions{})
	if !interrupted {
		require.NoError(s.r, err)
	}
}

// syncAll syncs every van with the server, in random order, until all have
// had the chance to hear of everything.
func (s *splits) syncAll() {
	for range 2 {
		for _, van := range rapid.Permutation([]int{1, 2, 3}).Draw(s.r, "order") {
			s.syncPair(van, 0, false)
		}
	}
}

func (s *splits) converged() {
	want := contents(s.r, s.ledgers[0])
	for _, l := range s.ledgers {
		require.Equal(s.r, want, contents(s.r, l))
		c, err := l.Check(context.Background(), store.CheckOptions{Known: ledgertest.Known(names...)})
		require.NoError(s.r, err)
		require.Empty(s.r, c.Breaks)
		require.EqualValues(s.r, len(s.events), c.Events, "none lost, none doubled")
	}
}

// A key that left counts for what had come in by its day: that is known by when
// events came in here, whatever they are dated.
func TestAKeyThatLeft(t *testing.T) {
	l, err := store.Open(t.Context(), filepath.Join(t.TempDir(), "ledger.db"), store.Options{Create: true})
	require.NoError(t, err)
	defer l.Close()
	e := func(n int) ledger.Entry {
		return ledger.Entry{At: ledgertest.Day(n), Kind: ledger.CheckPassed, Vessel: "kittiwake", Check: &ledger.Check{Device: ledger.Device{ID: "radar", Model: "fennick-sweep-2"}, Check: ledger.VersionShown, Value: "1.6"}}
	}
	before := ledgertest.Elsewhere(t, l, "Ada", e(3), e(1))
	time.Sleep(1100 * time.Millisecond) // an arrival is known to the second
	left := time.Now().UTC().Truncate(time.Second)
	time.Sleep(1100 * time.Millisecond)
	after := ledgertest.Elsewhere(t, l, "Ada", e(0), e(2))
	ours, err := l.Append(t.Context(), ledgertest.Writer("Ben"), e(4))
	require.NoError(t, err)
	key := func(name string) string { return ledger.Writer(ledgertest.Key(name).Public()) }
	counts := func(until time.Time) (list []ledger.ID) {
		l.Believe(map[string]time.Time{key("Ada"): until, key("Ben"): {}})
		require.NoError(t, l.Look(t.Context(), func(q store.Querier) error {
			trust, err := l.Trust(t.Context(), q)
			require.NoError(t, err)
			where, vessels, err := l.Untrusted(t.Context(), q)
			require.NoError(t, err)
			require.NoError(t, store.EachEvent(t.Context(), q, "1 = 1 ORDER BY no", nil, func(e ledger.Event) error {
				if trust(&e) {
					list = append(list, e.ID)
				}
				return nil
			}))
			if where == "" {
				assert.Len(t, list, 5)
				return nil
			}
			assert.Equal(t, []string{"kittiwake"}, vessels)
			var same []ledger.ID
			require.NoError(t, store.EachEvent(t.Context(), q, "no "+where+" ORDER BY no", nil, func(e ledger.Event) error {
				same = append(same, e.ID)
				return nil
			}))
			assert.Equal(t, list, same, "both ways of asking say the same")
			return nil
		}))
		return list
	}
	b0, b1, o := before[0].ID, before[1].ID, ours[0].ID
	assert.Equal(t, []ledger.ID{b0, b1, o}, counts(left))
	assert.Equal(t, []ledger.ID{o}, counts(left.Add(-time.Hour)))
	assert.Equal(t, []ledger.ID{b0, b1, after[0].ID, after[1].ID, o}, counts(time.Time{}))
}
