package shopsync_test

import (
	"context"
	"os"
	"syscall"
	"testing"

	"github.com/stretchr/testify/require"

	"cardwright/media/shopsync"
)

// A stick that is full: reported, nothing half is left, and with more room it goes on.
func TestAFullStickLeavesNothingHalf(t *testing.T) {
	require.Zero(t, os.Getuid(), "run as root: this test mounts a small file system to fill it")
	here, there := shopFolder(t, 12), t.TempDir()
	whole := tree(t, here)
	require.NoError(t, syscall.Mount("tmpfs", there, "tmpfs", 0, "size=1m"))
	t.Cleanup(func() { require.NoError(t, syscall.Unmount(there, syscall.MNT_DETACH)) })
	for range 2 {
		_, err := shopsync.Run(context.Background(), shopIn(here), there, shopsync.Options{New: true})
		require.ErrorIs(t, err, syscall.ENOSPC)
		for name, text := range tree(t, there) {
			require.Equal(t, whole[name], text, name)
		}
		require.Equal(t, whole, tree(t, here))
	}
	require.NoError(t, syscall.Mount("tmpfs", there, "tmpfs", syscall.MS_REMOUNT, "size=64m"))
	run(t, here, there, shopsync.Options{})
	require.Equal(t, whole, tree(t, there))
}
