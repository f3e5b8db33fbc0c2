package main

import (
	"bytes"
	"os/exec"
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// What is read on a dock fits a small screen.
func TestHelpFitsTheScreen(t *testing.T) {
	atScreen(t)
	var each func(cmd *cobra.Command)
	each = func(cmd *cobra.Command) {
		var out bytes.Buffer
		cmd.SetOut(&out)
		require.NoError(t, cmd.Help())
		for line := range strings.Lines(out.String()) {
			assert.LessOrEqual(t, utf8.RuneCountInString(strings.TrimRight(line, "\n")), columns, "%s: %s", cmd.CommandPath(), line)
		}
		assert.NotContains(t, out.String(), "‹U+", "%s: a control character shown", cmd.CommandPath())
		for _, sub := range cmd.Commands() {
			each(sub)
		}
	}
	each(newRootCommand(&session{}))
}

// Whoever reads the help of a command sees how it is typed, and what a flag takes by
// the word for it, not by how the program keeps it.
func TestHelpIsForPeople(t *testing.T) {
	examples := 0
	everyCommand(newRootCommand(&session{}), func(cmd *cobra.Command) {
		path := cmd.CommandPath()
		assert.NotEmpty(t, cmd.Short, path)
		if cmd.HasSubCommands() {
			return
		}
		examples++
		assert.NotEmpty(t, cmd.Long, path)
		assert.Contains(t, cmd.Example, path, "%s: an example of it", path)
		cmd.Flags().VisitAll(func(f *pflag.Flag) {
			name, _ := pflag.UnquoteUsage(f)
			if f.Value.Type() != "bool" {
				assert.NotContains(t, []string{"", f.Value.Type(), "strings", "int", "float", "string"}, name, "%s --%s: what it takes", path, f.Name)
			}
		})
	})
	assert.Greater(t, examples, 40)
}

// An example that a command gives is one that it takes: its flags are there, and so
// many words may follow it.
func TestExamplesAreTyped(t *testing.T) {
	root := newRootCommand(&session{})
	everyCommand(root, func(cmd *cobra.Command) {
		for line := range strings.Lines(strings.ReplaceAll(cmd.Example, "\\\n", "")) {
			words := shellWords(t, line)
			if words[0] != "cardwright" {
				continue // what another program does first
			}
			found, args, err := newRootCommand(&session{}).Find(words[1:])
			require.NoError(t, err, line)
			require.NoError(t, found.ParseFlags(args), line)
			require.NoError(t, found.ValidateArgs(found.Flags().Args()), line)
		}
	})
}

func everyCommand(cmd *cobra.Command, do func(*cobra.Command)) {
	do(cmd)
	for _, sub := range cmd.Commands() {
		everyCommand(sub, do)
	}
}

// shellWords are the words of a line before any redirection or pipe, as the system's
// sh splits them.
func shellWords(t *testing.T, line string) []string {
	t.Helper()
	line, _, _ = strings.Cut(strings.TrimSpace(line), " > ")
	line, _, _ = strings.Cut(line, " | ")
	out, err := exec.Command("sh", "-c", `for w in `+line+`; do printf '%s\n' "$w"; done`).Output()
	require.NoError(t, err, line)
	return strings.Split(strings.TrimSpace(string(out)), "\n")
}
