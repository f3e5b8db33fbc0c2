package store_test

import (
	"bytes"
	"context"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"cardwright/verify/ledger"
	"cardwright/verify/ledger/ledgertest"
	"cardwright/verify/ledger/store"
)

func known() store.CheckOptions {
	return store.CheckOptions{Known: ledgertest.Known("Ada", "Ben")}
}

// busy fills a ledger with a few vessels' work.
func busy(t testing.TB, l *store.Ledger, vessels int) {
	t.Helper()
	w := ledgertest.NewWorld(7)
	for n := range vessels {
		appendTo(t, l, "Ada", w.TakeOn(n, 0))
		appendTo(t, l, "Ben", w.Visit(n, n+1)...)
	}
}

func TestABackupIsWholeAndBecomesALedgerOfItsOwn(t *testing.T) {
	onBoth(t, func(t *testing.T, l *store.Ledger) {
		ctx := context.Background()
		busy(t, l, 3)
		dir := t.TempDir()
		backup := filepath.Join(dir, "backup.db")
		b, err := l.Backup(ctx, backup, known())
		require.NoError(t, err)
		assert.Equal(t, store.Whole, b.Check.Verdict)
		assert.EqualValues(t, 33, b.Check.Events)
		require.Len(t, b.Heads.Heads, 2)
		only, err := os.ReadDir(dir)
		require.NoError(t, err)
		assert.Len(t, only, 1, "one file and nothing beside it")

		restored := filepath.Join(t.TempDir(), "ledger.db")
		r, err := store.Restore(ctx, backup, restored, known())
		require.NoError(t, err)
		assert.True(t, r.Made)
		assert.Equal(t, 33, r.Added)
		again := open(t, restored)
		assert.NotEqual(t, l.ID(), again.ID())
		assert.Equal(t, contents(t, l), contents(t, again))

		w := ledgertest.NewWorld(8)
		appendTo(t, l, "Ada", w.TakeOn(9, 9))
		appendTo(t, again, "Ada", w.TakeOn(9, 10))
		syncWith(t, again, l)
		c := requireWhole(t, again, "Ada", "Ben")
		assert.Len(t, c.Chains, 3, "the restored ledger began a chain of its own, so the two don't fork")
	})
}

func TestABackupIsMadeWhileOthersWrite(t *testing.T) {
	onBoth(t, func(t *testing.T, l *store.Ledger) {
		w := ledgertest.NewWorld(1)
		appendTo(t, l, "Ada", w.TakeOn(1, 0))
		var wait sync.WaitGroup
		stop := make(chan struct{})
		wait.Go(func() {
			for day := 1; ; day++ {
				select {
				case <-stop:
					return
				default:
					_, err := l.Append(context.Background(), ledgertest.Writer("Ada"), w.Visit(1, day)...)
					assert.NoError(t, err)
				}
			}
		})
		defer wait.Wait()
		defer close(stop)
		for range 3 {
			b, err := l.Backup(context.Background(), filepath.Join(t.TempDir(), "backup.db"), known())
			require.NoError(t, err)
			assert.Equal(t, store.Whole, b.Check.Verdict)
		}
	})
}

func TestNothingIsOverwritten(t *testing.T) {
	l := open(t, file(t))
	busy(t, l, 1)
	taken := filepath.Join(t.TempDir(), "taken.db")
	require.NoError(t, os.WriteFile(taken, []byte("mine"), 0o600))
	_, err := l.Backup(context.Background(), taken, known())
	assert.ErrorContains(t, err, "is there already")
	_, err = store.Salvage(context.Background(), l.Place(), taken, known())
	assert.ErrorContains(t, err, "is there already")
	_, err = store.Restore(context.Background(), l.Place(), taken, known())
	assert.ErrorIs(t, err, store.ErrNotLedger)
	data, err := os.ReadFile(taken)
	require.NoError(t, err)
	assert.Equal(t, "mine", string(data))

	// A log without its ledger belongs to some other file.
	orphan := filepath.Join(t.TempDir(), "ledger.db")
	require.NoError(t, os.WriteFile(orphan+"-wal", []byte("x"), 0o600))
	_, err = store.Restore(context.Background(), l.Place(), orphan, known())
	assert.ErrorContains(t, err, "-wal is there already")
	_, err = store.Open(context.Background(), orphan, store.Options{Create: true})
	assert.ErrorContains(t, err, "-wal is there but the ledger isn't")
}

func TestRestoringIntoALedgerOnlyAdds(t *testing.T) {
	onBoth(t, func(t *testing.T, l *store.Ledger) {
		van := open(t, file(t))
		busy(t, van, 2)
		backup := filepath.Join(t.TempDir(), "backup.db")
		_, err := van.Backup(context.Background(), backup, known())
		require.NoError(t, err)
		appendTo(t, l, "Ben", step(0, "1.6", "1.8"))
		for _, added := range []int{22, 0} {
			r, err := store.Restore(context.Background(), backup, address(l), known())
			require.NoError(t, err)
			assert.False(t, r.Made)
			assert.Equal(t, added, r.Added)
		}
		assert.EqualValues(t, 23, requireWhole(t, l, "Ada", "Ben").Events)
	})
}

