package audit_test

import (
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"cardwright/manifest/version"
	"cardwright/verify/ledger"
	"cardwright/verify/ledger/audit"
	"cardwright/verify/ledger/ledgertest"
	"cardwright/verify/ledger/store"
)

// columnsOf are the columns of every table of a ledger, with what
// changes one: text, a number or bytes.
var columnsOf = []struct{ table, key, text, numbers, bytes string }{
	{"event", "no", "at kind vessel visit berth technician card target content", "no chain seq", "id ord corrects signature"},
	{"chain", "no", "writer name", "no own", ""},
	{"sighting", "event", "vessel name berth imo mmsi hull", "event", "ord"},
	{"reading", "event", "vessel device at writer kind maker model name place serial variant version version_key before", "event installed gone by_hand lost", "ord"},
	{"carried", "event", "at vessel card device maker model variant version version_key", "event place good", ""},
	{"vessel", "vessel", "vessel name berth imo mmsi hull", "", ""},
	{"device", "vessel", "vessel device at kind maker model name place serial variant version version_key other", "event gone", ""},
	{"seen", "chain", "chain other", "seq upto", ""},
	{"witness", "chain", "ledger writer chain taken", "seq", "id"},
	{"ledger", "one", "id", "format", ""},
	{"arrival", "no", "at", "no", ""},
}

// edits are ways to change a ledger by hand.
func edits() map[string]string {
	all := map[string]string{}
	for _, t := range columnsOf {
		one := fmt.Sprintf(" WHERE %[1]s = (SELECT max(%[1]s) FROM %[2]s)", t.key, t.table)
		for _, c := range strings.Fields(t.text) {
			all[t.table+"."+c] = fmt.Sprintf("UPDATE %s SET %s = %s || 'x'%s", t.table, c, c, one)
			all[t.table+"."+c+" of all"] = fmt.Sprintf("UPDATE %s SET %s = %s || 'x'", t.table, c, c)
		}
		for _, c := range strings.Fields(t.numbers) {
			all[t.table+"."+c] = fmt.Sprintf("UPDATE %s SET %s = 1 - %s%s", t.table, c, c, one)
		}
		for _, c := range strings.Fields(t.bytes) {
			all[t.table+"."+c] = fmt.Sprintf("UPDATE %s SET %s = (SELECT signature FROM event ORDER BY no LIMIT 1)%s", t.table, c, one)
		}
		all["one row less in "+t.table] = "DELETE FROM " + t.table + one
		all["nothing in "+t.table] = "DELETE FROM " + t.table
	}
	all["a version in the content"] = `UPDATE event SET content = replace(content, '1.9', '9.9')`
	all["a technician in the content"] = `UPDATE event SET content = replace(content, '"Ada"', '"Eve"'), technician = replace(technician, 'Ada', 'Eve')`
	all["a boat under another name, everywhere"] = `UPDATE event SET vessel = 'morven-rose', content = replace(content, 'kittiwake', 'morven-rose') WHERE vessel = 'kittiwake'`
	all["a reading put in"] = `INSERT INTO device SELECT vessel, 'sounder', event, at, kind, maker, model, name, place, serial, variant, version, version_key, other, gone FROM device WHERE device = 'radar' AND vessel = 'kittiwake'`
	all["a boat put in"] = `INSERT INTO vessel VALUES ('ghost', 'Ghost', '', '', '', '')`
	all["a dispute taken away"] = `UPDATE device SET other = ''`
	all["all read at one time"] = `UPDATE reading SET at = (SELECT min(at) FROM reading)`
	all["signatures exchanged"] = `UPDATE event SET signature = (SELECT o.signature FROM event o WHERE o.no <> event.no ORDER BY o.no LIMIT 1)`
	return all
}

