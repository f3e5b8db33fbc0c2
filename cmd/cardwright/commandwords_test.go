package main

import (
	"go/ast"
	"go/token"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"cardwright/manifest/problem"
	"cardwright/media"
	"cardwright/media/intake"
	"cardwright/media/intake/adding"
	"cardwright/media/readiness"
	"cardwright/verify/ledger/store"
	"cardwright/verify/prepare"
	"cardwright/verify/seatrial"
)

// commandLine finds commands and flags of this program in a text: every flag that
// it has, and every command by its first words.
type commandLine struct {
	paths, flags []string
	commands     []*regexp.Regexp // of paths
}

func allCommands() (all commandLine) {
	var walk func(cmd *cobra.Command)
	walk = func(cmd *cobra.Command) {
		if !cmd.HasSubCommands() {
			all.paths = append(all.paths, cmd.CommandPath())
			all.commands = append(all.commands, regexp.MustCompile(`\b`+cmd.CommandPath()+`\b`))
		}
		add := func(f *pflag.Flag) { all.flags = append(all.flags, f.Name) }
		cmd.LocalFlags().VisitAll(add)
		cmd.PersistentFlags().VisitAll(add)
		for _, sub := range cmd.Commands() {
			walk(sub)
		}
	}
	walk(newRootCommand(&session{}))
	return all
}

var (
	flagInText = regexp.MustCompile(`(?:^|[^-\w])--([a-z][a-z0-9-]*)`)
	madeFlag   = regexp.MustCompile(`(?:^|[^-\w])--%`) // put together when the program runs
)

// in are the commands and flags that a text names.
func (c commandLine) in(text string) (found []string) {
	text = strings.Join(strings.Fields(text), " ")
	for i, command := range c.commands {
		if command.MatchString(text) {
			found = append(found, c.paths[i])
		}
	}
	for _, m := range flagInText.FindAllStringSubmatch(text, -1) {
		if slices.Contains(c.flags, m[1]) {
			found = append(found, "--"+m[1])
		}
	}
	if madeFlag.MatchString(text) {
		found = append(found, "--%")
	}
	return found
}

// manuals may name commands: lsblk's flags are another program's, and what KEYS.md
// and editors say of a key is read where no command runs.
var manuals = []string{"media/readers/lsblk.go", "manifest/fields.go", "manifest/valueforms.go"}

// TestEnginesHoldNoCommandLines: no text of a package outside cmd names a command
// or a flag of this program; advice is given in acts, which commandWords puts into
// words.
func TestEnginesHoldNoCommandLines(t *testing.T) {
	all := allCommands()
	require.Contains(t, all.in("see cardwright package  add X"), "cardwright package add")
	require.Equal(t, []string{"--why"}, all.in("say so with --why, not --nonsense, and not a--why"))
	require.Equal(t, []string{"--%"}, all.in("(--%s NAME chooses)"))
	for _, f := range goFiles(t) {
		if f.Name.Name == "main" || ofTests(f.folder) || slices.Contains(manuals, f.path) {
			continue
		}
		ast.Inspect(f.File, func(n ast.Node) bool {
			if l, ok := n.(*ast.BasicLit); ok && l.Kind == token.STRING {
				text, err := strconv.Unquote(l.Value)
				require.NoError(t, err)
				if found := all.in(text); found != nil {
					t.Errorf("%s names %s in %s", f.path, strings.Join(found, ", "), l.Value)
				}
			}
			return true
		})
	}
}

// TestPagesHoldNoCommandLines: no more do the words and pages that engines fill in.
func TestPagesHoldNoCommandLines(t *testing.T) {
	all, found := allCommands(), 0
	for _, pattern := range []string{"verify/sheet/words/*.yaml", "verify/sheet/page/*.html", "verify/sheet/page/*.js", "verify/ledger/export/page.html", "verify/ledger/export/page.js"} {
		paths, err := filepath.Glob("../../" + pattern)
		require.NoError(t, err)
		require.NotEmpty(t, paths, pattern)
		for _, path := range paths {
			text, err := os.ReadFile(path)
			require.NoError(t, err)
			assert.Empty(t, all.in(string(text)), path)
			found++
		}
	}
	require.Equal(t, 6, found)
}

// TestActsHaveWords: what engines ask to have done has a command or flags, and
// these are there.
func TestActsHaveWords(t *testing.T) {
	all := allCommands()
	acts := slices.Concat(intake.Acts, adding.Acts, readiness.Acts, seatrial.Acts, store.Acts, prepare.Acts, []problem.Act{media.LeaveBeside})
	for _, act := range acts {
		form, ok := commandWords[act]
		require.Truef(t, ok, "%q has no words", act)
		named := all.in(form)
		assert.NotEmptyf(t, named, "%q: %s", act, form)
		for _, m := range flagInText.FindAllStringSubmatch(form, -1) {
			assert.Containsf(t, all.flags, m[1], "%q: %s", act, form)
		}
		if strings.HasPrefix(form, "cardwright ") {
			assert.Truef(t, slices.ContainsFunc(named, func(n string) bool { return strings.HasPrefix(n, "cardwright ") }), "%q: %s", act, form)
		}
	}
	assert.Len(t, commandWords, len(acts), "each act once, and no words for nothing")
}
