package store_test

import (
	"context"
	"errors"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"cardwright/verify/ledger/ledgertest"
	"cardwright/verify/ledger/store"
)

// vanAndServer are a van's ledger of some work and a server that has it all.
func vanAndServer(t *testing.T, address string) (van, server *store.Ledger) {
	t.Helper()
	van, server = open(t, file(t)), open(t, address)
	busy(t, van, 150)
	syncWith(t, van, server)
	return van, server
}

// requireFollows checks that what a computer answers from, after whatever happened to
// its copy of a server, is what the van has.
func requireFollows(t *testing.T, van *store.Ledger, address, memory string) {
	t.Helper()
	l, err := store.Open(context.Background(), address, store.Options{ReadOnly: true, Memory: memory})
	require.NoError(t, err)
	r, _, err := l.Followed(context.Background())
	require.NoError(t, err)
	require.Equal(t, store.Whole, r.Verdict, "%+v", r.Breaks)
	require.Equal(t, contents(t, van), contents(t, l))
	require.NoError(t, l.Close())
}

// A copy that was being made or brought up to date when its program was killed is
// gone on with, or made anew: no answer lacks an event.
func TestKilledWhileFollowingAServer(t *testing.T) {
	t.Parallel()
	address, memory := ledgertest.Postgres(t), filepath.Join(t.TempDir(), "copy")
	van, server := vanAndServer(t, address)
	for n, after := range moments(t) {
		killed(t, after, "follow", address, memory)
		if n%2 == 0 { // what came since
			appendTo(t, van, "Ada", step(n, "1.6", "1.8"))
			syncWith(t, van, server)
		}
		requireFollows(t, van, address, memory)
	}
}

// A server that is stopped while it is followed: the error says that it is away, and
// when it is back nothing is missing.
func TestAServerStoppedWhileItIsFollowed(t *testing.T) {
	ctx := context.Background()
	server, err := ledgertest.StartServer()
	require.NoError(t, err)
	defer func() { require.NoError(t, server.Remove()) }()
	address := server.Address("")
	van, _ := vanAndServer(t, address)
	failed := 0
	for _, after := range []time.Duration{0, 30 * time.Millisecond, 90 * time.Millisecond} {
		memory := filepath.Join(t.TempDir(), "copy")
		l, err := store.Open(ctx, address, store.Options{ReadOnly: true, Memory: memory})
		require.NoError(t, err)
		halted := make(chan error, 1)
		go func() {
			time.Sleep(after)
			halted <- server.Halt()
		}()
		if after == 0 {
			require.NoError(t, <-halted)
		}
		if _, _, err = l.Followed(ctx); err != nil {
			failed++
			assert.ErrorIs(t, err, store.ErrAway)
		}
		if after > 0 {
			require.NoError(t, <-halted)
		}
		_, _, err = l.Followed(ctx)
		require.ErrorIs(t, err, store.ErrAway, "no answer without the server")
		require.NoError(t, l.Close())
		require.NoError(t, server.Start())
		requireFollows(t, van, address, memory)
	}
	assert.Positive(t, failed)
}

var errNotAsked = errors.New("the copy was not asked")

// asked reports whether a question of a server gets an answer.
func asked(l *store.Ledger) error {
	is := errNotAsked
	err := l.Look(context.Background(), func(store.Querier) error {
		is = nil
		return nil
	})
	return errors.Join(err, is)
}