// answers are what every question gives.
func answers(l *store.Ledger) (string, error) {
	var all []any
	var errs []error
	note := func(answer any, err error) {
		all = append(all, answer)
		if err != nil && !errors.Is(err, audit.ErrNothing) {
			errs = append(errs, err)
		}
	}
	for _, v := range []string{"kittiwake", "morven-rose", "skerry-light", "ghost"} {
		h, err := audit.OfVessel(ctx, l, v, time.Time{}, none)
		note(h, err)
	}
	for _, v := range []string{"1.6", "1.8", "1.9", "2.5"} {
		u, err := audit.OfRelease(ctx, l, "fennick-sweep-2", ledgertest.Release(0), none)
		note(u, err)
		u, err = audit.OfRelease(ctx, l, "fennick-sweep-2", version.V(v), none)
		note(u, err)
	}
	fleet, err := audit.OfFleet(ctx, l, catalogue(), none)
	note(fleet, err)
	due, err := audit.OfDue(ctx, l, nil, none)
	note(due, err)
	withdrawn, err := audit.OfWithdrawn(ctx, l, catalogue(), none)
	note(withdrawn, err)
	card, err := audit.OfCard(ctx, l, digest, none)
	note(card, err)
	text, err := json.Marshal(all)
	return string(text), errors.Join(append(errs, err)...)
}

// Whatever is changed by hand in a ledger changes no answer without a word: the
// check, which goes before every answer of a ledger that was written to, reports
// it, or the answer is as it was.
func TestNoEditChangesAnAnswerUnseen(t *testing.T) {
	all := edits()
	require.Greater(t, len(all), 60)
	dir := t.TempDir()
	path := filepath.Join(dir, "ledger.db")
	l, err := store.Open(ctx, path, store.Options{Create: true})
	require.NoError(t, err)
	worked(t, l)
	backup := filepath.Join(dir, "copy.db")
	_, err = l.Backup(ctx, backup, store.CheckOptions{})
	require.NoError(t, err)
	require.NoError(t, l.Close())
	whole, err := os.ReadFile(backup)
	require.NoError(t, err)
	told, same := 0, []string{}
	for name, edit := range all {
		edited := filepath.Join(dir, "edited.db")
		require.NoError(t, os.WriteFile(edited, whole, 0o600))
		before := store.Fingerprint(edited)
		if !editFile(t, edited, edit) {
			continue // the database refuses it
		}
		require.NotEqual(t, before, store.Fingerprint(edited), "%s: the file is another", name)
		if silently(t, edited, backup) {
			same = append(same, name)
		} else {
			told++
		}
		for _, end := range []string{"", "-wal", "-shm"} {
			os.Remove(edited + end)
		}
	}
	t.Logf("%d edits reported; %d change no answer: %q", told, len(same), same)
	require.Greater(t, told, 60)
}

// serverEdits are the edits that can be made on a server: it has events, and nothing
// that is worked out from them.
func serverEdits() map[string]string {
	all := edits()
	for name, edit := range all {
		for _, table := range []string{"sighting", "reading", "carried", "vessel", "device", "seen"} {
			for _, verb := range []string{"UPDATE ", "DELETE FROM ", "INSERT INTO "} {
				if strings.HasPrefix(edit+" ", verb+table+" ") {
					delete(all, name)
				}
			}
		}
	}
	for name, edit := range map[string]string{
		"the oldest event gone":     `DELETE FROM event WHERE no = (SELECT min(no) FROM event)`,
		"half of the events gone":   `DELETE FROM event WHERE no > (SELECT (min(no) + max(no)) / 2 FROM event)`,
		"one writer gone":           `DELETE FROM event WHERE chain = (SELECT min(no) FROM chain)`,
		"two events swapped":        `UPDATE event SET seq = 7 - seq WHERE seq IN (3, 4)`,
		"numbers shifted":           `UPDATE event SET no = no + 1000`,
		"numbers turned round":      `UPDATE event SET no = 5000 - no`,
		"all of one writer":         `UPDATE event SET chain = (SELECT min(no) FROM chain)`,
		"an event twice":            `INSERT INTO event SELECT no + 1000, substr(signature, 1, 32), chain, seq + 50, ord, at, kind, vessel, visit, berth, technician, card, target, corrects, content, signature FROM event WHERE no = (SELECT max(no) FROM event)`,
		"a place far ahead":         `INSERT INTO event SELECT no + 1000, substr(signature, 2, 32), chain, 1000000000, ord, at, kind, vessel, visit, berth, technician, card, target, corrects, content, signature FROM event WHERE no = (SELECT max(no) FROM event)`,
		"a correction put in":       `INSERT INTO event SELECT no + 1000, substr(signature, 3, 32), chain, seq + 1, ord, at, 'correction', vessel, visit, berth, technician, card, target, id, content, signature FROM event WHERE no = (SELECT max(no) FROM event)`,
		"a chain put in":            `INSERT INTO chain (writer, name, own) VALUES ('00', '00', 1)`,
		"a witness put in":          `INSERT INTO witness SELECT 'x', writer, name, 99, 'x', '2026-03-02T00:00:00Z' FROM chain`,
		"two ledgers":               `UPDATE ledger SET id = repeat('0', 32)`,
		"a layout of another build": `UPDATE goose_db_version SET version_id = 99 WHERE version_id = (SELECT max(version_id) FROM goose_db_version)`,
	} {
		all[name] = edit
	}
	return all
}

