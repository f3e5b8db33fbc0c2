package store_test

import (
	"bytes"
	"context"
	"database/sql"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"cardwright/verify/ledger"
	"cardwright/verify/ledger/ledgertest"
	"cardwright/verify/ledger/store"
)

// unlock takes away what keeps events from being changed, as somebody who
// edits by hand would, and gives back what puts it in place again.
func unlock(t *testing.T, db *sql.DB, postgres bool) (lock func()) {
	t.Helper()
	exec := func(q string) {
		_, err := db.Exec(q)
		require.NoError(t, err, q)
	}
	if postgres {
		exec(`ALTER TABLE event DISABLE TRIGGER event_stays`)
		return func() { exec(`ALTER TABLE event ENABLE TRIGGER event_stays`) }
	}
	db.SetMaxOpenConns(1)
	exec(`PRAGMA foreign_keys=off`)
	var triggers []string
	rows, err := db.Query(`SELECT sql FROM sqlite_schema WHERE type = 'trigger'`)
	require.NoError(t, err)
	for rows.Next() {
		var s string
		require.NoError(t, rows.Scan(&s))
		triggers = append(triggers, s)
	}
	require.NoError(t, rows.Close())
	exec(`DROP TRIGGER event_stays`)
	exec(`DROP TRIGGER event_remains`)
	return func() {
		for _, s := range triggers {
			exec(s)
		}
	}
}

// Every edit by hand in the database is found, and the first broken link is
// named. The ledger holds Kittiwake taken on (event 1) and a visit (2 to 11).
func TestEveryEditByHandIsFound(t *testing.T) {
	// cut takes the events after one away, and all that hangs on them.
	cut := func(where string) []string {
		var list []string
		for _, table := range []string{"sighting", "reading", "carried", "device"} {
			list = append(list, "DELETE FROM "+table+" WHERE event IN (SELECT no FROM event WHERE "+where+")")
		}
		return append(list, "DELETE FROM event WHERE "+where)
	}
	for name, c := range map[string]struct {
		edit []string
		kind ledger.BreakKind
		seq  int64
	}{
		"changed version":        {[]string{`UPDATE event SET content = replace(content, '"after":"3.5', '"after":"3.9') WHERE seq = 6`}, ledger.ContentChanged, 6},
		"changed technician":     {[]string{`UPDATE event SET content = replace(content, '"Ada"', '"Ben"'), technician = 'Ben' WHERE seq = 4`}, ledger.ContentChanged, 4},
		"deleted row":            {cut("seq = 7"), ledger.EventMissing, 7},
		"deleted first row":      {cut("seq = 1"), ledger.EventMissing, 1},
		"swapped order":          {[]string{`UPDATE event SET seq = 13 - seq WHERE seq IN (6, 7)`}, ledger.EventMissing, 6},
		"swapped contents":       {[]string{`UPDATE event SET content = (SELECT content FROM event o WHERE o.seq = 13 - event.seq) WHERE seq IN (6, 7)`}, ledger.ContentChanged, 6},
		"signature of another":   {[]string{`UPDATE event SET signature = (SELECT signature FROM event o WHERE o.seq = 3) WHERE seq = 4`}, ledger.SignatureWrong, 4},
		"looked-up vessel":       {[]string{`UPDATE event SET vessel = 'skerry-light' WHERE seq = 5`}, ledger.IndexChanged, 5},
		"looked-up time":         {[]string{`UPDATE event SET at = '2020-01-01T00:00:00Z' WHERE seq = 5`}, ledger.IndexChanged, 5},
		"looked-up reading":      {[]string{`UPDATE reading SET version = '9.9' WHERE event = (SELECT no FROM event WHERE seq = 6)`}, ledger.IndexChanged, 6},
		"removed reading":        {[]string{`DELETE FROM reading WHERE event = (SELECT no FROM event WHERE seq = 6)`}, ledger.IndexChanged, 6},
		"put-in reading":         {[]string{`INSERT INTO carried SELECT event, place + 7, at, vessel, card, device, maker, model, variant, version, version_key, good FROM carried WHERE event = (SELECT no FROM event WHERE seq = 2)`}, ledger.IndexChanged, 2},
		"changed state":          {[]string{`UPDATE device SET version = '9.9' WHERE device = 'radar'`}, ledger.IndexChanged, 0},
		"removed state":          {[]string{`DELETE FROM device WHERE device = 'radar'`}, ledger.IndexChanged, 0},
		"put-in state":           {[]string{`INSERT INTO device SELECT vessel, 'sounder', event, at, kind, maker, model, name, place, serial, variant, version, version_key, other, gone FROM device WHERE device = 'radar'`}, ledger.IndexChanged, 0},
		"changed vessel":         {[]string{`UPDATE vessel SET berth = 'elsewhere'`}, ledger.IndexChanged, 0},
		"put-in vessel":          {[]string{`INSERT INTO vessel VALUES ('ghost', 'Ghost', '', '', '', '')`}, ledger.IndexChanged, 0},
		"removed vessel":         {[]string{`DELETE FROM vessel`}, ledger.IndexChanged, 0},
		"changed chain":          {[]string{`UPDATE chain SET name = replace(name, 'a', 'b'), writer = replace(writer, '1', '2')`}, ledger.IndexChanged, 1},
		"id and links rewritten": {[]string{`UPDATE event SET id = (SELECT signature FROM event o WHERE o.seq = 3) WHERE seq = 4`}, ledger.ContentChanged, 4},
	} {
		for _, e := range engines {
			edits := c.edit
			if e.name == "PostgreSQL" {
				edits = slices.DeleteFunc(slices.Clone(edits), lookedUp)
			}
			if len(edits) == 0 {
				continue // a server has no such table
			}
			t.Run(name+"/"+e.name, func(t *testing.T) {
				address := e.fresh(t)
				l := open(t, address)
				w := ledgertest.NewWorld(1)
				appendTo(t, l, "Ada", append([]ledger.Entry{w.TakeOn(1, 0)}, w.Visit(1, 3)...)...)
				db := bare(t, address)
				lock := unlock(t, db, store.IsPostgres(address))
				var changed int64
				for _, q := range edits {
					r, err := db.Exec(q)
					require.NoError(t, err)
					changed, err = r.RowsAffected()
					require.NoError(t, err)
				}
				require.Positive(t, changed, "the edit must change something")
				lock()
				r := check(t, l)
				assert.Equal(t, store.Edited, r.Verdict)
				require.NotNil(t, r.First)
				assert.Equal(t, c.kind, r.First.Kind, "%+v", r.First)
				assert.Equal(t, c.seq, r.First.Seq, "%+v", r.First)
			})
		}
	}
}

