package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestReadmeStart keeps the way from an empty folder to a card, as the README
// tells it, and the script that walks it in step: the same commands, in the
// same order, and the same tables.
func TestReadmeStart(t *testing.T) {
	readme, err := os.ReadFile(filepath.Join("..", "..", "README.md"))
	require.NoError(t, err)
	_, section, ok := strings.Cut(string(readme), "\n## From an empty folder to a card\n")
	require.True(t, ok, "the README has no section of that name")
	section, _, _ = strings.Cut(section, "\n## ")
	script, err := os.ReadFile(filepath.Join("testdata", "script", "ten_minutes.txtar"))
	require.NoError(t, err)

	var told, walked []string
	for line := range strings.Lines(section) {
		if command, ok := strings.CutPrefix(strings.TrimSpace(line), "$ cardwright "); ok {
			told = append(told, command)
		}
	}
	for line := range strings.Lines(string(script)) {
		if command, ok := strings.CutPrefix(strings.TrimSpace(line), "exits 0 cardwright "); ok {
			walked = append(walked, command)
		}
	}
	assert.Equal(t, walked, told)
	for _, table := range []string{"models.csv", "releases.csv", "devices.csv"} {
		_, text, ok := strings.Cut(string(script), "-- "+table+" --\n")
		require.True(t, ok)
		text, _, _ = strings.Cut(text, "-- ")
		for line := range strings.Lines(text) {
			assert.Contains(t, section, strings.TrimSpace(line), table)
		}
	}
}

// TestReadmeCommands keeps the README's table of commands complete.
func TestReadmeCommands(t *testing.T) {
	readme, err := os.ReadFile(filepath.Join("..", "..", "README.md"))
	require.NoError(t, err)
	_, section, ok := strings.Cut(string(readme), "\n## Commands\n")
	require.True(t, ok, "the README has no section of that name")
	section, _, _ = strings.Cut(section, "\n## ")
	for _, group := range newRootCommand(&session{}).Commands() {
		for _, c := range append(group.Commands(), group) {
			if c.Name() != "help" && c.Runnable() {
				assert.Regexp(t, `\b`+c.Name()+`\b`, section, c.CommandPath())
			}
		}
	}
}
