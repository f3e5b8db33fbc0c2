package main

import (
	"bytes"
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/spf13/cobra"
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
