package main

import (
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestReadmeLedger keeps the README's section on the ledger and the script
// that walks it in step: every command that it names is run.
func TestReadmeLedger(t *testing.T) {
	readme, err := os.ReadFile(filepath.Join("..", "..", "README.md"))
	require.NoError(t, err)
	_, section, ok := strings.Cut(string(readme), "\n## The ledger\n")
	require.True(t, ok, "the README has no section of that name")
	section, _, _ = strings.Cut(section, "\n## ")
	script, err := os.ReadFile(filepath.Join("testdata", "script", "ledger_guide.txtar"))
	require.NoError(t, err)
	walked := commands(string(script), `(?m)^exits \d cardwright (.*)$`)
	var told []string
	for _, command := range commands(section, `(?m)^\s+\$ cardwright (.*)$`) {
		inShell := "sh -c 'cardwright " + strings.Replace(command, "3f9a12c4", "$(cat id)", 1)
		if !strings.Contains(string(script), inShell) {
			told = append(told, command)
		}
	}
	assert.Subset(t, walked, told, "every command was run")
	assert.NotEmpty(t, told)
}

func commands(text, pattern string) (list []string) {
	for _, m := range regexp.MustCompile(pattern).FindAllStringSubmatch(text, -1) {
		list = append(list, strings.ReplaceAll(m[1], " --by 'T. Harrow'", ""))
	}
	return list
}
