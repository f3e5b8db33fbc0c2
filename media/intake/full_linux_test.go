package intake_test

import (
	"context"
	"os"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"golang.org/x/sys/unix"

	"cardwright/media/mediatest/shoptest"
)

// A disk that fills up: the download stays, the packages that were there stay,
// and nothing half made is left. The disk is a file system in memory of a given
// size, which takes root.
func TestTakeOnAFullDisk(t *testing.T) {
	b := newBench(t)
	require.NoError(t, os.RemoveAll(b.place()))
	require.NoError(t, os.Mkdir(b.place(), 0o755))
	require.NoError(t, unix.Mount("none", b.place(), "tmpfs", 0, "size=2m"), "mounting takes root")
	t.Cleanup(func() { assert.NoError(t, unix.Unmount(b.place(), unix.MNT_DETACH)) })

	small := b.take(b.taken(fresh(b.download("small.upd", shoptest.Make("small.upd", 1<<20, 1).Content))))
	require.NoError(t, small.Commit())
	path := b.download("large.upd", shoptest.Make("large.upd", 3<<20, 1).Content)
	f := b.taken(fresh(path))
	_, err := f.Take(context.Background(), b.Shop.Shop, nil)
	require.ErrorIs(t, err, unix.ENOSPC)
	assert.ErrorContains(t, err, "nothing was kept")
	assert.Equal(t, []string{"small.upd"}, names(t, b.place("fennick-plot-12", "4.1")))
	info, err := os.Stat(path)
	require.NoError(t, err)
	assert.EqualValues(t, 3<<20, info.Size())
}
