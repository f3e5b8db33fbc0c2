package main

import (
	"context"
	"io"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// Whoever is asked for a card's code can leave with an interrupt.
func TestInterruptedAtTheCode(t *testing.T) {
	in, typing := io.Pipe() // nobody types
	defer typing.Close()
	ctx, interrupt := context.WithCancel(t.Context())
	interrupt()
	_, err := typedCode(ctx, in)
	assert.Equal(t, exitInterrupted, code(err))

	typed, err := typedCode(t.Context(), strings.NewReader("KQZY-Y899\nmore"))
	require.NoError(t, err)
	assert.Equal(t, "KQZY-Y899\n", typed)
	_, err = typedCode(t.Context(), strings.NewReader(""))
	assert.ErrorContains(t, err, "nothing was erased")
}
