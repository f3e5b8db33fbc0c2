package main

import (
	"bufio"
	"context"
	"io"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// Whoever is asked can leave with an interrupt, and nobody types for ever.
func TestALineIsTypedUnlessInterrupted(t *testing.T) {
	in, typing := io.Pipe() // nobody types
	defer typing.Close()
	ctx, interrupt := context.WithCancel(t.Context())
	interrupt()
	_, err := lineTyped(ctx, bufio.NewReader(in))
	assert.Equal(t, exitInterrupted, code(err))

	two := bufio.NewReader(strings.NewReader(" KQZY-Y899 \r\nmore"))
	for _, want := range []string{"KQZY-Y899", "more"} {
		typed, err := lineTyped(t.Context(), two)
		require.NoError(t, err)
		assert.Equal(t, want, typed)
	}
	_, err = lineTyped(t.Context(), two)
	assert.ErrorIs(t, err, errInputEnded)

	endless := bufio.NewReader(strings.NewReader(strings.Repeat("x", maxAnswer+1)))
	_, err = lineTyped(t.Context(), endless)
	assert.ErrorContains(t, err, "more than 1000 bytes in one line")
}
