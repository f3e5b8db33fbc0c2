package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io/fs"
	"os"

	"cardwright/manifest/durable"
	"cardwright/verify/ledger"
)

// BackupReport says what a backup holds. Heads belong in another place than
// the backup: they show later whether a tail was removed.
type BackupReport struct {
	Format int          `json:"format"`
	Path   string       `json:"path"`
	Heads  ledger.Heads `json:"heads"`
	Check  CheckReport  `json:"check"` // of the backup, read back
}

// Backup writes the ledger as it is at one moment into a new file, while
// others may be using it, and checks the file. A broken ledger is backed up
// too: the report's verdict says so.
func (l *Ledger) Backup(ctx context.Context, path string, o CheckOptions) (BackupReport, error) {
	r, err := l.backup(ctx, path, o)
	if err != nil {
		return BackupReport{}, fmt.Errorf("backing ledger %s up to %s: %w", l.place, path, inPlace(path, err))
	}
	return r, nil
}

func (l *Ledger) backup(ctx context.Context, path string, o CheckOptions) (BackupReport, error) {
	if err := mustBeFree(path); err != nil {
		return BackupReport{}, err
	}
	temp, err := tempBeside(path)
	if err != nil {
		return BackupReport{}, err
	}
	defer removeDatabase(temp)
	if err := l.copyTo(ctx, temp); err != nil {
		return BackupReport{}, err
	}
	r := BackupReport{Format: 1, Path: path}
	if r.Heads, r.Check, err = readBack(ctx, temp, o); err != nil {
		return BackupReport{}, fmt.Errorf("reading the backup back: %w", err)
	}
	r.Check.Place = path
	return r, nameNew(temp, path)
}

func mustBeFree(path string) error {
	for _, end := range []string{"", "-wal", "-journal"} {
		if _, err := os.Lstat(path + end); !errors.Is(err, fs.ErrNotExist) {
			return fmt.Errorf("%s is there already: name a new file, or move that one away", path+end)
		}
	}
	return nil
}

// nameNew syncs a finished file and gives it a name that nobody has.
func nameNew(temp, path string) error {
	if err := errors.Join(durable.SyncFile(temp), mustBeFree(path)); err != nil {
		return err
	}
	err := durable.RenameNew(temp, path)
	if errors.Is(err, fs.ErrExist) {
		return errors.Join(mustBeFree(path), err)
	}
	return err
}

// copyTo writes the ledger into an empty file.
func (l *Ledger) copyTo(ctx context.Context, path string) error {
	if l.engine == sqliteEngine {
		_, err := l.db.ExecContext(ctx, `VACUUM INTO $1`, path)
		return l.explain(err)
	}
	return makeCopy(ctx, l, path)
}

// makeCopy makes a ledger file of another ledger's events.
func makeCopy(ctx context.Context, from *Ledger, path string) (err error) {
	if err := makeLedger(ctx, path); err != nil {
		return explainSQLite(err)
	}
	to, err := openSQLite(ctx, path, Options{})
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, to.settleFile(ctx), to.Close()) }()
	t := transfer{from: from, to: to}
	return t.run(ctx)
}

// settleFile puts everything into the one file, so that it can be moved and
// read where nothing can be written. Only the last connection can do that.
func (l *Ledger) settleFile(ctx context.Context) error {
	l.db.SetMaxOpenConns(1)
	_, err := l.db.ExecContext(ctx, `PRAGMA journal_mode=delete`)
	return err
}

func readBack(ctx context.Context, path string, o CheckOptions) (heads ledger.Heads, r CheckReport, err error) {
	l, err := openSQLite(ctx, path, Options{ReadOnly: true})
	if err != nil {
		return heads, r, err
	}
	defer func() { err = errors.Join(err, l.Close()) }()
	if heads, err = l.Heads(ctx); err != nil {
		return heads, r, err
	}
	r, err = l.Check(ctx, o)
	return heads, r, err
}

// RestoreReport says what a restore did.
type RestoreReport struct {
	Format int         `json:"format"`
	From   string      `json:"from"`
	To     string      `json:"to"`
	Made   bool        `json:"made"`  // there was no ledger before
	Added  int         `json:"added"` // events that were not there
	Check  CheckReport `json:"check"` // of the backup
}

// ErrBroken says that a backup doesn't hold; the report's check says where.
var ErrBroken = errors.New("the backup is broken: nothing was restored; salvage it into a new ledger instead")

// Restore brings a backup's events back. Where there is no ledger it makes
// one, which begins chains of its own; a ledger that is there loses nothing
// and gets what it lacks. It may be interrupted anywhere and done again.
func Restore(ctx context.Context, backup, address string, o CheckOptions) (RestoreReport, error) {
	r := RestoreReport{Format: 1, From: backup, To: redacted(address)}
	err := restore(ctx, backup, address, o, &r)
	if err != nil {
		return r, fmt.Errorf("restoring %s to %s: %w", backup, redacted(address), explainRestore(address, err))
	}
	return r, nil
}

func explainRestore(address string, err error) error {
	if IsPostgres(address) {
		return explainFile(err)
	}
	return inPlace(address, err)
}

func restore(ctx context.Context, backup, address string, o CheckOptions, r *RestoreReport) error {
	if IsPostgres(backup) {
		return errors.New("a backup is a file: sync with a server instead")
	}
	from, err := openSQLite(ctx, backup, Options{ReadOnly: true})
	if err != nil {
		return err
	}
	defer from.Close()
	if r.Check, err = from.Check(ctx, o); err != nil {
		return err
	}
	if r.Check.Verdict == Edited || r.Check.Verdict == Damaged {
		return fmt.Errorf("%w: %s", ErrBroken, r.Check.Verdict)
	}
	if !IsPostgres(address) {
		if _, err := os.Lstat(address); errors.Is(err, fs.ErrNotExist) {
			r.Made, r.Added = true, int(r.Check.Events)
			return restoreNew(ctx, from, address)
		}
	}
	return restoreInto(ctx, from, address, r)
}

func restoreInto(ctx context.Context, from *Ledger, address string, r *RestoreReport) (err error) {
	to, err := Open(ctx, address, Options{Create: true})
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, to.Close()) }()
	t := transfer{from: from, to: to}
	err = t.run(ctx)
	r.Added = t.added
	if err != nil {
		return err
	}
	return exchangeHeads(ctx, to, from)
}

// restoreNew makes a ledger file that nobody sees before it is whole.
func restoreNew(ctx context.Context, from *Ledger, path string) error {
	if err := mustBeFree(path); err != nil {
		return err
	}
	temp, err := tempBeside(path)
	if err != nil {
		return err
	}
	defer removeDatabase(temp)
	if err := from.copyTo(ctx, temp); err != nil {
		return err
	}
	if err := rename(ctx, temp); err != nil {
		return err
	}
	return nameNew(temp, path)
}

// rename gives a copied ledger a name of its own, and lets its writers begin
// new chains: the ledger it was copied from may have gone on meanwhile.
func rename(ctx context.Context, path string) error {
	db, err := sql.Open("sqlite", sqliteDSN(path))
	if err != nil {
		return err
	}
	db.SetMaxOpenConns(1)
	for _, change := range []struct {
		query string
		args  []any
	}{
		{`UPDATE chain SET own = 0`, nil},
		{`UPDATE ledger SET id = $1`, []any{ledger.NewChain()}},
		{`PRAGMA journal_mode=delete`, nil},
	} {
		if _, err := db.ExecContext(ctx, change.query, change.args...); err != nil {
			return errors.Join(explainSQLite(err), db.Close())
		}
	}
	return db.Close()
}