// address is where a ledger of these tests stands: it has no password.
func address(l *store.Ledger) string { return l.Place() }

func TestABrokenBackupIsNotRestored(t *testing.T) {
	path := file(t)
	l := open(t, path)
	busy(t, l, 1)
	db := bare(t, path)
	lock := unlock(t, db, false)
	_, err := db.Exec(`UPDATE event SET content = replace(content, 'Kittiwake', 'Kittywake')`)
	require.NoError(t, err)
	lock()
	backup := filepath.Join(t.TempDir(), "backup.db")
	b, err := l.Backup(context.Background(), backup, known())
	require.NoError(t, err)
	assert.Equal(t, store.Edited, b.Check.Verdict, "a backup of a broken ledger is made, and says so")
	to := file(t)
	r, err := store.Restore(context.Background(), backup, to, known())
	assert.ErrorIs(t, err, store.ErrBroken)
	assert.Equal(t, ledger.ContentChanged, r.Check.First.Kind)
	assert.NoFileExists(t, to)
}

// settled gives the bytes of a ledger file without a log next to it.
func settled(t *testing.T, vessels int) []byte {
	t.Helper()
	l := open(t, file(t))
	busy(t, l, vessels)
	backup := filepath.Join(t.TempDir(), "settled.db")
	_, err := l.Backup(context.Background(), backup, known())
	require.NoError(t, err)
	data, err := os.ReadFile(backup)
	require.NoError(t, err)
	return data
}

func put(t *testing.T, data []byte) string {
	t.Helper()
	path := file(t)
	require.NoError(t, os.WriteFile(path, data, 0o600))
	return path
}

func TestSalvageTakesEverythingOutOfASoundFile(t *testing.T) {
	path := put(t, settled(t, 20))
	r, err := store.Salvage(context.Background(), path, file(t), known())
	require.NoError(t, err)
	assert.Equal(t, 220, r.Taken)
	assert.Equal(t, store.Whole, r.Check.Verdict)
}

// A database in use has remains of moved rows in its pages. They are no loss
// where the event itself is there.
func TestRemainsOfMovedRowsAreNotCalledLost(t *testing.T) {
	path := file(t)
	l := open(t, path)
	for range 30 {
		busy(t, l, 1)
	}
	require.NoError(t, l.Close())
	r, err := store.Salvage(context.Background(), path, file(t), known())
	require.NoError(t, err)
	assert.Equal(t, store.Whole, r.Check.Verdict)
	assert.Zero(t, r.Unsound)
}

func TestAnEventThatIsSpoiledForGoodIsCounted(t *testing.T) {
	data := settled(t, 20)
	at := bytes.Index(data, []byte(`"Kittiwake 7"`))
	require.Positive(t, at)
	data[at+1] ^= 1
	r, err := store.Salvage(context.Background(), put(t, data), file(t), known())
	require.NoError(t, err)
	assert.Equal(t, 219, r.Taken)
	assert.Equal(t, 1, r.Unsound)
}

// A check separates damage from edits, and what can be read of a damaged file is
// salvaged.
func TestADamagedFileIsToldApartAndSalvaged(t *testing.T) {
	sound := settled(t, 20)
	const page = 4096
	at := bytes.Index(sound, []byte("Kittiwake 7"))
	require.Positive(t, at)
	for name, c := range map[string]struct {
		spoil func([]byte) []byte
		least int // events that must be salvaged, of 220
	}{
		"a torn end":                {func(b []byte) []byte { return b[:len(b)/2] }, 60},
		"the first page lost":       {func(b []byte) []byte { clear(b[:page]); return b }, 215},
		"a page lost":               {func(b []byte) []byte { clear(b[at/page*page : at/page*page+page]); return b }, 200},
		"a sector of noise":         {func(b []byte) []byte { noise(b[at/512*512 : at/512*512+512]); return b }, 200},
		"every tenth page lost":     {func(b []byte) []byte { everyTenth(b, page); return b }, 120},
		"a page in another's place": {func(b []byte) []byte { copy(b[5*page:6*page], b[len(b)-page:]); return b }, 180},
	} {
		t.Run(name, func(t *testing.T) {
			path := put(t, c.spoil(bytes.Clone(sound)))
			r, err := store.CheckAt(context.Background(), path, known())
			require.NoError(t, err)
			assert.Equal(t, store.Damaged, r.Verdict, "%.600v", r.Breaks)
			to := file(t)
			s, err := store.Salvage(context.Background(), path, to, known())
			require.NoError(t, err)
			assert.GreaterOrEqual(t, s.Taken, c.least)
			named := missing(s.Check)
			assert.NotEqual(t, store.Damaged, s.Check.Verdict)
			if s.Taken < 220 {
				assert.True(t, named > 0 || s.Check.Chains[0].Events+s.Check.Chains[1].Events < 220, "gaps are named")
			}
			requireSame(t, to, path)
		})
	}
}