// lookedUp reports an edit whether it is of the tables that answers are looked up
// in, which stand only in files.
func lookedUp(edit string) bool {
	for _, table := range []string{"sighting", "reading", "carried", "device", "vessel", "seen"} {
		for _, verb := range []string{"UPDATE ", "DELETE FROM ", "INSERT INTO "} {
			if strings.HasPrefix(edit+" ", verb+table+" ") {
				return true
			}
		}
	}
	return false
}

func check(t testing.TB, l *store.Ledger, saved ...ledger.Heads) store.CheckReport {
	t.Helper()
	r, err := l.Check(context.Background(), store.CheckOptions{Known: ledgertest.Known("Ada", "Ben"), Saved: saved})
	require.NoError(t, err)
	return r
}

// forge signs an event with a key and puts it into the database by hand, at
// the end of a writer's chain.
func forge(t *testing.T, db *sql.DB, key ledger.Key, change func(*ledger.Statement)) {
	t.Helper()
	var last ledger.ID
	var id []byte
	var content string
	require.NoError(t, db.QueryRow(`SELECT id, content FROM event ORDER BY seq DESC LIMIT 1`).Scan(&id, &content))
	copy(last[:], id)
	s, err := ledger.Parse([]byte(content))
	require.NoError(t, err)
	s.Seq, s.Prev = s.Seq+1, last.String()
	change(&s)
	e, err := ledger.Sign(s, key)
	require.NoError(t, err)
	if content, changed := claim(&s, e); changed {
		e.Content, e.ID = content, ledger.IDOf(content)
	}
	_, err = db.Exec(`INSERT INTO event (id, chain, seq, ord, at, kind, vessel, visit, berth, technician, card, target, corrects, content, signature)
		SELECT $1, chain, $2, $3, at, kind, vessel, visit, berth, technician, card, target, corrects, $4, $5 FROM event ORDER BY seq DESC LIMIT 1`,
		e.ID[:], s.Seq, ledger.Ord(s.Entry.At, &s, e.ID), string(e.Content), e.Signature)
	require.NoError(t, err)
}

