package sheet

import (
	"go/ast"
	"go/parser"
	"go/token"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"cardwright/manifest"
	"cardwright/verify"
)

// endings are the keys whose last part comes from a closed list.
var endings = map[string][]string{
	"check.name.":      manifest.Checks[1:], // the version shown is read in the step
	"check.how.":       manifest.Checks[1:],
	"check.":           {alongside, underWay},
	"check.caution.":   {alongside, underWay},
	"report.verdict.":  {string(verify.Good), string(verify.Bad), string(verify.Unchecked)},
	"report.severity.": {string(verify.Stop), string(verify.Warn), string(verify.Note)},
	"near.":            {string(Metric), string(Feet)},
	"step.":            {manifest.ByCable, manifest.ByProgram, manifest.ByMaker},
	"route.":           {manifest.ByCable, manifest.ByProgram, manifest.ByMaker},
	"counted.":         {"steps", "steps.one", "cards", "cards.one"},
}

func TestEachLanguageHasTheSameWords(t *testing.T) {
	english := spoken(t, English)
	require.Equal(t, []string{"de", "en"}, Languages())
	for _, language := range Languages() {
		w := spoken(t, language)
		for key, text := range english {
			assert.NotEmpty(t, w[key], "%s has no words for %s", language, key)
			assert.Equal(t, holes(text), holes(w[key]), "%s: {names} of %s", language, key)
		}
		for key := range w {
			assert.Contains(t, english, key, "%s has words that English lacks", language)
		}
		assert.Len(t, strings.Fields(w["months"]), 12, language)
	}
}

func TestNoWordIsMissingOrUnused(t *testing.T) {
	used := literals(t)
	english := spoken(t, English)
	for key := range english {
		assert.True(t, isUsed(key, used), "nothing says %s", key)
	}
	for prefix, ends := range endings {
		for _, end := range ends {
			assert.Contains(t, english, prefix+end)
		}
	}
}

func isUsed(key string, used []string) bool {
	for _, end := range []string{"", ".text", ".open"} {
		if slices.Contains(used, strings.TrimSuffix(key, end)) {
			return true
		}
	}
	for prefix, ends := range endings {
		if slices.Contains(used, prefix) && strings.HasPrefix(key, prefix) && slices.Contains(ends, key[len(prefix):]) {
			return true
		}
	}
	return false
}

// literals are all text constants of the package's own code and template.
func literals(t *testing.T) []string {
	t.Helper()
	files, err := filepath.Glob("*.go")
	require.NoError(t, err)
	var all []string
	for _, file := range files {
		if strings.HasSuffix(file, "_test.go") {
			continue
		}
		tree, err := parser.ParseFile(token.NewFileSet(), file, nil, 0)
		require.NoError(t, err)
		fills := map[ast.Node]bool{} // names of what is filled in, not keys
		ast.Inspect(tree, func(n ast.Node) bool {
			if call, ok := n.(*ast.CallExpr); ok && called(call) == "say" {
				for i := 1; i < len(call.Args); i += 2 {
					fills[call.Args[i]] = true
				}
			}
			if call, ok := n.(*ast.CallExpr); ok && called(call) == "tick" { // its first is the language
				for i := 2; i < len(call.Args); i += 2 {
					fills[call.Args[i]] = true
				}
			}
			if l, ok := n.(*ast.BasicLit); ok && l.Kind == token.STRING && !fills[l] {
				s, err := strconv.Unquote(l.Value)
				require.NoError(t, err)
				all = append(all, s)
			}
			return true
		})
	}
	templates, err := filepath.Glob("page/*")
	require.NoError(t, err)
	for _, file := range templates {
		text, err := os.ReadFile(file)
		require.NoError(t, err)
		for _, m := range regexp.MustCompile(`say "([^"]+)"`).FindAllStringSubmatch(string(text), -1) {
			all = append(all, m[1])
		}
	}
	return all
}

func called(call *ast.CallExpr) string {
	switch f := call.Fun.(type) {
	case *ast.SelectorExpr:
		return f.Sel.Name
	case *ast.Ident:
		return f.Name
	}
	return ""
}

// holes are the {names} of a text, sorted.
func holes(s string) []string {
	all := regexp.MustCompile(`\{\w+\}`).FindAllString(s, -1)
	slices.Sort(all)
	return all
}

func spoken(t *testing.T, language string) words {
	t.Helper()
	w, err := speak(language)
	require.NoError(t, err)
	return w
}
