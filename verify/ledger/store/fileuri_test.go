package store

import (
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// Paths of both systems, as SQLite's page on URI file names asks for them
// (https://sqlite.org/uri.html, section 3.1 and its table of examples). Windows'
// prefixes are those of Microsoft's page on naming files.
func TestFileURI(t *testing.T) {
	for path, want := range map[string]string{
		"/home/fred/data.db":   "file:///home/fred/data.db",
		"//tmp/data.db":        "file:////tmp/data.db",
		"data.db":              "file:data.db",
		"a b/50% ?#.db":        "file:a%20b/50%25%20%3F%23.db",
		`back\slash.db`:        "file:back%5Cslash.db",
		"/home/fred/C:/a.db":   "file:///home/fred/C:/a.db",
		"/?/one/two/ledger.db": "file:///%3F/one/two/ledger.db",
	} {
		assert.Equal(t, want, fileURI(path, false))
	}
	for path, want := range map[string]string{
		`C:\Documents and Settings\fred\data.db`: "file:///C:/Documents%20and%20Settings/fred/data.db",
		`C:/shop/ledger.db`:                      "file:///C:/shop/ledger.db",
		`shop\ledger.db`:                         "file:shop/ledger.db",
		`\\harbour\office\ledger.db`:             "file:////harbour/office/ledger.db",
		`\\?\C:\shop\ledger.db`:                  "file:///C:/shop/ledger.db",
		`\\?\UNC\harbour\office\ledger.db`:       "file:////harbour/office/ledger.db",
	} {
		assert.Equal(t, want, fileURI(path, true))
	}
}

// What POSIX lets a system read in its own way, two slashes at the start of a
// path, is the same file here.
func TestALedgerBehindTwoSlashes(t *testing.T) {
	file := filepath.Join(t.TempDir(), "ledger.db")
	for _, path := range []string{file, "/" + file} {
		l, err := Open(t.Context(), path, Options{Create: true})
		require.NoError(t, err, path)
		require.NoError(t, l.Close())
	}
}
