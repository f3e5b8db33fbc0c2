package main

import (
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"cardwright/manifest/pattern"
)

// How much memory one of our packages, and one of a library, may take while the
// program starts, in bytes: tables and the like are made by whoever needs them.
const (
	mostSetUp     = 64 << 10
	mostOfLibrary = 256 << 10
)

// A command doesn't wait for what it doesn't need: the runtime's own account of
// the setting up of packages (GODEBUG=inittrace=1, package runtime).
func TestStartDoesNoWorkAhead(t *testing.T) {
	program := filepath.Join(t.TempDir(), "cardwright")
	out, err := exec.CommandContext(t.Context(), "go", "build", "-o", program, ".").CombinedOutput()
	require.NoError(t, err, "%s", out)
	cmd := exec.CommandContext(t.Context(), program, "--version")
	cmd.Env = append(os.Environ(), "GODEBUG=inittrace=1")
	trace, err := cmd.CombinedOutput()
	require.NoError(t, err, "%s", trace)
	looked := 0
	for line := range strings.Lines(string(trace)) {
		words := strings.Fields(line) // init PACKAGE @0.5 ms, 0.1 ms clock, 1024 bytes, 12 allocs
		if len(words) < 8 || words[0] != "init" {
			continue
		}
		bytes, err := strconv.Atoi(words[7])
		require.NoError(t, err, line)
		most := mostOfLibrary
		if words[1] == "main" || strings.HasPrefix(words[1], "cardwright/") {
			most = mostSetUp
		}
		assert.LessOrEqual(t, bytes, most, line)
		looked++
	}
	assert.Greater(t, looked, 10, "%s", trace)
	for _, word := range []string{"cardwright ", "\ncommit ", "\nbuilt with go", "\nfor "} {
		assert.Contains(t, string(trace), word)
	}
}

func TestPatternsAreRegularExpressions(t *testing.T) {
	n, err := pattern.CompileAll()
	require.NoError(t, err)
	assert.Greater(t, n, 20)
}
