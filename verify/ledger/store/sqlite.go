package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"net/url"
	"os"
	"path/filepath"
	"runtime"
	"strings"

	"github.com/pressly/goose/v3"
	"modernc.org/sqlite"
	lib "modernc.org/sqlite/lib"

	"cardwright/manifest/durable"
	"cardwright/media/place"
	"cardwright/verify/ledger"
)

var sqliteEngine = &engine{
	name:       "SQLite",
	dialect:    goose.DialectSQLite3,
	layout:     layoutAboard,
	rows:       1, // named parameters cost SQLite the square of their count
	migrations: below("migrations/sqlite"),
	bound:      boundSQLite,
	explain:    explainSQLite,
}

func below(dir string) fs.FS {
	f, err := fs.Sub(migrationFiles, dir)
	if err != nil { // the folder is embedded
		panic(err)
	}
	return f
}

// connections that one ledger file is read through at once.
const sqliteConnections = 4

// busyMillis is how long a writer waits for another program's.
const busyMillis = 60_000

func openSQLite(ctx context.Context, address string, o Options) (*Ledger, error) {
	path, err := followed(address)
	if err != nil {
		return nil, err
	}
	if !o.ReadOnly {
		if err := place.MayMake(path); err != nil {
			return nil, err
		}
	}
	if err := findFile(ctx, path, o); err != nil {
		return nil, err
	}
	l := &Ledger{engine: sqliteEngine, place: address, file: path, readOnly: o.ReadOnly}
	mode, err := fileMode(path, o.ReadOnly)
	if err != nil {
		return nil, err
	}
	db, err := sql.Open("sqlite", sqliteDSN(path)+mode)
	if err != nil {
		return nil, err
	}
	db.SetMaxOpenConns(sqliteConnections)
	l.db = db
	older, err := l.recognise(ctx)
	switch {
	case err != nil:
	case older && o.ReadOnly:
		err = l.openUpgraded(ctx)
	case older:
		err = l.upgrade(ctx)
	}
	if err != nil {
		return nil, errors.Join(err, l.Close())
	}
	return l, nil
}

// followed is where a path leads: SQLite keeps its other files next to the file
// itself, not next to a link to it.
func followed(path string) (string, error) {
	info, err := os.Lstat(path)
	if err != nil || info.Mode()&fs.ModeSymlink == 0 {
		return path, nil // looking at it again says what is wrong
	}
	target, err := filepath.EvalSymlinks(path)
	if err != nil {
		return "", fmt.Errorf("%w: it is a link that leads nowhere (%w)", ErrNotLedger, err)
	}
	return target, nil
}

// findFile makes the ledger file if it may, and looks whether what is there
// begins as a database does.
func findFile(ctx context.Context, path string, o Options) error {
	if err := mustBeFile(path); err != nil {
		return err
	}
	f, err := os.Open(path)
	if errors.Is(err, fs.ErrNotExist) {
		if !o.Create || o.ReadOnly {
			return ErrNoLedger
		}
		return create(ctx, path)
	}
	if err != nil {
		return err
	}
	defer f.Close()
	head := make([]byte, len(sqliteMagic))
	n, err := io.ReadFull(f, head)
	switch {
	case err != nil && !errors.Is(err, io.EOF) && !errors.Is(err, io.ErrUnexpectedEOF):
		return err
	case string(head) != sqliteMagic:
		return fmt.Errorf("%w: found %d bytes beginning %+q, expected %+q", ErrNotLedger, n, head[:n], sqliteMagic)
	}
	return nil
}

// mustBeFile looks before anything is opened: opening a pipe would wait for
// its other end.
func mustBeFile(path string) error {
	info, err := os.Stat(path)
	switch {
	case err != nil || info.Mode().IsRegular():
		return nil // opening it says what is wrong
	case info.IsDir():
		return fmt.Errorf("%w: found a folder, expected a file", ErrNotLedger)
	}
	return fmt.Errorf("%w: found a device or pipe, expected a file", ErrNotLedger)
}

// maxField is the largest field and row that is read from a file, in bytes.
const maxField = 4 << 20

func boundSQLite(c *sql.Conn) error {
	_, err := sqlite.Limit(c, lib.SQLITE_LIMIT_LENGTH, maxField)
	return err
}

const sqliteMagic = "SQLite format 3\x00"

func sqliteDSN(path string) string {
	return fileURI(path, runtime.GOOS == "windows") +
		"?_txlock=immediate&_dqs=0" + fmt.Sprintf("&_pragma=busy_timeout(%d)", busyMillis) +
		"&_pragma=foreign_keys(on)&_pragma=trusted_schema(off)&_pragma=cell_size_check(on)&_pragma=synchronous(full)"
}

