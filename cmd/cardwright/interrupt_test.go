package main

import (
	"bytes"
	"context"
	"io"
	"path/filepath"
	"testing"
	"time"

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
	assert.Contains(t, errs.String(), "interrupted while reading the answer")
	assert.NoFileExists(t, filepath.Join(dir, "shop.yaml"))
}
