package store

import (
	"context"
	"database/sql"
	"database/sql/driver"
	"errors"
	"fmt"
	"io"
	"net"
	"net/url"
	"strings"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"
	"github.com/jackc/pgx/v5/stdlib"
	"github.com/pressly/goose/v3"
	"github.com/pressly/goose/v3/lock"

	"cardwright/verify/ledger"
)

var postgresEngine = &engine{
	name:       "PostgreSQL",
	dialect:    goose.DialectPostgres,
	layout:     layoutEvents,
	rows:       100,
	migrations: below("migrations/postgres"),
	snapshot:   sql.LevelRepeatableRead,
	bound:      func(*sql.Conn) error { return nil }, // a server is the shop's own
	explain:    explainPostgres,
	// One writer at a time, as in a file: chains and states are then taken
	// from everything that was committed before.
	lock: `SELECT pg_advisory_xact_lock(hashtext('cardwright ledger ' || current_schema()))`,
}

const (
	postgresConnections = 4
	connectTimeout      = 10 * time.Second
)

// openPostgres connects as the address says; TLS too (sslmode).
func openPostgres(ctx context.Context, address string, o Options) (*Ledger, error) {
	config, err := pgx.ParseConfig(address)
	if err != nil {
		return nil, err // pgx leaves the password out
	}
	if config.ConnectTimeout == 0 {
		config.ConnectTimeout = connectTimeout
	}
	if o.ReadOnly {
		config.RuntimeParams["default_transaction_read_only"] = "on"
	}
	l := &Ledger{engine: postgresEngine, place: redacted(address), readOnly: o.ReadOnly, db: stdlib.OpenDB(*config)}
	l.db.SetMaxOpenConns(postgresConnections)
	if err := l.prepare(ctx, config, o); err != nil {
		return nil, errors.Join(err, l.db.Close())
	}
	return l, nil
}

// prepare looks whether the server holds a ledger, and makes one if it may.
func (l *Ledger) prepare(ctx context.Context, config *pgx.ConnConfig, o Options) error {
	version, err := l.postgresVersion(ctx)
	newest := l.engine.layout
	switch {
	case err != nil:
		return l.explain(err)
	case version > newest:
		return fmt.Errorf("%w: layout %d, expected %d", ErrNewer, version, newest)
	case version == newest:
		return l.readMeta(ctx)
	case version > 0:
		if err := upgradePostgres(ctx, config); err != nil {
			return fmt.Errorf("%w: layout %d, expected %d (%w)", errOlder, version, newest, l.explain(err))
		}
		return l.readMeta(ctx)
	case !o.Create || o.ReadOnly:
		return ErrNoLedger
	}
	if err := migratePostgres(ctx, l.db); err != nil {
		return fmt.Errorf("making ledger: %w", l.explain(err))
	}
	_, err = l.db.ExecContext(ctx, `INSERT INTO ledger (one, id, format) VALUES (1, $1, $2) ON CONFLICT DO NOTHING`,
		ledger.NewChain(), ledger.Format)
	if err != nil {
		return fmt.Errorf("making ledger: %w", l.explain(err))
	}
	return l.readMeta(ctx)
}

// upgradePostgres brings a ledger that an earlier build made up to date, by a
// connection of its own: that for readers can't write.
func upgradePostgres(ctx context.Context, config *pgx.ConnConfig) error {
	config = config.Copy()
	delete(config.RuntimeParams, "default_transaction_read_only")
	db := stdlib.OpenDB(*config)
	db.SetMaxOpenConns(postgresConnections)
	return errors.Join(migratePostgres(ctx, db), db.Close())
}

// postgresVersion is the layout of the ledger on the server; 0 where there is
// none. A newer one may look like anything but for the table that counts layouts.
func (l *Ledger) postgresVersion(ctx context.Context) (int64, error) {
	var counted, there bool
	err := l.db.QueryRowContext(ctx, `SELECT to_regclass('goose_db_version') IS NOT NULL, to_regclass('ledger') IS NOT NULL`).Scan(&counted, &there)
	if err != nil || !counted {
		return 0, err
	}
	var version int64
	err = l.db.QueryRowContext(ctx, `SELECT coalesce(max(version_id), 0) FROM goose_db_version`).Scan(&version)
	if err == nil && !there && version <= l.engine.layout {
		version = 0
	}
	return version, err
}

func migratePostgres(ctx context.Context, db *sql.DB) error {
	locker, err := lock.NewPostgresSessionLocker()
	if err != nil {
		return err
	}
	return migrate(ctx, db, postgresEngine, goose.WithSessionLocker(locker))
}

// redacted is an address without its password, for showing.
func redacted(address string) string {
	if !IsPostgres(address) {
		return address
	}
	u, err := url.Parse(address)
	if err != nil {
		return "postgres://…"
	}
	q := u.Query()
	for _, secret := range []string{"password", "sslpassword"} {
		if q.Has(secret) {
			q.Set(secret, "xxxxx")
			u.RawQuery = q.Encode()
		}
	}
	return u.Redacted()
}

// explainPostgres chains one of our errors where the SQLSTATE says which
// (PostgreSQL 15 documentation, appendix A).
func explainPostgres(err error) error {
	var e *pgconn.PgError
	var network net.Error
	var connect *pgconn.ConnectError
	switch {
	case errors.As(err, &e):
		return explainState(e.Code, err)
	case errors.As(err, &connect), errors.As(err, &network), pgconn.SafeToRetry(err), errors.Is(err, sql.ErrConnDone), errors.Is(err, driver.ErrBadConn),
		errors.Is(err, io.ErrUnexpectedEOF):
		return fmt.Errorf("%w (%w)", ErrAway, err)
	}
	return err
}

func explainState(code string, err error) error {
	switch {
	case code == "42501":
		return fmt.Errorf("%w (%w)", errRights, err)
	case code == "53100":
		return fmt.Errorf("%w (%w)", ErrFull, err)
	case code == "25006":
		return fmt.Errorf("%w (%w)", ErrReadOnly, err)
	case code == "55P03":
		return fmt.Errorf("%w (%w)", ErrLocked, err)
	case strings.HasPrefix(code, "57P"), strings.HasPrefix(code, "08"), code == "53300":
		return fmt.Errorf("%w (%w)", ErrAway, err)
	case code == "XX001", code == "XX002":
		return fmt.Errorf("%w (%w)", ErrDamaged, err)
	}
	return err
}