// fileURI names a file as SQLite takes it (https://sqlite.org/uri.html): behind an
// empty authority, so that no server's name is taken for one. Windows' folders on
// a server begin with two slashes; what says that a path is to be taken as it is
// (\\?\) has a question mark, which SQLite's own opening adds where it is needed.
func fileURI(path string, windows bool) string {
	if windows {
		path = strings.ReplaceAll(path, `\`, "/")
		if share, is := strings.CutPrefix(path, "//?/UNC/"); is {
			path = "//" + share
		}
		path = strings.TrimPrefix(path, "//?/")
		if len(path) > 1 && path[1] == ':' {
			path = "/" + path
		}
	}
	uri := strings.ReplaceAll((&url.URL{Path: path}).EscapedPath(), "?", "%3F")
	if strings.HasPrefix(path, "/") {
		return "file://" + uri
	}
	return "file:" + uri
}

// fileMode is how a file is opened. Where it is only read and its folder
// can't be written, SQLite can't make the files that it shares with writers;
// then there are none, and the file is taken as it stands.
func fileMode(path string, readOnly bool) (string, error) {
	if !readOnly {
		// Larger than SQLite's own, because events land all over their indexes.
		return "&_pragma=journal_mode(wal)&_pragma=cache_size(-20000)&_pragma=wal_autocheckpoint(4000)", nil
	}
	wal, err := os.Stat(path + "-wal")
	hasWAL := err == nil && wal.Size() > 0
	var probe *os.File
	if err = place.MayMake(path); err == nil {
		probe, err = os.OpenFile(durable.Unfinished(path), os.O_RDWR|os.O_CREATE|os.O_EXCL, 0o600)
	}
	if err == nil {
		return "&mode=ro", errors.Join(probe.Close(), os.Remove(probe.Name()))
	}
	if hasWAL {
		return "", fmt.Errorf("its last events are still in %s-wal, and its folder is read-only: copy both files to one that can be written", path)
	}
	return "&mode=ro&immutable=1", nil
}

// create makes a ledger file under another name and then gives it its own, so
// that nobody meets half a ledger.
func create(ctx context.Context, path string) error {
	if wal, err := os.Stat(path + "-wal"); err == nil && wal.Size() > 0 { // a reader leaves an empty one
		return fmt.Errorf("%s-wal is there but the ledger isn't: find the file it belongs to, or move it away", path)
	}
	temp, err := tempBeside(path)
	if err != nil {
		return explainSQLite(err)
	}
	defer removeDatabase(temp)
	if err := makeLedger(ctx, temp); err != nil {
		return fmt.Errorf("making ledger: %w", explainSQLite(err))
	}
	return nameOnce(temp, path)
}

func tempBeside(path string) (string, error) {
	if err := place.MayMake(path); err != nil {
		return "", err
	}
	f, err := os.OpenFile(durable.Unfinished(path), os.O_RDWR|os.O_CREATE|os.O_EXCL, 0o600)
	if err != nil {
		return "", err
	}
	return f.Name(), f.Close()
}

// nameOnce gives a finished file its name, unless something has it already:
// then another program made the ledger meanwhile, and that one counts.
func nameOnce(temp, path string) error {
	err := durable.RenameNew(temp, path)
	if errors.Is(err, fs.ErrExist) {
		return durable.SyncFolder(filepath.Dir(path))
	}
	return err
}

func removeDatabase(path string) {
	for _, end := range []string{"", "-wal", "-shm", "-journal"} {
		os.Remove(path + end)
	}
}

func makeLedger(ctx context.Context, path string) (err error) {
	db, err := sql.Open("sqlite", sqliteDSN(path)+"&_pragma=journal_mode(wal)")
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, db.Close()) }()
	db.SetMaxOpenConns(1)
	if err := migrate(ctx, db, sqliteEngine); err != nil {
		return err
	}
	_, err = db.ExecContext(ctx, `INSERT INTO ledger (one, id, format) VALUES (1, $1, $2)`, ledger.NewChain(), ledger.Format)
	return err
}

func firstDifference(found, want string) string {
	has := map[string]bool{}
	for line := range strings.SplitSeq(want, "\x00") {
		has[line] = true
	}
	for line := range strings.SplitSeq(found, "\x00") {
		if !has[line] {
			return fmt.Sprintf("found %+.200q", line)
		}
		delete(has, line)
	}
	for line := range strings.SplitSeq(want, "\x00") {
		if has[line] {
			return fmt.Sprintf("%.200q is missing", line)
		}
	}
	return "its parts are in another order"
}

// Bounds of a layout that is read from a file: ours has about 30 parts.
const (
	maxSchemaParts = 200
	maxSchemaText  = 8192
)

// explainSQLite chains one of our errors where SQLite's code says which.
func explainSQLite(err error) error {
	var e *sqlite.Error
	if !errors.As(err, &e) {
		return explainFile(err)
	}
	switch e.Code() & 0xff {
	case lib.SQLITE_FULL:
		return fmt.Errorf("%w (%w)", ErrFull, err)
	case lib.SQLITE_READONLY, lib.SQLITE_CANTOPEN: // the file itself was there: its folder can't be written
		return fmt.Errorf("%w (%w)", ErrReadOnly, err)
	case lib.SQLITE_BUSY, lib.SQLITE_LOCKED:
		return fmt.Errorf("%w (%w)", ErrLocked, err)
	case lib.SQLITE_TOOBIG:
		return fmt.Errorf("%w: a field larger than any that cardwright writes (%w)", ErrSchema, err)
	case lib.SQLITE_CORRUPT, lib.SQLITE_NOTADB:
		return fmt.Errorf("%w (%w)", ErrDamaged, err)
	}
	return err
}
