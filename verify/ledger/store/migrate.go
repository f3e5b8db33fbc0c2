package store

import (
	"context"
	"crypto/sha256"
	"database/sql"
	"encoding/hex"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"sync"

	"github.com/pressly/goose/v3"
)

// Every change of the layout, and every change of what is worked out from the
// events, is a migration with a number of its own. One that a ledger was ever
// made with is never changed again: what a build wrote, later builds read.
const (
	// layoutLookups gave all ledgers of layout 1 the same indexes (SQL).
	// layoutFilled worked out anew what is looked up, by the rules of its day.
	// A build with other rules does so again under the next number.
	layoutFilled = 3
	// layoutSeen has what writers had seen of one another (SQL); layoutPlaced
	// worked out anew what is looked up, with corrections in the place of what
	// they correct.
	layoutPlaced = 5
	// layoutLife has an index of what became of vessels, and worked out anew what is
	// looked up: words about a device count also where nobody read its version.
	layoutLife = 6
	// layoutEvents takes away from a server all that is looked up (SQL). The fillings
	// before it do nothing there any more, and later ones aren't made there.
	layoutEvents = 7
	// layoutAboard worked out anew what is looked up: a device that one writer says is
	// gone is aboard where another saw it and didn't know; one version on equipment of
	// two models is disputed; dates alone don't settle a vessel's last name.
	layoutAboard = 8
)

// lifeIndex finds what became of vessels.
const lifeIndex = `CREATE INDEX event_life ON event (kind) WHERE kind IN (` + LifeKinds + `)`

// LifeKinds are the kinds of event that say what became of a vessel, for a condition
// on the column kind: written so, they are found without going through all.
const LifeKinds = `'vessel renamed', 'vessel gone'`

func migrate(ctx context.Context, db *sql.DB, e *engine, o ...goose.ProviderOption) error {
	p, err := migrations(db, e, o...)
	if err != nil {
		return err
	}
	_, err = p.Up(ctx)
	return err
}

func migrations(db *sql.DB, e *engine, o ...goose.ProviderOption) (*goose.Provider, error) {
	// Only the last of them fills: what an earlier one wrote by the rules of its day
	// would be worked out anew at once.
	nothing := &goose.GoFunc{RunTx: func(context.Context, *sql.Tx) error { return nil }}
	steps := []*goose.Migration{
		goose.NewGoMigration(layoutFilled, nothing, nil),
		goose.NewGoMigration(layoutPlaced, nothing, nil),
		goose.NewGoMigration(layoutLife, &goose.GoFunc{
			RunTx: func(ctx context.Context, t *sql.Tx) error {
				_, err := t.ExecContext(ctx, lifeIndex)
				return err
			},
		}, nil),
	}
	if e == sqliteEngine {
		steps = append(steps, goose.NewGoMigration(layoutAboard, &goose.GoFunc{
			RunTx: func(ctx context.Context, t *sql.Tx) error { return (&tx{t, e}).fill(ctx) },
		}, nil))
	}
	return goose.NewProvider(e.dialect, db, e.migrations, append(o, goose.WithDisableGlobalRegistry(true), goose.WithGoMigrations(steps...))...)
}

// fill works out anew all that is looked up, from the events that hold. One
// that doesn't hold says nothing; a check reports it.
func (t *tx) fill(ctx context.Context) error {
	for _, table := range []string{"device", "vessel", "carried", "reading", "sighting", "seen"} {
		if _, err := t.ExecContext(ctx, "DELETE FROM "+table); err != nil {
			return err
		}
	}
	for after := int64(-1); ; {
		batch, err := readRawWhere(ctx, t, fmt.Sprintf("no > $1 ORDER BY no LIMIT %d", rawBatch), after)
		if err != nil || len(batch) == 0 {
			return err
		}
		after = batch[len(batch)-1].no
		verifyAll(batch)
		var sound []placed
		for _, e := range batch {
			if e.err == nil {
				sound = append(sound, placed{e.no, &e.event})
			}
		}
		if err := t.putAll(ctx, sound); err != nil {
			return err
		}
	}
}

// Rebuild works out anew all that is looked up, from the events that hold: what
// somebody changed there by hand is as the events say again. On a server nothing
// is looked up; the copy of it that is kept here is worked out anew, and every
// event is taken over again. No event is ever lost by it.
func (l *Ledger) Rebuild(ctx context.Context) error {
	if l.engine == postgresEngine {
		return l.rebuildBeside(ctx)
	}
	if err := l.write(ctx, func(t *tx) error { return t.fill(ctx) }); err != nil {
		return fmt.Errorf("rebuilding the tables of ledger %s: %w", l.place, err)
	}
	return nil
}

// earlierLayouts are the SHA-256 of layouts that builds before 2026-11-28 made
// under the number 1, see schemaOf.
var earlierLayouts = map[string]bool{
	"edc4658da02ebd79bf52d3d3cd0eea432862b0144012a478a494c88bbec146a3": true, // until 11:14 of 2026-11-25: other indexes of releases
	"232ec8fa09cc40c477838f35cf051d8c1937d870f7219d6a21c85d160a63d86f": true, // until 11:25: another index of what cards carried
}

