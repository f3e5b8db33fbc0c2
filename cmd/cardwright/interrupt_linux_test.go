package main

import (
	"os"
	"os/exec"
	"path/filepath"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// Where the system itself keeps a command waiting, as on a pipe that nobody
// writes to or a disk that is gone, the first interrupt can't be answered: the
// second ends it.
func TestInterruptedTwice(t *testing.T) {
	test, err := os.Executable()
	require.NoError(t, err)
	dir := t.TempDir()
	command, pipe := filepath.Join(dir, "cardwright"), filepath.Join(dir, "devices.csv")
	require.NoError(t, os.Symlink(test, command)) // by this name it is the command, as in TestScripts
	require.NoError(t, syscall.Mkfifo(pipe, 0o600))
	cmd := exec.Command(command, "vessel", "add", "curlew", "--shop", "testdata/shop", "--devices", pipe)
	require.NoError(t, cmd.Start())
	ended := make(chan error, 1)
	go func() { ended <- cmd.Wait() }()
	var kept *os.File // open for writing, with nothing written
	require.Eventually(t, func() bool {
		kept, err = os.OpenFile(pipe, os.O_WRONLY|syscall.O_NONBLOCK, 0) // fifo(7): no sooner than somebody reads it
		return err == nil
	}, time.Minute, time.Millisecond)
	defer kept.Close()
	for range 600 { // so that a hang fails this test and not all
		_ = cmd.Process.Signal(os.Interrupt) // it may have ended meanwhile
		select {
		case <-ended:
			assert.False(t, cmd.ProcessState.Success())
			return
		case <-time.After(100 * time.Millisecond):
		}
	}
	_ = cmd.Process.Kill()
	t.Fatal("it could not be interrupted")
}
