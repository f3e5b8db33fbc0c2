package store_test

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"syscall"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"cardwright/verify/ledger"
	"cardwright/verify/ledger/ledgertest"
	"cardwright/verify/ledger/store"
)

// small mounts a file system in memory of so many bytes.
func small(t *testing.T, bytes int) string {
	t.Helper()
	require.Zero(t, os.Getuid(), "run as root: this test mounts a small file system to fill it")
	dir := t.TempDir()
	require.NoError(t, syscall.Mount("tmpfs", dir, "tmpfs", 0, fmt.Sprintf("size=%d", bytes)))
	t.Cleanup(func() { require.NoError(t, syscall.Unmount(dir, syscall.MNT_DETACH)) })
	return dir
}

func TestDiskFull(t *testing.T) {
	ctx := context.Background()
	dir := small(t, 1<<20)
	path := filepath.Join(dir, "ledger.db")
	l := open(t, path)
	w := ledgertest.NewWorld(1)
	var acknowledged []string
	var failed error
	for day := 1; failed == nil; day++ {
		var events []ledger.Event
		if events, failed = l.Append(ctx, ledgertest.Writer("Ada"), w.Visit(1, day)...); failed == nil {
			for _, e := range events {
				acknowledged = append(acknowledged, e.ID.String())
			}
		}
	}
	assert.ErrorIs(t, failed, store.ErrFull)
	assert.NotEmpty(t, acknowledged)
	requireAll(t, l, acknowledged)
	requireWhole(t, l, "Ada")

	_, err := l.Backup(ctx, filepath.Join(dir, "backup.db"), known())
	assert.ErrorIs(t, err, store.ErrFull)
	_, err = store.Open(ctx, filepath.Join(dir, "another.db"), store.Options{Create: true})
	assert.ErrorIs(t, err, store.ErrFull)
	other := open(t, file(t))
	busy(t, other, 30)
	_, err = store.Sync(ctx, l, other, store.SyncOptions{})
	assert.ErrorIs(t, err, store.ErrFull)
	left, err := filepath.Glob(filepath.Join(dir, "*"))
	require.NoError(t, err)
	for _, f := range left {
		assert.Contains(t, filepath.Base(f), "ledger.db", "nothing half made is left")
	}

	require.NoError(t, syscall.Mount("tmpfs", dir, "tmpfs", syscall.MS_REMOUNT, "size=64m"))
	syncWith(t, l, other)
	requireAll(t, l, acknowledged)
	requireWhole(t, l, "Ada", "Ben")
}

func TestReadOnlyMedium(t *testing.T) {
	ctx := context.Background()
	dir := small(t, 16<<20)
	path, backup := filepath.Join(dir, "ledger.db"), filepath.Join(dir, "backup.db")
	l, err := store.Open(ctx, path, store.Options{Create: true})
	require.NoError(t, err)
	busy(t, l, 2)
	_, err = l.Backup(ctx, backup, known())
	require.NoError(t, err)
	remount := func(flags uintptr) {
		require.NoError(t, syscall.Mount("tmpfs", dir, "tmpfs", syscall.MS_REMOUNT|flags, "size=16m"))
	}
	data, err := os.ReadFile(path)
	require.NoError(t, err)
	wal, err := os.ReadFile(path + "-wal")
	require.NoError(t, err)
	require.NoError(t, l.Close())
	pair := filepath.Join(dir, "pair.db")
	require.NoError(t, os.WriteFile(pair, data, 0o600))
	require.NoError(t, os.WriteFile(pair+"-wal", wal, 0o600))
	remount(syscall.MS_RDONLY)

	for _, p := range []string{path, backup} {
		r, err := store.CheckAt(ctx, p, known())
		require.NoError(t, err)
		assert.Equal(t, store.Whole, r.Verdict)
		assert.EqualValues(t, 22, r.Events)
		w, err := store.Open(ctx, p, store.Options{})
		if err == nil {
			_, err = w.Append(ctx, ledgertest.Writer("Ada"), step(0, "1.6", "1.8"))
			require.NoError(t, w.Close())
		}
		assert.ErrorIs(t, err, store.ErrReadOnly)
	}
	_, err = store.Open(ctx, pair, store.Options{ReadOnly: true})
	assert.ErrorContains(t, err, "its last events are still in")
	to := file(t)
	_, err = store.Restore(ctx, backup, to, known())
	require.NoError(t, err)
	requireWhole(t, open(t, to), "Ada", "Ben")
}

// A computer without room for the copy of a server gives no answer from half of it.
func TestNoRoomForTheCopyOfAServer(t *testing.T) {
	dir := small(t, 1<<20)
	address, memory := ledgertest.Postgres(t), filepath.Join(dir, "copy")
	van, _ := vanAndServer(t, address)
	l, err := store.Open(context.Background(), address, store.Options{ReadOnly: true, Memory: memory})
	require.NoError(t, err)
	for range 2 {
		assert.ErrorIs(t, asked(l), store.ErrFull)
		assert.ErrorIs(t, asked(l), errNotAsked)
	}
	require.NoError(t, syscall.Mount("tmpfs", dir, "tmpfs", syscall.MS_REMOUNT, "size=64m"))
	require.NoError(t, asked(l))
	require.NoError(t, l.Close())
	requireFollows(t, van, address, memory)
}
