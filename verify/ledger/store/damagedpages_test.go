package store

import (
	"context"
	"crypto/ed25519"
	"errors"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"cardwright/verify/ledger"
)

// FuzzPages checks that no file makes the reader of damaged ledgers panic, or
// read more than its budget.
func FuzzPages(f *testing.F) {
	seed := smallLedger(f)
	f.Add(seed, []byte{})
	f.Add(seed[:8192], seed[4096:12288])
	f.Fuzz(func(t *testing.T, db, wal []byte) {
		path := filepath.Join(t.TempDir(), "x.db")
		require.NoError(t, os.WriteFile(path, db, 0o600))
		require.NoError(t, os.WriteFile(path+"-wal", wal, 0o600))
		p, err := openPages(path)
		require.NoError(t, err)
		defer p.close()
		read := 0
		err = p.each(func(page []byte) error {
			return p.events(page, func(f found) error { read += len(f.content); return nil })
		})
		if err != nil {
			require.ErrorIs(t, err, errBusywork)
		}
		require.LessOrEqual(t, read, 4*(len(db)+len(wal))+batchBytes+ledger.MaxContent)
	})
}

// smallLedger gives the bytes of a ledger file with one event.
func smallLedger(t testing.TB) []byte {
	ctx := context.Background()
	path := filepath.Join(t.TempDir(), "ledger.db")
	l, err := Open(ctx, path, Options{Create: true})
	require.NoError(t, err)
	key := ledger.Key(ed25519.NewKeyFromSeed(make([]byte, ed25519.SeedSize)))
	_, err = l.Append(ctx, Writer{Shop: "Hollin Quay", Technician: "Ada", Signer: key}, ledger.Entry{
		At: time.Date(2026, 3, 2, 8, 0, 0, 0, time.UTC), Kind: ledger.SettingsSaved, Vessel: "kittiwake", Settings: &ledger.Settings{Where: "shop"},
	})
	require.NoError(t, err)
	require.NoError(t, l.settleFile(ctx))
	require.NoError(t, l.Close())
	data, err := os.ReadFile(path)
	require.NoError(t, err)
	return data
}

// A file that repeats one long event in every place is given up.
func TestAFileMadeToKeepAReaderBusyIsGivenUp(t *testing.T) {
	// A record of our columns with a content of 200,000 bytes, which goes on
	// in page 2, again and again in each page.
	head := []byte{0, 0, 76, 1, 1, 76, 13, 13, 13, 13, 13, 13, 13, 13, 0, 0x8c, 0x9a, 0x0d, 0x81, 0x0c}
	head[0] = byte(len(head))
	page := make([]byte, 4096)
	copy(page, []byte(sqliteMagic))
	page[16], page[17] = 0x10, 0
	for at := 600; at+len(head) < 700; at += len(head) {
		copy(page[at:], head)
	}
	path := filepath.Join(t.TempDir(), "x.db")
	var data []byte
	for range 4000 {
		data = append(data, page...)
	}
	require.NoError(t, os.WriteFile(path, data, 0o600))
	p, err := openPages(path)
	require.NoError(t, err)
	defer p.close()
	p.budget = 1 << 20
	err = p.each(func(page []byte) error { return p.events(page, func(found) error { return nil }) })
	assert.True(t, errors.Is(err, errBusywork), "%v", err)
}