// claim writes the writer that a statement names into what another signed.
func claim(s *ledger.Statement, e ledger.Event) ([]byte, bool) {
	if s.Writer == e.Statement.Writer {
		return nil, false
	}
	return bytes.Replace(e.Content, []byte(e.Statement.Writer), []byte(s.Writer), 1), true
}

func TestAForgedEventIsFound(t *testing.T) {
	mallory := ledgertest.Key("Mallory")
	for name, c := range map[string]struct {
		change func(*ledger.Statement)
		kind   ledger.BreakKind
	}{
		"in another's name":                         {func(*ledger.Statement) {}, ledger.SignatureWrong},
		"with a key of its own, in another's chain": {func(s *ledger.Statement) { s.Writer = ledger.Writer(mallory.Public()) }, ledger.IndexChanged},
	} {
		for _, e := range engines {
			t.Run(name+"/"+e.name, func(t *testing.T) {
				address := e.fresh(t)
				l := open(t, address)
				appendTo(t, l, "Ada", step(0, "1.6", "1.8"), step(1, "1.8", "1.9"))
				forge(t, bare(t, address), mallory, c.change)
				r := check(t, l)
				assert.Equal(t, store.Edited, r.Verdict)
				assert.Equal(t, c.kind, r.First.Kind)
				assert.EqualValues(t, 3, r.First.Seq)
			})
		}
	}
}

// A chain that is whole but signed by nobody whom the shop trusts.
func TestAChainForgedWithAKeyOfItsOwnIsFound(t *testing.T) {
	onBoth(t, func(t *testing.T, l *store.Ledger) {
		appendTo(t, l, "Ada", step(0, "1.6", "1.8"))
		appendTo(t, l, "Mallory", step(1, "1.8", "9.9"))
		r := check(t, l)
		assert.Equal(t, ledger.WriterUnknown, r.First.Kind)
		assert.Equal(t, store.Edited, r.Verdict)

		r, err := l.Check(context.Background(), store.CheckOptions{})
		require.NoError(t, err)
		assert.Equal(t, store.Unproven, r.Verdict, "nobody said whom the shop trusts")
		assert.Contains(t, strings.Join(r.Notes, "\n"), "forged with another key would go unnoticed")
	})
}

func TestARemovedTailShowsOnlyAgainstASavedHead(t *testing.T) {
	for _, e := range engines {
		t.Run(e.name, func(t *testing.T) {
			address := e.fresh(t)
			l := open(t, address)
			appendTo(t, l, "Ada", step(0, "1.5", "1.6"), step(1, "1.6", "1.8"))
			saved, err := l.Heads(context.Background())
			require.NoError(t, err)
			db := bare(t, address)
			lock := unlock(t, db, store.IsPostgres(address))
			for _, q := range []string{
				`DELETE FROM device`, `DELETE FROM reading WHERE event = (SELECT no FROM event WHERE seq = 2)`, `DELETE FROM event WHERE seq = 2`,
				`INSERT INTO device SELECT vessel, device, event, at, kind, maker, model, name, place, serial, variant, version, version_key, '', 0 FROM reading`,
			} {
				if store.IsPostgres(address) && lookedUp(q) {
					continue
				}
				_, err := db.Exec(q)
				require.NoError(t, err)
			}
			lock()
			r := check(t, l)
			assert.Equal(t, store.Whole, r.Verdict)
			assert.Contains(t, r.Notes[0], "show only against a head saved elsewhere")

			r = check(t, l, saved)
			assert.Equal(t, store.Edited, r.Verdict)
			assert.Equal(t, ledger.TailMissing, r.First.Kind)
			assert.EqualValues(t, 2, r.First.Seq)
		})
	}
}

