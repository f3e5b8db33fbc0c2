package main

import (
	"bytes"
	"context"
	"io"
	"path/filepath"
	"strings"
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
	atScreen(t)
	var errs bytes.Buffer
	s := &terminal{in: io.MultiReader(&echo{"radr\n", &errs}, &echo{"radar\n", &errs}), errs: &errs}
	a := s.asking(t.Context(), true, false)
	kind, err := a.value("", "--kind", "Model.kind", "chart display")
	require.NoError(t, err)
	assert.Equal(t, "radar", kind)
	_, err = a.ids("models that it can update over the network", strings.Fields(strings.Repeat("fennick-sweep-2 ", 9)))
	require.ErrorContains(t, err, "the input ended")
	assert.Contains(t, errs.String(), "try radar\n")
	assert.True(t, strings.HasSuffix(errs.String(), "[none]: \n"), "what follows begins a line of its own")
	for line := range strings.Lines(errs.String()) {
		assert.LessOrEqual(t, utf8.RuneCountInString(line), columns+1, line)
	}
}
