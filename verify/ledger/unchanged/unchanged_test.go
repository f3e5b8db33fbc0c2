package unchanged_test

import (
	"context"
	"database/sql"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"cardwright/verify/ledger"
	"cardwright/verify/ledger/ledgertest"
	"cardwright/verify/ledger/store"
	"cardwright/verify/ledger/unchanged"
)

func TestMain(m *testing.M) { os.Exit(ledgertest.Main(m)) }

var ctx = context.Background()

// watched is a ledger, and what was said while it was looked at.
type watched struct {
	unchanged.Ledger
	told []unchanged.NoticeKind
}

func watch(address, memory string) *watched {
	w := &watched{}
	w.Ledger = unchanged.Ledger{Address: address, Memory: memory, Tell: func(n unchanged.Notice) { w.told = append(w.told, n.Kind) }}
	return w
}

// onBoth runs a test with a new ledger on each engine, and a place to remember it in.
func onBoth(t *testing.T, test func(t *testing.T, w *watched)) {
	for name, address := range map[string]func(testing.TB) string{
		"SQLite":     func(t testing.TB) string { return filepath.Join(t.TempDir(), "ledger.db") },
		"PostgreSQL": ledgertest.Postgres,
	} {
		t.Run(name, func(t *testing.T) {
			place := address(t)
			test(t, watch(place, store.MemoryAt(t.TempDir(), place)))
		})
	}
}

// add appends a vessel with some visits.
func add(t *testing.T, w *watched, entries ...ledger.Entry) {
	t.Helper()
	require.NoError(t, w.Add(ctx, func(l *store.Ledger) error {
		_, err := l.Append(ctx, ledgertest.Writer("Ada"), entries...)
		return err
	}))
}

// edit writes to a ledger file with SQLite alone, as somebody with its shell would who
// covers the tracks: the trigger that is in the way stands again afterwards.
func edit(t *testing.T, file, statement string) {
	t.Helper()
	db, err := sql.Open("sqlite", file)
	require.NoError(t, err)
	defer db.Close()
	var trigger string
	require.NoError(t, db.QueryRow(`SELECT sql FROM sqlite_master WHERE name = 'event_stays'`).Scan(&trigger))
	for _, s := range []string{`DROP TRIGGER event_stays`, statement, trigger} {
		_, err = db.Exec(s)
		require.NoError(t, err, s)
	}
}

func TestALedgerThatIsNotThereHolds(t *testing.T) {
	checked, err := watch(filepath.Join(t.TempDir(), "ledger.db"), "").Holds(ctx)
	require.NoError(t, err)
	assert.True(t, checked.IsZero())
}

func TestWhatThisProgramAddedStillHolds(t *testing.T) {
	onBoth(t, func(t *testing.T, w *watched) {
		world := ledgertest.NewWorld(1)
		add(t, w, world.TakeOn(1, 0))
		first, err := w.Holds(ctx)
		require.NoError(t, err)
		add(t, w, world.Visit(1, 3)...)
		_, err = w.Holds(ctx)
		require.NoError(t, err)
		r, accepted, err := w.Check(ctx, store.CheckOptions{Known: ledgertest.Known("Ada")}, false)
		require.NoError(t, err)
		assert.Equal(t, store.Whole, r.Verdict)
		assert.Empty(t, accepted)
		require.NotNil(t, r.Checked, "nothing was read again")
		assert.Equal(t, first, *r.Checked)
		assert.EqualValues(t, 11, r.Events)
	})
}

func TestAnEditIsToldBeforeTheNextAnswer(t *testing.T) {
	file := filepath.Join(t.TempDir(), "ledger.db")
	w := watch(file, store.MemoryAt(t.TempDir(), file))
	world := ledgertest.NewWorld(1)
	add(t, w, world.TakeOn(1, 0))
	_, err := w.Holds(ctx)
	require.NoError(t, err)

	edit(t, file, `UPDATE event SET technician = 'Mallory'`)
	_, err = w.Holds(ctx)
	var changed *unchanged.Changed
	require.ErrorAs(t, err, &changed)
	assert.Equal(t, store.Edited, changed.Report.Verdict)
	assert.NotNil(t, changed.Report.First)
	_, err = w.Holds(ctx)
	require.ErrorAs(t, err, &changed, "it isn't forgotten by asking again")

	_, err = w.Accept(ctx, store.CheckOptions{}, "it was me")
	require.ErrorAs(t, err, &changed, "an edited ledger is never accepted")
}

func TestAnOlderCopyIsToldAndMayBeAccepted(t *testing.T) {
	dir := t.TempDir()
	file := filepath.Join(dir, "ledger.db")
	w := watch(file, store.MemoryAt(t.TempDir(), file))
	world := ledgertest.NewWorld(1)
	add(t, w, world.TakeOn(1, 0))
	older, err := os.ReadFile(file)
	require.NoError(t, err)
	_, err = w.Accept(ctx, store.CheckOptions{}, "for nothing")
	require.ErrorIs(t, err, store.ErrNothingLost)

	add(t, w, world.Visit(1, 3)...)
	_, err = w.Holds(ctx)
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(file, older, 0o600))
	var changed *unchanged.Changed
	_, err = w.Holds(ctx)
	require.ErrorAs(t, err, &changed)

	a, err := w.Accept(ctx, store.CheckOptions{}, "the disk failed")
	require.NoError(t, err)
	assert.Len(t, a.Lost, 1)
	_, err = w.Holds(ctx)
	require.NoError(t, err)
	_, accepted, err := w.Check(ctx, store.CheckOptions{Known: ledgertest.Known("Ada")}, false)
	require.NoError(t, err)
	require.Len(t, accepted, 1)
	assert.Equal(t, "the disk failed", accepted[0].Why)
}

func TestAnotherLedgerInItsPlaceIsTold(t *testing.T) {
	dir, memory := t.TempDir(), t.TempDir()
	file := filepath.Join(dir, "ledger.db")
	w := watch(file, store.MemoryAt(memory, file))
	world := ledgertest.NewWorld(1)
	add(t, w, world.TakeOn(1, 0))
	_, err := w.Holds(ctx)
	require.NoError(t, err)

	require.NoError(t, os.Remove(file))
	add(t, w, world.TakeOn(1, 0))
	w.told = nil
	var changed *unchanged.Changed
	_, err = w.Holds(ctx)
	require.ErrorAs(t, err, &changed, "the one that was checked had events that this one hasn't")
	assert.Equal(t, []unchanged.NoticeKind{unchanged.AnotherLedger}, w.told)
}

func TestWhatSomethingElseWroteIsReadAgain(t *testing.T) {
	file := filepath.Join(t.TempDir(), "ledger.db")
	memory := t.TempDir()
	w := watch(file, store.MemoryAt(memory, file))
	world := ledgertest.NewWorld(1)
	add(t, w, world.TakeOn(1, 0))
	first, err := w.Holds(ctx)
	require.NoError(t, err)
	before := store.Fingerprint(file)
	add(t, watch(file, ""), world.Visit(1, 1)...) // remembers nothing
	assert.NotEqual(t, before, store.Fingerprint(file))
	r, _, err := w.Check(ctx, store.CheckOptions{Known: ledgertest.Known("Ada")}, false)
	require.NoError(t, err)
	assert.Nil(t, r.Checked, "every event was read now")
	again, err := w.Holds(ctx)
	require.NoError(t, err)
	assert.False(t, again.Before(first))
}
