package main

import (
	"bytes"
	"fmt"
	"io"
	"os"
	"os/exec"
	"os/signal"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"golang.org/x/sys/unix"
)

// commandFile is a path by which this test is the command, as in TestScripts.
func commandFile(t *testing.T) string {
	test, err := os.Executable()
	require.NoError(t, err)
	command := filepath.Join(t.TempDir(), "cardwright")
	require.NoError(t, os.Symlink(test, command))
	return command
}

// hearsHangups lets commands have hangups that the tests were started without, as
// by nohup: a signal that is caught here is not ignored in what is started.
func hearsHangups(t *testing.T) {
	c := make(chan os.Signal, 1)
	signal.Notify(c, syscall.SIGHUP)
	t.Cleanup(func() { signal.Stop(c) })
}

// said is what a command has written so far.
type said struct {
	mu   sync.Mutex
	text bytes.Buffer
}

func (s *said) Write(p []byte) (int, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.text.Write(p)
}

func (s *said) String() string {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.text.String()
}

// waiting is a command that waits for an answer.
type waiting struct {
	*exec.Cmd
	said   *said
	answer io.Writer
	ended  chan struct{}
}

// askedBy starts a command, which may be wrapped, and waits for its question.
func askedBy(t *testing.T, question string, words ...string) waiting {
	a := waiting{Cmd: exec.Command(words[0], words[1:]...), said: &said{}, ended: make(chan struct{})}
	in, err := a.StdinPipe()
	require.NoError(t, err)
	a.answer, a.Stderr = in, a.said
	require.NoError(t, a.Start())
	go func() {
		_ = a.Wait() // how it ended is looked at
		close(a.ended)
	}()
	t.Cleanup(func() { _ = a.Process.Kill() })
	a.waitFor(t, question)
	return a
}

func (a waiting) waitFor(t *testing.T, text string) {
	require.Eventually(t, func() bool { return strings.Contains(a.said.String(), text) }, time.Minute, time.Millisecond, "waiting for %q", text)
}

func (a waiting) end(t *testing.T) int {
	select {
	case <-a.ended:
	case <-time.After(time.Minute): // so that a hang fails this test and not all
		t.Fatalf("it goes on; so far:\n%s", a.said)
	}
	return a.ProcessState.ExitCode()
}

// Whatever asks a command to end gets the same answer, and nobody sees what Go
// itself would print.
func TestEverySignalInterrupts(t *testing.T) {
	hearsHangups(t)
	command := commandFile(t)
	for _, s := range []syscall.Signal{syscall.SIGINT, syscall.SIGTERM, syscall.SIGHUP, syscall.SIGQUIT} {
		t.Run(s.String(), func(t *testing.T) {
			a := askedBy(t, "name of the shop", command, "init", "--ask", t.TempDir())
			require.NoError(t, a.Process.Signal(s))
			assert.Equal(t, exitInterrupted, a.end(t), a.said)
			assert.Contains(t, a.said.String(), "interrupted while")
			assert.NotContains(t, a.said.String(), "goroutine")
		})
	}
}

// What was started by nohup goes on when the terminal is closed.
func TestHangupIgnoredFromTheStart(t *testing.T) {
	dir := t.TempDir()
	a := askedBy(t, "name of the shop", "nohup", commandFile(t), "init", "--ask", dir)
	require.NoError(t, a.Process.Signal(syscall.SIGHUP))
	_, err := fmt.Fprint(a.answer, "Hollin Quay Marine Electrics\n\n")
	require.NoError(t, err)
	assert.Equal(t, exitDone, a.end(t), a.said)
	assert.FileExists(t, filepath.Join(dir, "shop.yaml"))
}

// A closed terminal sends its hangup twice, once by itself and once by the
// shell: the second doesn't cut short what the first began.
func TestHangupTwiceIsOne(t *testing.T) {
	hearsHangups(t)
	pipe := filepath.Join(t.TempDir(), "devices.csv")
	require.NoError(t, syscall.Mkfifo(pipe, 0o600)) // nobody writes to it: nothing answers the first
	cmd := exec.Command(commandFile(t), "vessel", "add", "curlew", "--shop", "testdata/shop", "--devices", pipe)
	require.NoError(t, cmd.Start())
	ended := make(chan struct{})
	go func() {
		_ = cmd.Wait() // how it ended is looked at
		close(ended)
	}()
	var kept *os.File
	require.Eventually(t, func() (opened bool) {
		var err error
		kept, err = os.OpenFile(pipe, os.O_WRONLY|syscall.O_NONBLOCK, 0) // fifo(7): no sooner than somebody reads it
		return err == nil
	}, time.Minute, time.Millisecond)
	defer kept.Close()
	for range 5 {
		require.NoError(t, cmd.Process.Signal(syscall.SIGHUP))
	}
	select {
	case <-ended:
		t.Fatal("the second hangup ended it")
	case <-time.After(100 * time.Millisecond):
	}
	require.NoError(t, cmd.Process.Signal(os.Interrupt)) // which somebody typed
	<-ended
	assert.Equal(t, exitInterrupted, cmd.ProcessState.ExitCode())
}

