// Package store keeps ledgers: in one SQLite file, or in PostgreSQL for
// several vans at once. Both take the same statements and pass the same
// tests. A ledger's events are only ever added; everything else in the
// database is taken from them, for looking up.
package store

import (
	"context"
	"database/sql"
	"embed"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"strings"
	"sync"
	"time"

	"github.com/pressly/goose/v3"

	"cardwright/manifest/problem"
	"cardwright/verify/ledger"
)

//go:embed migrations
var migrationFiles embed.FS

// Ledger is one open ledger. It may be used from several goroutines.
type Ledger struct {
	db       *sql.DB
	engine   *engine
	place    string // path, or the address without its password
	file     string // that SQLite opened, links followed; "" on a server
	id       string
	readOnly bool
	temp     string // folder of the copy that is read instead of an older file; "" where none is

	believed map[string]time.Time // see Believe

	writing   sync.Mutex // one writer at a time, so that they needn't wait in the database
	outOfTurn bool       // write without waiting for a turn, see takeTurn

	memory    string // see Options
	slow      func(int64)
	words     problem.Words
	following sync.Mutex
	beside    *beside // of a server; nil until it is asked
}

// engine is what differs between the databases.
type engine struct {
	name       string
	dialect    goose.Dialect
	lock       string // run first in every writing transaction
	migrations fs.FS
	layout     int64              // number of the last migration
	rows       int                // that one INSERT takes; more gain nothing
	snapshot   sql.IsolationLevel // in which a reader sees one moment
	bound      func(*sql.Conn) error
	explain    func(error) error // chains one of this package's errors where it knows better
}

// Options say how a ledger is opened.
type Options struct {
	ReadOnly bool
	Create   bool // make it when it isn't there

	// Of a server: the path, without its ending, of the copy that is kept of it on
	// this computer and of what is remembered with it; "": a copy in the temporary
	// folder, for as long as the ledger is open.
	Memory string
	// Slow is called before so many events of a server are checked that it takes a
	// while; nil: nobody asks.
	Slow func(events int64)
	// Words say how the advice of a server's check names commands.
	Words problem.Words
}

// Open opens the ledger at an address: postgres://… or the path of a file.
// The caller closes it.
//
// It returns an error wrapping ErrNoLedger where there is none (and Create is
// not set), ErrNotLedger where something else is, ErrNewer where a newer
// cardwright made it, errOlder where an older one did and it can't be brought
// up to date from here, ErrDamaged where the file can't be read as a database.
func Open(ctx context.Context, address string, o Options) (*Ledger, error) {
	open := openSQLite
	if IsPostgres(address) {
		open = openPostgres
	}
	l, err := open(ctx, address, o)
	if err != nil {
		return nil, fmt.Errorf("opening ledger %s: %w", redacted(address), err)
	}
	l.memory, l.slow, l.words = o.Memory, o.Slow, o.Words
	return l, nil
}

// IsPostgres reports whether an address is a server's, not the path of a file.
func IsPostgres(address string) bool {
	return strings.HasPrefix(address, "postgres://") || strings.HasPrefix(address, "postgresql://")
}

// Close closes the ledger.
func (l *Ledger) Close() error {
	err := errors.Join(l.db.Close(), l.beside.close())
	if l.temp != "" {
		err = errors.Join(err, os.RemoveAll(l.temp))
	}
	return err
}

// ID names this ledger at a sync: 32 hex digits.
func (l *Ledger) ID() string { return l.id }

// Place is the ledger's path, or its address without the password.
func (l *Ledger) Place() string { return l.place }

// Querier asks a ledger with SQL. Parameters are $1, $2, … The rows of one
// question are read and closed before the next is asked.
type Querier interface {
	QueryContext(ctx context.Context, query string, args ...any) (*sql.Rows, error)
	QueryRowContext(ctx context.Context, query string, args ...any) *sql.Row
}