// onServer is a server's ledger as its owner sees it, with the triggers out of the
// way, and as it is put back.
type onServer struct {
	t  *testing.T
	db *sql.DB
}

var serverTables = []string{"event", "chain", "witness", "ledger", "arrival", "goose_db_version"}

func owner(t *testing.T, address string) onServer {
	db, err := sql.Open("pgx", address)
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, db.Close()) })
	db.SetMaxOpenConns(1)
	o := onServer{t, db}
	o.exec("SET session_replication_role = replica") // no trigger, no foreign key
	for _, table := range serverTables {
		o.exec("CREATE TABLE kept_" + table + " AS SELECT * FROM " + table)
	}
	return o
}

func (o onServer) exec(q string) {
	_, err := o.db.Exec(q)
	require.NoError(o.t, err, q)
}

func (o onServer) putBack() {
	for _, table := range serverTables {
		o.exec("DELETE FROM " + table)
		o.exec("INSERT INTO " + table + " OVERRIDING SYSTEM VALUE SELECT * FROM kept_" + table)
	}
}

// remembering copies what a computer remembers of a server.
func remembering(t *testing.T, memory string) string {
	to := filepath.Join(t.TempDir(), "memory")
	for _, end := range []string{".db", ".json"} {
		text, err := os.ReadFile(memory + end)
		require.NoError(t, err)
		require.NoError(t, os.WriteFile(to+end, text, 0o600))
	}
	return to
}

// toldOrSame asks a server, and reports whether something is said of it; otherwise
// its answers have to be those that are wanted.
func toldOrSame(t *testing.T, address, memory, want, name string) bool {
	l, err := store.Open(ctx, address, store.Options{ReadOnly: true, Memory: memory})
	if err != nil {
		return true
	}
	defer l.Close()
	r, _, err := l.Followed(ctx)
	require.NoError(t, err, name)
	if r.Verdict != store.Whole || len(r.Notes) > 0 {
		return true
	}
	got, err := answers(l)
	require.NoError(t, err, name)
	require.Equal(t, want, got, name)
	return false
}

// Whatever is done on a server, by its owner with the triggers out of the way, which
// is more than the vans' role can do: no answer changes without a word, neither of a
// computer that asked before nor, where no event is gone, of a new one.
func TestNoEditOnAServerChangesAnAnswerUnseen(t *testing.T) {
	address, memory := ledgertest.Postgres(t), filepath.Join(t.TempDir(), "memory")
	l, err := store.Open(ctx, address, store.Options{Create: true, Memory: memory})
	require.NoError(t, err)
	worked(t, l)
	want, err := answers(l)
	require.NoError(t, err)
	require.NoError(t, l.Close())
	o := owner(t, address)
	told, same := 0, []string{}
	for name, edit := range serverEdits() {
		result, err := o.db.Exec(edit)
		if err != nil {
			continue // the database refuses it
		}
		if n, err := result.RowsAffected(); err == nil && n > 0 {
			if toldOrSame(t, address, remembering(t, memory), want, name) {
				told++
			} else {
				same = append(same, name)
			}
			if !strings.HasPrefix(edit, "DELETE") { // of what is gone a new computer can't know
				toldOrSame(t, address, "", want, name+", to a new computer")
			}
		}
		o.putBack()
	}
	require.False(t, toldOrSame(t, address, remembering(t, memory), want, "put back"))
	t.Logf("%d edits reported; %d change no answer: %q", told, len(same), same)
	require.Greater(t, told+len(same), 60)
}

