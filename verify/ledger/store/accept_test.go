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

// An older state that somebody accepts: nothing is missed any more, and the writer
// begins a new chain, so that events which turn up again stand beside what was
// written since, and no chain forks.
func TestAnAcceptedOlderStateForksNoChain(t *testing.T) {
	ctx := context.Background()
	for _, e := range engines {
		t.Run(e.name, func(t *testing.T) {
			address, memory := e.fresh(t), filepath.Join(t.TempDir(), "memory")
			reopen := func() *store.Ledger {
				l, err := store.Open(ctx, address, store.Options{Create: true, Memory: memory})
				require.NoError(t, err)
				return l
			}
			l := reopen()
			appendTo(t, l, "Ada", step(0, "1.5", "1.6"), step(1, "1.6", "1.8"))
			lost := appendTo(t, l, "Ada", step(2, "1.8", "1.9"))[0]
			heads, err := l.Heads(ctx)
			require.NoError(t, err)
			kept := open(t, file(t))
			syncWith(t, kept, l)
			require.NoError(t, l.Close())

			db := bare(t, address)
			lock := unlock(t, db, store.IsPostgres(address))
			for _, q := range []string{`DELETE FROM device`, `DELETE FROM reading`, `DELETE FROM sighting`, `DELETE FROM witness`, `DELETE FROM event WHERE seq = 3`} {
				if store.IsPostgres(address) && lookedUp(q) {
					continue
				}
				_, err := db.Exec(q)
				require.NoError(t, err)
			}
			lock()
			l = reopen()
			if store.IsPostgres(address) {
				r, _, err := l.Followed(ctx)
				require.NoError(t, err)
				require.Equal(t, store.Edited, r.Verdict)
				assert.Equal(t, ledger.TailMissing, r.First.Kind)
				assert.Contains(t, r.First.Advice, "syncing with "+memory+".db")
				assert.Contains(t, r.First.Advice, "accepting it as it stands")
			} else {
				require.NoError(t, l.Rebuild(ctx))
			}
			a, err := l.Accept(ctx, store.Remembered{Ledger: l.ID(), Heads: heads}, "the disk failed")
			require.NoError(t, err)
			require.Len(t, a.Lost, 1)
			assert.Equal(t, lost.ID, a.Lost[0].ID)
			_, err = l.Accept(ctx, store.Remembered{Ledger: l.ID(), Heads: ledger.Heads{}}, "again")
			assert.ErrorIs(t, err, store.ErrNothingLost)
			next := appendTo(t, l, "Ada", step(4, "1.8", "2.5"))[0]
			assert.EqualValues(t, 1, next.Statement.Seq, "a new chain")
			assert.NotEqual(t, lost.Statement.Chain, next.Statement.Chain)

			syncWith(t, kept, l)
			r, err := l.Check(ctx, store.CheckOptions{Known: ledgertest.Known("Ada")})
			require.NoError(t, err)
			assert.Empty(t, r.Breaks, "the lost event is back, and nothing forked")
			assert.EqualValues(t, 4, r.Events)
			require.NoError(t, l.Close())
		})
	}
}