// One flipped bit may be wear, or somebody who made a 2 a 3: the worse is
// taken, and the report says both.
func TestOneFlippedBitIsCalledAnEditAndMayBeWear(t *testing.T) {
	path := file(t)
	l := open(t, path)
	appendTo(t, l, "Ada", step(0, "1.5", "1.6"))
	db := bare(t, path)
	lock := unlock(t, db, false)
	_, err := db.Exec(`UPDATE event SET content = replace(content, '"1.6"', '"1.7"')`)
	require.NoError(t, err)
	lock()
	r := check(t, l)
	assert.Equal(t, store.Edited, r.Verdict)
	assert.Contains(t, r.First.Meaning, "a single bit, which a worn medium can do too")
}

// requireSame checks that salvage left the damaged file alone.
func requireSame(t *testing.T, to, path string) {
	t.Helper()
	for _, end := range []string{"-wal", "-shm", "-journal"} {
		assert.NoFileExists(t, path+end)
	}
	assert.FileExists(t, to)
}

func missing(r store.CheckReport) (n int) {
	for _, b := range r.Breaks {
		if b.Kind == ledger.EventMissing {
			n++
		}
	}
	return n
}

func noise(b []byte) {
	r := rand.New(rand.NewPCG(1, 2))
	for i := range b {
		b[i] = byte(r.Uint32())
	}
}

func everyTenth(b []byte, page int) {
	for p := 10; (p+1)*page <= len(b); p += 10 {
		clear(b[p*page : (p+1)*page])
	}
}

// What was edited in a sound database is called edited, and salvage takes
// what was signed.
func TestAnEditedFileIsSalvagedWithoutTheEdits(t *testing.T) {
	path := file(t)
	l := open(t, path)
	busy(t, l, 3)
	db := bare(t, path)
	lock := unlock(t, db, false)
	for _, q := range []string{
		`UPDATE event SET content = replace(content, '"Ben"', '"Eve"') WHERE seq = 5`,
		`UPDATE device SET version = '9.9'`,
		`UPDATE reading SET version = '9.9'`,
	} {
		_, err := db.Exec(q)
		require.NoError(t, err)
	}
	lock()
	r, err := store.CheckAt(context.Background(), path, known())
	require.NoError(t, err)
	assert.Equal(t, store.Edited, r.Verdict)
	to := file(t)
	s, err := store.Salvage(context.Background(), path, to, known())
	require.NoError(t, err)
	assert.GreaterOrEqual(t, s.Taken, 32)
	assert.Equal(t, 33-s.Taken, s.Unsound)
	for _, b := range s.Check.Breaks {
		assert.Equal(t, ledger.EventMissing, b.Kind)
	}
	again := open(t, to)
	require.NoError(t, again.Look(context.Background(), func(q store.Querier) error {
		var n int
		err := q.QueryRowContext(context.Background(), `SELECT count(*) FROM device WHERE version = '9.9'`).Scan(&n)
		assert.Zero(t, n)
		return err
	}))
}

// Events that are only in the log next to the file are salvaged too, and
// those of a transaction that was never committed are not.
func TestSalvageReadsTheLog(t *testing.T) {
	path := file(t)
	l := open(t, path)
	busy(t, l, 2)
	dir := t.TempDir()
	copied := filepath.Join(dir, "copy.db")
	for _, end := range []string{"", "-wal"} {
		data, err := os.ReadFile(path + end)
		require.NoError(t, err)
		require.NoError(t, os.WriteFile(copied+end, data, 0o600))
	}
	s, err := store.Salvage(context.Background(), copied, filepath.Join(dir, "new.db"), known())
	require.NoError(t, err)
	assert.Equal(t, 22, s.Taken)
	assert.Equal(t, store.Whole, s.Check.Verdict)
}

// An event longer than a page fills several.
func TestSalvagePutsLongEventsTogether(t *testing.T) {
	l := open(t, file(t))
	e := step(0, "1.6", "1.8")
	e.Step.Note = strings.Repeat("the radar would not take it; ", 140)
	e.Step.Reason = strings.Repeat("the customer brought the card; ", 130)
	appendTo(t, l, "Ada", e, step(1, "1.8", "1.9"))
	backup := filepath.Join(t.TempDir(), "backup.db")
	_, err := l.Backup(context.Background(), backup, known())
	require.NoError(t, err)
	s, err := store.Salvage(context.Background(), backup, file(t), known())
	require.NoError(t, err)
	assert.Equal(t, 2, s.Taken)
	assert.Equal(t, store.Whole, s.Check.Verdict)
}