// The vans' role can add events and chains, and nothing else; what it adds that
// isn't signed changes no answer without a word, and leads nobody astray who
// appends after it.
func TestTheVansRoleChangesNoAnswerUnseen(t *testing.T) {
	address, memory := ledgertest.Postgres(t), filepath.Join(t.TempDir(), "memory")
	l, err := store.Open(ctx, address, store.Options{Create: true, Memory: memory})
	require.NoError(t, err)
	worked(t, l)
	want, err := answers(l)
	require.NoError(t, err)
	require.NoError(t, l.Close())
	o := owner(t, address)
	var schema string
	require.NoError(t, o.db.QueryRow(`SELECT current_schema()`).Scan(&schema))
	role := fmt.Sprintf("mallory%d", os.Getpid())
	o.exec("CREATE ROLE " + role + " LOGIN; GRANT USAGE ON SCHEMA " + schema + " TO " + role + ";" + strings.ReplaceAll(store.Rights, ":van", role))
	t.Cleanup(func() { o.exec("DROP OWNED BY " + role + "; DROP ROLE " + role) })
	van, err := sql.Open("pgx", strings.Replace(address, "ledger@", role+"@", 1))
	require.NoError(t, err)
	defer van.Close()

	refused := 0
	for name, edit := range serverEdits() {
		_, err := van.Exec(edit)
		require.ErrorContains(t, err, "42501", name)
		refused++
	}
	for _, q := range []string{
		`INSERT INTO chain (writer, name, own) SELECT writer, 'x', 1 FROM chain`, `INSERT INTO arrival VALUES (1, '2020-01-01T00:00:00Z')`,
		`INSERT INTO event (no, id, chain, seq, ord, at, kind, vessel, visit, berth, technician, card, target, content, signature) SELECT 0, 'x', chain, seq, ord, at, kind, vessel, visit, berth, technician, card, target, content, signature FROM event`,
		`TRUNCATE event CASCADE`, `ALTER TABLE event DISABLE TRIGGER ALL`, `SET session_replication_role = replica`, `DROP TABLE witness`, `CREATE TABLE device (x int)`,
		`CREATE FUNCTION octet_length(text) RETURNS int LANGUAGE sql AS 'SELECT 0'`, `SELECT setval(pg_get_serial_sequence('event', 'no'), 1)`,
	} {
		_, err := van.Exec(q)
		require.ErrorContains(t, err, "42501", q)
		refused++
	}
	require.Greater(t, refused, 60)

	const columns = `id, chain, seq, ord, at, kind, vessel, visit, berth, technician, card, target, corrects, content, signature`
	for name, add := range map[string]string{
		"an event again":                 `SELECT substr(signature, 1, 32), chain, seq, ord, at, kind, vessel, visit, berth, technician, card, target, corrects, content, signature FROM event WHERE seq = 2`,
		"an event of another chain":      `SELECT substr(signature, 2, 32), (SELECT min(no) FROM chain), seq, ord, at, kind, vessel, visit, berth, technician, card, target, corrects, content, signature FROM event WHERE chain > (SELECT min(no) FROM chain)`,
		"far ahead in every chain":       `SELECT substr(signature, 3, 31) || substr(id, 1, 1), chain, 1000000000, ord, at, kind, vessel, visit, berth, technician, card, target, corrects, content, signature FROM event WHERE seq = 1`,
		"a withdrawal that nobody wrote": `SELECT substr(signature, 4, 32), chain, seq + 100, ord, at, 'release withdrawn', vessel, visit, berth, technician, card, target, corrects, content, signature FROM event WHERE seq = 1`,
		"a correction of everything":     `SELECT substr(signature, 5, 31) || substr(id, 1, 1), chain, seq + 200, ord, at, 'correction', vessel, visit, berth, technician, card, target, id, content, signature FROM event`,
		"another version":                `SELECT substr(signature, 6, 31) || substr(id, 1, 1), chain, seq + 300, ord, at, kind, vessel, visit, berth, technician, card, target, corrects, replace(content, '1.9', '9.9'), signature FROM event`,
		"no content":                     `SELECT substr(signature, 7, 32), chain, seq, ord, at, kind, vessel, visit, berth, technician, card, target, corrects, '', signature FROM event WHERE seq = 1`,
		"a great deal of content":        `SELECT substr(signature, 8, 32), chain, seq, ord, at, kind, vessel, visit, berth, technician, card, target, corrects, repeat('x', 50000000), signature FROM event WHERE seq = 1`,
	} {
		_, err := van.Exec("INSERT INTO event (" + columns + ") " + add)
		require.NoError(t, err, name)
		toldOrSame(t, address, remembering(t, memory), want, name)
		toldOrSame(t, address, "", want, name)
		ada, err := store.Open(ctx, address, store.Options{Memory: remembering(t, memory)})
		require.NoError(t, err)
		for _, e := range appendTo(t, ada, "Ada", step(200, "kittiwake", sweep, "1.9", "1.9")) {
			require.Less(t, e.Statement.Seq, int64(100), name)
			for _, seen := range e.Statement.Seen {
				require.Less(t, seen.Seq, int64(100), name)
			}
		}
		require.NoError(t, ada.Close())
		o.putBack()
	}
}

