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

// columnsOf are the columns of every table that stands in a ledger, with what
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
// check, which goes before every answer of a ledger that was written to, tells of
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
	t.Logf("%d edits told of; %d change no answer: %q", told, len(same), same)
	require.Greater(t, told, 60)
}

// The same on a server, by its owner, with the triggers out of the way: more than
// the vans' role can do.
func TestNoEditOnAServerChangesAnAnswerUnseen(t *testing.T) {
	address := ledgertest.Postgres(t)
	l, err := store.Open(ctx, address, store.Options{Create: true})
	require.NoError(t, err)
	defer l.Close()
	worked(t, l)
	want, err := answers(l)
	require.NoError(t, err)
	db, err := sql.Open("pgx", address)
	require.NoError(t, err)
	defer db.Close()
	db.SetMaxOpenConns(1)
	exec := func(q string) {
		_, err := db.Exec(q)
		require.NoError(t, err, q)
	}
	exec("SET session_replication_role = replica") // no trigger, no foreign key
	for _, c := range columnsOf {
		exec("CREATE TABLE kept_" + c.table + " AS SELECT * FROM " + c.table)
	}
	told, same := 0, []string{}
	for name, edit := range edits() {
		result, err := db.Exec(edit)
		if err != nil {
			continue // the database refuses it
		}
		if n, err := result.RowsAffected(); err == nil && n > 0 {
			r, err := store.CheckAt(ctx, address, store.CheckOptions{Known: ledgertest.Known("Ada", "Ben", "Cam")})
			if err != nil || r.Verdict != store.Whole {
				told++
			} else {
				got, err := answers(l)
				require.NoError(t, err, name)
				require.Equal(t, want, got, name)
				same = append(same, name)
			}
		}
		for _, c := range columnsOf {
			exec("DELETE FROM " + c.table)
			exec("INSERT INTO " + c.table + " SELECT * FROM kept_" + c.table)
		}
	}
	t.Logf("%d edits told of; %d change no answer: %q", told, len(same), same)
	require.Greater(t, told, 60)
}

// silently tells whether nothing is said of a ledger; its answers then have to be
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

// editFile changes a SQLite file past what guards it, and tells whether the
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
