package store_test

import (
	"context"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"cardwright/verify/ledger"
	"cardwright/verify/ledger/ledgertest"
	"cardwright/verify/ledger/store"
)

// engines are the places that the same tests are run on.
var engines = []struct {
	name  string
	fresh func(testing.TB) string
}{
	{"SQLite", func(t testing.TB) string { return filepath.Join(t.TempDir(), "ledger.db") }},
	{"PostgreSQL", ledgertest.Postgres},
}

func onBoth(t *testing.T, test func(t *testing.T, l *store.Ledger)) {
	t.Helper()
	for _, e := range engines {
		t.Run(e.name, func(t *testing.T) { test(t, open(t, e.fresh(t))) })
	}
}

func open(t testing.TB, address string) *store.Ledger {
	t.Helper()
	l, err := store.Open(context.Background(), address, store.Options{Create: true})
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, l.Close()) })
	return l
}

func appendTo(t testing.TB, l *store.Ledger, writer string, entries ...ledger.Entry) []ledger.Event {
	t.Helper()
	events, err := l.Append(context.Background(), ledgertest.Writer(writer), entries...)
	require.NoError(t, err)
	return events
}

func requireWhole(t testing.TB, l *store.Ledger, writers ...string) store.CheckReport {
	t.Helper()
	r, err := l.Check(context.Background(), store.CheckOptions{Known: ledgertest.Known(writers...)})
	require.NoError(t, err)
	require.Empty(t, r.Breaks)
	require.Equal(t, store.Whole, r.Verdict)
	return r
}

func TestAppendedEventsAreLinkedAndWhole(t *testing.T) {
	onBoth(t, func(t *testing.T, l *store.Ledger) {
		w := ledgertest.NewWorld(1)
		first := appendTo(t, l, "Ada", w.TakeOn(1, 0))
		rest := appendTo(t, l, "Ada", w.Visit(1, 3)...)
		assert.Equal(t, first[0].ID.String(), rest[0].Statement.Prev)
		r := requireWhole(t, l, "Ada")
		assert.EqualValues(t, 11, r.Events)
		assert.Equal(t, rest[9].ID, r.Chains[0].Head.ID)
	})
}