func TestAViewInPlaceOfATableIsRefused(t *testing.T) {
	path := filepath.Join(t.TempDir(), "ledger.db")
	require.NoError(t, open(t, path).Close())
	for name, q := range map[string]string{
		"view":    `ALTER TABLE witness RENAME TO w; CREATE VIEW witness AS WITH RECURSIVE n(x) AS (SELECT 1 UNION ALL SELECT x+1 FROM n) SELECT x AS ledger, x AS writer, x AS chain, x AS seq, x AS id, x AS taken FROM n`,
		"trigger": `CREATE TRIGGER t AFTER INSERT ON event BEGIN DELETE FROM vessel; END`,
		"no lock": `DROP TRIGGER event_stays`,
		"column":  `ALTER TABLE event ADD COLUMN more TEXT`,
	} {
		t.Run(name, func(t *testing.T) {
			spoiled := filepath.Join(t.TempDir(), "ledger.db")
			data, err := os.ReadFile(path)
			require.NoError(t, err)
			require.NoError(t, os.WriteFile(spoiled, data, 0o600))
			_, err = bare(t, spoiled).Exec(q)
			require.NoError(t, err)
			_, err = store.Open(context.Background(), spoiled, store.Options{})
			assert.ErrorIs(t, err, store.ErrSchema)
			r, err := store.CheckAt(context.Background(), spoiled, store.CheckOptions{})
			require.NoError(t, err)
			assert.Equal(t, store.Edited, r.Verdict)
			assert.Equal(t, ledger.SchemaChanged, r.First.Kind)
		})
	}
}

func TestAFileThatIsNoLedgerIsRefused(t *testing.T) {
	dir := t.TempDir()
	other := filepath.Join(dir, "other.db")
	_, err := bare(t, other).Exec(`CREATE TABLE boats (name TEXT)`)
	require.NoError(t, err)
	text := filepath.Join(dir, "notes.txt")
	require.NoError(t, os.WriteFile(text, []byte("radar 1.8"), 0o600))
	empty := filepath.Join(dir, "empty")
	require.NoError(t, os.WriteFile(empty, nil, 0o600))
	for _, path := range []string{other, text, empty} {
		_, err := store.Open(context.Background(), path, store.Options{Create: true})
		assert.ErrorIs(t, err, store.ErrNotLedger, path)
	}
	left, err := os.ReadFile(text)
	require.NoError(t, err)
	assert.Equal(t, "radar 1.8", string(left))
}

// A ledger's other files are next to the file itself, wherever a link to it is.
func TestALinkLeadsToTheLedger(t *testing.T) {
	ctx := context.Background()
	dir := t.TempDir()
	path, link := filepath.Join(dir, "ledger.db"), filepath.Join(t.TempDir(), "link.db")
	l := open(t, path)
	appendTo(t, l, "Ada", step(0, "1.6", "1.8"))
	require.NoError(t, os.Symlink(path, link))
	through := open(t, link)
	appendTo(t, through, "Ada", step(1, "1.8", "1.9"))
	assert.EqualValues(t, 2, requireWhole(t, l, "Ada").Events)
	assert.NoFileExists(t, link+"-wal")
	_, err := store.Sync(ctx, l, through, store.SyncOptions{})
	assert.ErrorContains(t, err, "both are the same ledger")

	nowhere := filepath.Join(dir, "nowhere.db")
	require.NoError(t, os.Symlink(filepath.Join(dir, "gone.db"), nowhere))
	pipe := filepath.Join(dir, "pipe")
	require.NoError(t, exec.Command("mkfifo", pipe).Run())
	for path, says := range map[string]string{nowhere: "leads nowhere", dir: "found a folder", pipe: "found a device or pipe"} {
		for _, o := range []store.Options{{Create: true}, {ReadOnly: true}} {
			_, err := store.Open(ctx, path, o)
			assert.ErrorIs(t, err, store.ErrNotLedger)
			assert.ErrorContains(t, err, says)
		}
		_, err := store.CheckAt(ctx, path, known())
		assert.ErrorContains(t, err, says)
		_, err = store.Salvage(ctx, path, filepath.Join(t.TempDir(), "new.db"), known())
		assert.Error(t, err)
	}
	assert.NoFileExists(t, filepath.Join(dir, "gone.db"))
}

