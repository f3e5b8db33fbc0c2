package main

import (
	"bytes"
	"context"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"
	"unicode/utf8"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// promptWriter tells when something was asked.
type promptWriter struct {
	bytes.Buffer
	asked func()
}

func (w *promptWriter) Write(p []byte) (int, error) {
	n, err := w.Buffer.Write(p)
	w.asked()
	return n, err
}

// Whoever is asked can leave: at a question nothing else reads what is typed, so
// that the interrupt is the only way out.
func TestInterruptedAtAQuestion(t *testing.T) {
	dir := t.TempDir()
	in, typing := io.Pipe() // nobody types
	defer typing.Close()
	ctx, interrupt := context.WithCancel(t.Context())
	errs := &promptWriter{asked: interrupt}
	ended := make(chan int, 1)
	go func() { ended <- run(ctx, []string{"init", "--ask", dir}, in, io.Discard, errs) }()
	select {
	case code := <-ended:
		require.Equal(t, exitInterrupted, code)
	case <-time.After(time.Minute): // so that a hang fails this test and not all
		t.Fatal("the question was not left")
	}
	assert.Contains(t, errs.String(), "\ncardwright: interrupted while reading the answer")
	assert.NoFileExists(t, filepath.Join(dir, "shop.yaml"))
}

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

// echo is one line that is typed at a terminal, which shows it.
type echo struct {
	line string
	on   io.Writer
}

func (e *echo) Read(p []byte) (int, error) {
	if e.line == "" {
		return 0, io.EOF
	}
	n, err := io.WriteString(e.on, e.line)
	copy(p, e.line)
	e.line = ""
	return n, err
}

// Questions, and what is said to a wrong answer, fit the screen.
func TestQuestionsFitTheScreen(t *testing.T) {
	var errs bytes.Buffer
	s := &session{in: io.MultiReader(&echo{"radr\n", &errs}, &echo{"radar\n", &errs}), errs: &errs}
	a := s.asking(t.Context(), true, false)
	kind, err := a.value("", "--kind", "Model.kind", "chart display")
	require.NoError(t, err)
	assert.Equal(t, "radar", kind)
	_, err = a.ids("models that it can update over the network", strings.Fields(strings.Repeat("fennick-sweep-4 ", 9)))
	require.ErrorContains(t, err, "the input ended")
	assert.Contains(t, errs.String(), "try radar\n")
	assert.True(t, strings.HasSuffix(errs.String(), "[none]: \n"), "what follows begins a line of its own")
	for line := range strings.Lines(errs.String()) {
		assert.LessOrEqual(t, utf8.RuneCountInString(line), columns+1, line)
	}
}
