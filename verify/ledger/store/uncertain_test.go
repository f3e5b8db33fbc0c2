package store_test

import (
	"bytes"
	"context"
	"io"
	"net"
	"net/url"
	"path/filepath"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"cardwright/verify/ledger/ledgertest"
	"cardwright/verify/ledger/store"
)

// wire stands between a ledger and its server and cuts the connection right
// after a commit has gone through, so that the answer is lost.
type wire struct {
	server  string // its socket
	cut     atomic.Bool
	refuses atomic.Bool // everything, once it has cut
	done    atomic.Bool
}

// between gives the address of the same ledger through a wire.
func between(t *testing.T, address string) (string, *wire) {
	t.Helper()
	u, err := url.Parse(address)
	require.NoError(t, err)
	q := u.Query()
	const socket = ".s.PGSQL.5432"
	w := &wire{server: filepath.Join(q.Get("host"), socket)}
	dir := t.TempDir()
	l, err := net.Listen("unix", filepath.Join(dir, socket))
	require.NoError(t, err)
	t.Cleanup(func() { l.Close() })
	go func() {
		for {
			c, err := l.Accept()
			if err != nil {
				return
			}
			go w.carry(c)
		}
	}()
	q.Set("host", dir)
	u.RawQuery = q.Encode()
	return u.String(), w
}

func (w *wire) carry(client net.Conn) {
	defer client.Close()
	if w.done.Load() && w.refuses.Load() {
		return
	}
	server, err := net.Dial("unix", w.server)
	if err != nil {
		return
	}
	defer server.Close()
	go io.Copy(client, server)
	buf := make([]byte, 1<<16)
	for {
		n, err := client.Read(buf)
		if err != nil || w.done.Load() && w.refuses.Load() {
			return
		}
		commit := bytes.Contains(bytes.ToLower(buf[:n]), []byte("commit"))
		if commit && w.cut.CompareAndSwap(true, false) {
			w.done.Store(true)
			client.Close() // the answer goes nowhere
			time.Sleep(100 * time.Millisecond)
			server.Write(buf[:n])
			time.Sleep(300 * time.Millisecond)
			return
		}
		if _, err := server.Write(buf[:n]); err != nil {
			return
		}
	}
}

// The server commits and the answer is lost: the ledger looks again, and says
// that the events are there, once.
func TestACommitWhoseAnswerWasLostIsLookedFor(t *testing.T) {
	address := ledgertest.Postgres(t)
	direct := open(t, address)
	through, w := between(t, address)
	l := open(t, through)
	appendTo(t, l, "Ada", step(0, "1.5", "1.6"))
	w.cut.Store(true)
	events, err := l.Append(context.Background(), ledgertest.Writer("Ada"), step(1, "1.6", "1.8"))
	require.True(t, w.done.Load(), "the connection was cut")
	require.NoError(t, err)
	require.Len(t, events, 1)
	_, ok, err := direct.Event(context.Background(), events[0].ID)
	require.NoError(t, err)
	assert.True(t, ok)
	requireWhole(t, direct, "Ada")
}

func TestACommitThatNobodyCanLookForIsUncertain(t *testing.T) {
	address := ledgertest.Postgres(t)
	direct := open(t, address)
	through, w := between(t, address)
	l := open(t, through)
	appendTo(t, l, "Ada", step(0, "1.5", "1.6"))
	w.refuses.Store(true)
	w.cut.Store(true)
	_, err := l.Append(context.Background(), ledgertest.Writer("Ada"), step(1, "1.6", "1.8"))
	require.Error(t, err)
	require.True(t, w.done.Load(), "the connection was cut")
	if assert.ErrorIs(t, err, store.ErrUncertain) {
		assert.ErrorContains(t, err, "check before you try again")
	}
	requireWhole(t, direct, "Ada")
}