// Look asks several questions of the ledger as it is at one moment, whoever
// writes meanwhile. Those of a server are asked of its copy on this computer.
func (l *Ledger) Look(ctx context.Context, ask func(Querier) error) error {
	if l.engine == postgresEngine {
		b, err := l.follow(ctx)
		if err != nil {
			return err
		}
		return b.look(ctx, ask)
	}
	return l.look(ctx, ask)
}

// look asks the database itself.
func (l *Ledger) look(ctx context.Context, ask func(Querier) error) error {
	t, done, err := l.begin(ctx, &sql.TxOptions{ReadOnly: true, Isolation: l.engine.snapshot})
	if err != nil {
		return l.explain(err)
	}
	defer done()
	return l.explain(ask(t))
}

// begin begins a transaction on a connection that reads no field larger than
// cardwright writes; done ends it, rolled back unless it was committed.
func (l *Ledger) begin(ctx context.Context, o *sql.TxOptions) (t *sql.Tx, done func(), err error) {
	conn, err := l.db.Conn(ctx)
	if err != nil {
		return nil, nil, err
	}
	if err := l.engine.bound(conn); err != nil {
		return nil, nil, errors.Join(err, conn.Close())
	}
	t, err = conn.BeginTx(ctx, o)
	if err != nil {
		return nil, nil, errors.Join(err, conn.Close())
	}
	return t, func() { t.Rollback(); conn.Close() }, nil
}

func (l *Ledger) explain(err error) error {
	if err == nil || errors.Is(err, context.Canceled) || errors.Is(err, context.DeadlineExceeded) {
		return err
	}
	if _, told := errors.AsType[*placedError](err); told {
		return err
	}
	err = l.engine.explain(err)
	if errors.Is(err, ErrFull) {
		return &placedError{fmt.Sprintf("no space is left on the disk with ledger %s: nothing was written; free some space and try again (%v)", l.place, rootCause(err)), err}
	}
	return err
}

// Each runs a query and gives every row to scan.
func Each(ctx context.Context, q Querier, query string, args []any, scan func(*sql.Rows) error) error {
	rows, err := q.QueryContext(ctx, query, args...)
	if err != nil {
		return err
	}
	return eachRow(rows, scan)
}

func eachRow(rows *sql.Rows, scan func(*sql.Rows) error) error {
	defer rows.Close()
	for rows.Next() {
		if err := scan(rows); err != nil {
			return err
		}
	}
	return rows.Err()
}

// write runs change in one transaction that no other writer of this ledger
// is in, and commits it.
func (l *Ledger) write(ctx context.Context, change func(*tx) error) error {
	if l.readOnly {
		return ErrReadOnly
	}
	l.writing.Lock()
	defer l.writing.Unlock()
	defer l.takeTurn(ctx)()
	t, done, err := l.begin(ctx, nil)
	if err != nil {
		return l.explain(err)
	}
	defer done()
	if l.engine.lock != "" {
		if _, err := t.ExecContext(ctx, l.engine.lock); err != nil {
			return l.explain(err)
		}
	}
	if err := change(&tx{t, l.engine}); err != nil {
		return l.explain(err)
	}
	if err := t.Commit(); err != nil {
		return &commitError{l.explain(err)}
	}
	return nil
}

// commitError says that a commit failed, which over a network may mean that
// only the answer was lost.
type commitError struct{ error }

func (e *commitError) Unwrap() error { return e.error }

type tx struct {
	*sql.Tx
	engine *engine
}

// readMeta reads the one row that says which ledger this is.
func (l *Ledger) readMeta(ctx context.Context) error {
	var format int
	err := l.look(ctx, func(q Querier) error {
		return q.QueryRowContext(ctx, `SELECT id, format FROM ledger`).Scan(&l.id, &format)
	})
	if err != nil {
		return fmt.Errorf("reading which ledger it is: %w", err)
	}
	if format != ledger.Format {
		return fmt.Errorf("%w: format %d, expected %d", ErrNewer, format, ledger.Format)
	}
	return nil
}