// layouts are those that the first n migrations give a SQLite file, by n.
var layouts = sync.OnceValues(func() (list [layoutAboard + 1]string, err error) {
	db, err := sql.Open("sqlite", ":memory:")
	if err != nil {
		return list, err
	}
	defer db.Close()
	db.SetMaxOpenConns(1)
	p, err := migrations(db, sqliteEngine)
	if err != nil {
		return list, err
	}
	for n := 1; n <= layoutAboard; n++ {
		ctx := context.Background()
		if _, err := p.UpTo(ctx, int64(n)); err != nil {
			return list, err
		}
		if list[n], err = schemaOf(ctx, db); err != nil {
			return list, err
		}
	}
	return list, nil
})

// recognise takes the file for a ledger only if it is laid out as ours: a
// file from elsewhere may hold views and triggers that do anything. It tells
// whether an earlier build made it.
func (l *Ledger) recognise(ctx context.Context) (older bool, err error) {
	found, err := schemaOf(ctx, l.db)
	if err != nil {
		return false, explainSQLite(err)
	}
	// What counts the layouts is a plain table in every build's ledger; the rest of
	// a newer one's may look like anything.
	version := sqliteVersion(ctx, l.db)
	if version > l.engine.layout {
		return false, fmt.Errorf("%w: layout %d, expected %d", ErrNewer, version, l.engine.layout)
	}
	if !strings.Contains(found, "table ledger ledger ") {
		return false, fmt.Errorf("%w: it is a database without the table ledger", ErrNotLedger)
	}
	known, err := layouts()
	if err != nil {
		return false, err
	}
	digest := sha256.Sum256([]byte(found))
	switch {
	case version == layoutAboard && found == known[version]:
		return false, l.readMeta(ctx)
	case version >= 1 && found == known[version], version == 1 && earlierLayouts[hex.EncodeToString(digest[:])]:
		return true, l.readMeta(ctx)
	}
	return false, fmt.Errorf("%w: %s", ErrSchema, firstDifference(found, known[layoutAboard]))
}

// sqliteVersion is the number of the last migration of a file; 0 where it can't be
// told.
func sqliteVersion(ctx context.Context, db *sql.DB) (version int64) {
	var plain bool
	err := db.QueryRowContext(ctx, `SELECT EXISTS (SELECT 1 FROM sqlite_schema WHERE type = 'table' AND name = 'goose_db_version' AND sql LIKE 'CREATE TABLE %')`).Scan(&plain)
	if err == nil && plain {
		err = db.QueryRowContext(ctx, `SELECT coalesce(max(version_id), 0) FROM goose_db_version`).Scan(&version)
	}
	if err != nil {
		return 0
	}
	return version
}

// upgrade brings a ledger file that an earlier build made up to date.
func (l *Ledger) upgrade(ctx context.Context) error {
	defer l.takeTurn(ctx)()
	if err := migrate(ctx, l.db, sqliteEngine); err != nil {
		return fmt.Errorf("bringing the ledger of an earlier cardwright up to date: %w", explainSQLite(err))
	}
	older, err := l.recognise(ctx)
	if err == nil && older {
		err = ErrSchema
	}
	return err
}

// openUpgraded opens a file of an earlier build for reading: the file stays as
// it is, and what is read is a copy of it that was brought up to date.
func (l *Ledger) openUpgraded(ctx context.Context) (err error) {
	dir, err := os.MkdirTemp("", "cardwright-ledger-*")
	if err != nil {
		return fmt.Errorf("copying the ledger of an earlier cardwright, to bring the copy up to date: %w", inPlace(filepath.Join(os.TempDir(), "the copy"), err))
	}
	defer func() {
		if err != nil {
			err = errors.Join(err, os.RemoveAll(dir))
		}
	}()
	path := filepath.Join(dir, "ledger.db")
	if err := l.vacuumInto(ctx, path); err != nil {
		return inPlace(path, err)
	}
	copied, err := openSQLite(ctx, path, Options{})
	if err != nil {
		return err
	}
	if err := errors.Join(copied.settleFile(ctx), copied.Close(), l.db.Close()); err != nil {
		return err
	}
	if copied, err = openSQLite(ctx, path, Options{ReadOnly: true}); err != nil {
		return err
	}
	l.db, l.file, l.temp = copied.db, path, dir
	return nil
}

// vacuumInto copies a file that may come from elsewhere, with a bound on its
// fields.
func (l *Ledger) vacuumInto(ctx context.Context, path string) error {
	conn, err := l.db.Conn(ctx)
	if err != nil {
		return explainSQLite(err)
	}
	if err := boundSQLite(conn); err != nil {
		return errors.Join(err, conn.Close())
	}
	_, err = conn.ExecContext(ctx, `VACUUM INTO $1`, path)
	return errors.Join(explainSQLite(err), conn.Close())
}

// schemaOf describes a database's layout: one part after another.
func schemaOf(ctx context.Context, db *sql.DB) (string, error) {
	var parts []string
	err := Each(ctx, db, `SELECT type, name, tbl_name, coalesce(sql, '') FROM sqlite_schema
		WHERE name NOT LIKE 'sqlite_stat%' AND octet_length(coalesce(sql, '')) <= $1
		ORDER BY type, name LIMIT $2`,
		[]any{maxSchemaText, maxSchemaParts}, func(rows *sql.Rows) error {
			var kind, name, table, text string
			err := rows.Scan(&kind, &name, &table, &text)
			parts = append(parts, strings.Join([]string{kind, name, table, text}, " "))
			return err
		})
	return strings.Join(parts, "\x00"), err
}