// silently reports whether nothing is said of a ledger; its answers then have to be
// those of the other.
func silently(t *testing.T, edited, whole string) bool {
	r, err := store.CheckAt(ctx, edited, store.CheckOptions{Known: ledgertest.Known("Ada", "Ben", "Cam")})
	if err != nil || r.Verdict != store.Whole {
		return false
	}
	a, err := store.Open(ctx, edited, store.Options{ReadOnly: true})
	require.NoError(t, err)
	defer a.Close()
	b, err := store.Open(ctx, whole, store.Options{ReadOnly: true})
	require.NoError(t, err)
	defer b.Close()
	got, errA := answers(a)
	want, errB := answers(b)
	require.NoError(t, errB)
	require.NoError(t, errA)
	require.Equal(t, want, got)
	return true
}

// editFile changes a SQLite file past what guards it, and reports whether the
// database took the change.
func editFile(t *testing.T, path, edit string) bool {
	db, err := sql.Open("sqlite", path)
	require.NoError(t, err)
	defer db.Close()
	db.SetMaxOpenConns(1)
	var triggers []string
	rows, err := db.Query(`SELECT sql FROM sqlite_schema WHERE type = 'trigger' ORDER BY name`)
	require.NoError(t, err)
	for rows.Next() {
		var s string
		require.NoError(t, rows.Scan(&s))
		triggers = append(triggers, s)
	}
	require.NoError(t, rows.Close())
	for _, q := range []string{`PRAGMA foreign_keys=off`, `DROP TRIGGER event_stays`, `DROP TRIGGER event_remains`} {
		_, err := db.Exec(q)
		require.NoError(t, err)
	}
	result, err := db.Exec(edit)
	changed := int64(0)
	if err == nil {
		changed, err = result.RowsAffected()
	}
	for _, s := range triggers {
		_, again := db.Exec(s)
		require.NoError(t, again)
	}
	return err == nil && changed > 0
}

// worked is a ledger with something in every table, a dispute among it.
func worked(t *testing.T, l *store.Ledger) {
	workedExample(t, l)
	failed := step(60, "kittiwake", plot, "7.0", "")
	failed.Kind, failed.Step.Planned = ledger.StepFailed, "8.0"
	first := appendTo(t, l, "Ada", failed, takeOn(61, "skerry-light", "Skerry Light", "A 3", ledger.Fitted{Device: sweep, Version: "1.8"}))
	appendTo(t, l, "Ben", ledger.Entry{
		At: at(62), Kind: ledger.Correction, Vessel: "kittiwake",
		Correction: &ledger.Correcting{Of: first[0].ID.String(), Why: "mistyped", Instead: &failed},
	})
	ledgertest.Elsewhere(t, l, "Cam", step(31, "morven-rose", sweep, "1.6", "1.9"))
	assert.NotNil(t, l)
}