func TestANewerLedgerIsRefused(t *testing.T) {
	for _, e := range engines {
		t.Run(e.name, func(t *testing.T) {
			address := e.fresh(t)
			open(t, address)
			db := bare(t, address)
			for _, q := range []string{`INSERT INTO goose_db_version (version_id, is_applied) VALUES (99, true)`, `ALTER TABLE event ADD COLUMN more TEXT`} {
				_, err := db.Exec(q)
				require.NoError(t, err)
			}
			_, err := store.Open(context.Background(), address, store.Options{})
			assert.ErrorIs(t, err, store.ErrNewer)
		})
	}
}

func TestAFieldOfManyMegabytesDoesNotFillMemory(t *testing.T) {
	path := filepath.Join(t.TempDir(), "ledger.db")
	l := open(t, path)
	appendTo(t, l, "Ada", step(0, "1.6", "1.8"))
	db := bare(t, path)
	lock := unlock(t, db, false)
	_, err := db.Exec(`UPDATE event SET content = CAST(zeroblob(1000000) AS TEXT), vessel = CAST(zeroblob(1000000) AS TEXT)`)
	require.NoError(t, err)
	lock()
	assert.Equal(t, store.Damaged, check(t, l).Verdict)
	_, err = db.Exec(fmt.Sprintf(`UPDATE reading SET place = CAST(zeroblob(%d) AS TEXT)`, 16<<20))
	require.NoError(t, err)
	r := check(t, l)
	assert.Equal(t, ledger.SchemaChanged, r.Breaks[len(r.Breaks)-1].Kind)
}

// What was changed by hand in the tables that are looked up is as the events say,
// once they are worked out anew: in a file, or in the copy of a server.
func TestTablesAreRebuiltFromTheEvents(t *testing.T) {
	for _, e := range engines {
		t.Run(e.name, func(t *testing.T) {
			address, memory := e.fresh(t), filepath.Join(t.TempDir(), "memory")
			l, err := store.Open(context.Background(), address, store.Options{Create: true, Memory: memory})
			require.NoError(t, err)
			defer func() { require.NoError(t, l.Close()) }()
			w := ledgertest.NewWorld(1)
			appendTo(t, l, "Ada", append([]ledger.Entry{w.TakeOn(1, 0)}, w.Visit(1, 3)...)...)
			appendTo(t, l, "Ben", w.Visit(1, 9)...)
			before := contents(t, l)
			tables := address
			if store.IsPostgres(address) {
				tables = memory + ".db"
			}
			db := bare(t, tables)
			for _, q := range []string{
				`UPDATE device SET version = '9.9'`, `UPDATE reading SET version = '9.9'`, `DELETE FROM carried`, `DELETE FROM seen`,
				`UPDATE vessel SET berth = 'elsewhere'`, `INSERT INTO vessel VALUES ('ghost', 'Ghost', '', '', '', '')`, `DELETE FROM sighting`,
			} {
				_, err := db.Exec(q)
				require.NoError(t, err)
			}
			require.NotEqual(t, before, contents(t, l))
			r, err := store.CheckAt(context.Background(), tables, store.CheckOptions{Known: ledgertest.Known("Ada", "Ben")})
			require.NoError(t, err)
			require.Equal(t, store.Edited, r.Verdict)
			assert.Contains(t, r.First.Advice, string(store.Rebuild))
			require.NoError(t, l.Rebuild(context.Background()))
			assert.Equal(t, before, contents(t, l))
			requireWhole(t, l, "Ada", "Ben")
		})
	}
}
