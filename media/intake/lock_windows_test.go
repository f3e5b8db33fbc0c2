package intake

import (
	"os"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// By Windows' own calls: one holds a folder, the other waits until it is given
// up. The two stand for two programs: the system tells handles apart, not whose
// they are.
func TestTurnsAtAFolder(t *testing.T) {
	dir, err := os.MkdirTemp("", "turns") // not t.TempDir, whose clean-up wine 8 fails at
	require.NoError(t, err)
	t.Cleanup(func() { assert.NoError(t, os.Remove(dir)) })
	open := func() *os.File {
		f, err := os.Open(dir)
		require.NoError(t, err)
		return f
	}
	first := lockFolder(open(), false)
	require.NotNil(t, first)
	second := open()
	require.Nil(t, lockFolder(second, false))
	turn := make(chan bool)
	go func() {
		held := lockFolder(second, true)
		turn <- true
		assert.NoError(t, held.Close())
		turn <- true
	}()
	select {
	case <-turn:
		t.Fatal("both had it")
	case <-time.After(2 * askAgain):
	}
	require.NoError(t, first.Close())
	<-turn
	<-turn
	third := lockFolder(open(), false)
	require.NotNil(t, third)
	require.NoError(t, third.Close())
}
