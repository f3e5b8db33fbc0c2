package place_test

import (
	"os"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"cardwright/media/place"
)

// By the system's own calls: a folder is held by one alone, until it is given up.
// The two play two programs: the system tells handles apart, not whose they
// are.
func TestFolderIsHeldByOne(t *testing.T) {
	dir, err := os.MkdirTemp("", "held") // not t.TempDir, whose clean-up wine 8 fails at
	require.NoError(t, err)
	t.Cleanup(func() { assert.NoError(t, os.Remove(dir)) })
	open := func() *os.File {
		f, err := os.Open(dir)
		require.NoError(t, err)
		return f
	}
	first, err := place.HoldFolder(open())
	require.NoError(t, err)
	second := open()
	_, err = place.HoldFolder(second)
	require.ErrorIs(t, err, place.ErrHeld)
	require.NoError(t, first.Close())
	held, err := place.HoldFolder(second)
	require.NoError(t, err)
	require.NoError(t, held.Close())
}