// A terminal that is closed in the middle of writing leaves a whole card or
// nothing of one, wherever the hangup comes.
func TestHangupLeavesNoHalfCard(t *testing.T) {
	hearsHangups(t)
	command := commandFile(t)
	const moments = 12
	for i := range moments {
		dir := t.TempDir()
		image := filepath.Join(dir, "k.img")
		cmd := exec.Command(command, "prepare", "kittiwake", "--shop", "testdata/shop", "--to", image, "--size", "4GB", "--yes")
		cmd.Env = append(os.Environ(), "XDG_CONFIG_HOME="+t.TempDir())
		var errs bytes.Buffer
		cmd.Stderr = &errs
		require.NoError(t, cmd.Start())
		time.Sleep(time.Duration(i) * 40 * time.Millisecond) // spread over the work; none is looked for at a given moment
		_ = cmd.Process.Signal(syscall.SIGHUP)               // it may have ended
		_ = cmd.Wait()
		left, err := os.ReadDir(dir)
		require.NoError(t, err)
		switch code := cmd.ProcessState.ExitCode(); {
		case code == exitDone:
			require.Len(t, left, 1)
			assert.Equal(t, exitDone, run(t.Context(), []string{"verify", image, "--for", "kittiwake", "--shop", "testdata/shop"}, strings.NewReader(""), io.Discard, io.Discard))
		default:
			assert.Contains(t, []int{exitInterrupted, -1}, code, errs.String()) // -1: before the program itself ran
			assert.Empty(t, left, errs.String())
		}
	}
}

// openTerminal opens a terminal of our own: what is typed at it, and its other side.
func openTerminal(t *testing.T) (keyboard, side *os.File) {
	keyboard, err := os.OpenFile("/dev/ptmx", os.O_RDWR, 0)
	require.NoError(t, err)
	t.Cleanup(func() { _ = keyboard.Close() })
	raw, err := keyboard.SyscallConn() // Fd would let Close wait for the reading
	require.NoError(t, err)
	var number int
	require.NoError(t, raw.Control(func(fd uintptr) {
		if err = unix.IoctlSetPointerInt(int(fd), unix.TIOCSPTLCK, 0); err == nil {
			number, err = unix.IoctlGetInt(int(fd), unix.TIOCGPTN)
		}
	}))
	require.NoError(t, err)
	side, err = os.OpenFile("/dev/pts/"+strconv.Itoa(number), os.O_RDWR|syscall.O_NOCTTY, 0)
	require.NoError(t, err)
	return keyboard, side
}

// A terminal that is closed in the middle of record's questions loses nothing
// of what was typed there.
func TestTerminalClosedWhileRecording(t *testing.T) {
	hearsHangups(t)
	shop := t.TempDir()
	require.NoError(t, os.CopyFS(shop, os.DirFS("testdata/shop")))
	command := commandFile(t)
	settings := "XDG_CONFIG_HOME=" + t.TempDir()
	key := exec.Command(command, "key", "new")
	key.Env = append(os.Environ(), settings)
	require.NoError(t, key.Run())

	keyboard, side := openTerminal(t)
	cmd := exec.Command(command, "record", "kittiwake", "--only", "helm,radar", "--shop", shop)
	cmd.Env = append(os.Environ(), settings)
	cmd.Stdin, cmd.Stdout, cmd.Stderr = side, side, side
	cmd.SysProcAttr = &syscall.SysProcAttr{Setsid: true, Setctty: true}
	require.NoError(t, cmd.Start())
	require.NoError(t, side.Close())
	t.Cleanup(func() { _ = cmd.Process.Kill() })
	shown := &said{}
	go func() { _, _ = io.Copy(shown, keyboard) }() // until it is closed
	wait := func(text string) {
		require.Eventually(t, func() bool { return strings.Contains(shown.String(), text) }, time.Minute, time.Millisecond, "waiting for %q", text)
	}
	wait("Step 1, helm")
	_, err := fmt.Fprint(keyboard, "3.1 to 3.5, 11 min\n")
	require.NoError(t, err)
	wait("Where did it come from?") // the next question
	require.NoError(t, keyboard.Close())
	_ = cmd.Wait() // how it ended is looked at
	assert.Equal(t, exitInterrupted, cmd.ProcessState.ExitCode(), shown)
	kept, err := filepath.Glob(filepath.Join(shop, "unfinished-kittiwake-*.json"))
	require.NoError(t, err)
	require.Len(t, kept, 1, shown)
	text, err := os.ReadFile(kept[0])
	require.NoError(t, err)
	assert.Contains(t, string(text), `"3.5"`)
}

// mostBefore is how much a package may allocate that is set up before signals
// are taken, in bytes: those that take time make large tables or patterns.
const mostBefore = 64 << 10

var inittrace = regexp.MustCompile(`(?m)^init (\S+) @.* (\d+) bytes,`)

// From the first moment on: what takes long to set up comes after.
func TestSignalsAreTakenFirst(t *testing.T) {
	cmd := exec.Command(commandFile(t), "--help")
	cmd.Env = append(os.Environ(), "GODEBUG=inittrace=1") // https://pkg.go.dev/runtime#hdr-Environment_Variables
	var errs bytes.Buffer
	cmd.Stderr = &errs
	require.NoError(t, cmd.Run())
	for _, m := range inittrace.FindAllStringSubmatch(errs.String(), -1) {
		if m[1] == "cardwright/cmd/cardwright/interrupt" {
			return
		}
		bytes, err := strconv.Atoi(m[2])
		require.NoError(t, err)
		assert.LessOrEqual(t, bytes, mostBefore, "%s is set up before signals are taken", m[1])
	}
	t.Fatalf("not found in\n%s", errs.String())
}
