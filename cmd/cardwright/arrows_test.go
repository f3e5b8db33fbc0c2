package main

import (
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// arrows says which of our packages each package imports, on whatever system.
// The list is exact: whoever adds a package or an arrow decides where it belongs.
// cmd/cardwright may import all but helpers of tests; packages in testdata, too.
var arrows = map[string][]string{
	"manifest":          {"manifest/digest", "manifest/pattern", "manifest/problem", "manifest/samename", "manifest/version"},
	"manifest/contacts": {"manifest/durable"},
	"manifest/digest":   {},
	"manifest/durable":  {"manifest/pattern"},
	"manifest/edit":     {"manifest", "manifest/digest", "manifest/durable", "manifest/pattern", "manifest/problem", "manifest/tables", "manifest/version"},
	"manifest/nmea2000": {},
	"manifest/order":    {"manifest", "manifest/digest", "manifest/samename", "manifest/version"},
	"manifest/problem":  {},
	"manifest/pattern":  {},
	"manifest/samename": {},
	"manifest/survey":   {"manifest", "manifest/nmea2000", "manifest/version"},
	"manifest/tables":   {"manifest", "manifest/pattern", "manifest/problem"},
	"manifest/version":  {},

	"media":               {"manifest", "manifest/digest", "manifest/durable", "manifest/order", "manifest/pattern", "manifest/problem", "manifest/samename", "manifest/version", "media/fat32", "media/place"},
	"media/capacity":      {"media"},
	"media/drive":         {"manifest/durable", "media/place", "media/windisk"},
	"media/fat32":         {"manifest/problem", "manifest/samename"},
	"media/intake":        {"manifest", "manifest/digest", "manifest/durable", "manifest/order", "manifest/pattern", "manifest/problem", "manifest/samename", "manifest/version", "media", "media/place"},
	"media/intake/adding": {"manifest", "manifest/digest", "manifest/edit", "manifest/pattern", "manifest/problem", "manifest/tables", "manifest/version", "media", "media/intake"},
	"media/keys":          {"manifest/durable", "media/place"},
	"media/place":         {"manifest/durable", "manifest/pattern"},
	"media/readers":       {"media", "media/windisk"},
	"media/readiness":     {"manifest", "manifest/order", "manifest/problem", "manifest/version", "media", "media/intake"},
	"media/shopsync":      {"manifest", "manifest/contacts", "manifest/digest", "manifest/durable", "manifest/pattern", "manifest/samename"},
	"media/windisk":       {},

	"verify":                    {"manifest", "manifest/digest", "manifest/order", "manifest/pattern", "manifest/problem", "manifest/samename", "manifest/version", "media", "media/drive", "media/keys", "verify/fatread", "verify/visible"},
	"verify/fatread":            {"manifest/problem", "manifest/samename"},
	"verify/ledger":             {"manifest/digest", "manifest/problem", "manifest/version"},
	"verify/ledger/audit":       {"manifest", "manifest/digest", "manifest/version", "verify/ledger", "verify/ledger/known", "verify/ledger/store"},
	"verify/ledger/export":      {"manifest/tables", "manifest/version", "verify/ledger", "verify/ledger/audit"},
	"verify/ledger/known":       {"manifest", "manifest/version", "verify/ledger"},
	"verify/ledger/record":      {"manifest", "manifest/durable", "manifest/edit", "manifest/order", "manifest/problem", "manifest/survey", "manifest/tables", "manifest/version", "media", "verify", "verify/ledger", "verify/ledger/audit", "verify/ledger/known", "verify/seatrial", "verify/visible"},
	"verify/ledger/store":       {"manifest/durable", "manifest/problem", "manifest/version", "media/place", "verify/ledger", "verify/ledger/known"},
	"verify/ledger/unchanged":   {"manifest/problem", "verify/ledger", "verify/ledger/store"},
	"verify/prepare":            {"manifest", "manifest/order", "manifest/problem", "media", "media/capacity", "media/drive", "media/place", "media/readers", "verify"},
	"verify/seatrial":           {"manifest/problem", "verify/seatrial/sentences", "verify/seatrial/wmm"},
	"verify/seatrial/live":      {},
	"verify/seatrial/plot":      {"verify/seatrial"},
	"verify/seatrial/sentences": {"manifest/nmea2000"},
	"verify/seatrial/simulate":  {},
	"verify/seatrial/wmm":       {},
	"verify/sheet":              {"manifest", "manifest/order", "manifest/version", "media", "verify", "verify/seatrial", "verify/seatrial/plot", "verify/visible"},
	"verify/visible":            {},

	"cmd/cardwright/interrupt": {},
}

// goFile is one file of the product, whatever system it is built for.
type goFile struct {
	path, folder string // from the top, with slashes
	*ast.File
}

// goFiles reads every file of the product that isn't a test's, with all build
// tags, from the top folder.
func goFiles(t *testing.T) (all []goFile) {
	const top = "../.."
	require.NoError(t, filepath.WalkDir(top, func(path string, e fs.DirEntry, err error) error {
		rel, _ := filepath.Rel(top, path)
		name := e.Name()
		switch {
		case err != nil:
			return err
		case e.IsDir() && (rel == "testdata" || name == "testdata" || rel != "." && strings.HasPrefix(name, ".")):
			return fs.SkipDir
		case e.IsDir() || !strings.HasSuffix(name, ".go") || strings.HasSuffix(name, "_test.go"):
			return nil
		}
		f, err := parser.ParseFile(token.NewFileSet(), path, nil, parser.SkipObjectResolution)
		all = append(all, goFile{filepath.ToSlash(rel), filepath.ToSlash(filepath.Dir(rel)), f})
		return err
	}))
	require.Greater(t, len(all), 100)
	return all
}

// ofTests tells a package of helpers for tests by its name.
func ofTests(folder string) bool { return strings.HasSuffix(folder, "test") }

// TestArrows: cmd → verify → {manifest, media}; media → the values of manifest
// and its order; manifest → nothing of ours; the writer and the reader of FAT32
// know nothing of each other: all they have in common is which names are one.
func TestArrows(t *testing.T) {
	found := map[string]map[string]bool{}
	for _, f := range goFiles(t) {
		if found[f.folder] == nil {
			found[f.folder] = map[string]bool{}
		}
		for _, i := range f.Imports {
			path, err := strconv.Unquote(i.Path.Value)
			require.NoError(t, err)
			if to, ours := strings.CutPrefix(path, "cardwright/"); ours {
				assert.Falsef(t, ofTests(to) && !ofTests(f.folder), "%s imports %s, which is for tests", f.path, to)
				found[f.folder][to] = true
			}
		}
	}
	for from, to := range found {
		if ofTests(from) || from == "cmd/cardwright" {
			continue
		}
		allowed, known := arrows[from]
		assert.Truef(t, known, "package %s is not on the list of arrows", from)
		for target := range to {
			assert.Containsf(t, allowed, target, "%s must not import %s", from, target)
		}
		for _, target := range allowed {
			assert.Truef(t, to[target], "%s doesn't import %s any more: take the arrow off the list", from, target)
		}
	}
	for from := range arrows {
		assert.Containsf(t, found, from, "there is no package %s any more", from)
	}
}

// TestOnlyCommandsPrint: what a person sees, and how the process ends, is
// decided in cmd alone.
func TestOnlyCommandsPrint(t *testing.T) {
	forbidden := map[string][]string{
		"fmt": {"Print", "Printf", "Println"},
		"os":  {"Stdout", "Stderr", "Exit"},
		"log": {"Print", "Printf", "Println", "Fatal", "Fatalf", "Fatalln", "Panic", "Panicf", "Panicln"},
	}
	for _, f := range goFiles(t) {
		if f.Name.Name == "main" || ofTests(f.folder) {
			continue
		}
		ast.Inspect(f.File, func(n ast.Node) bool {
			if s, ok := n.(*ast.SelectorExpr); ok {
				if x, ok := s.X.(*ast.Ident); ok && slices.Contains(forbidden[x.Name], s.Sel.Name) {
					t.Errorf("%s uses %s.%s, which is for commands", f.path, x.Name, s.Sel.Name)
				}
			}
			return true
		})
	}
}

// A package says in one comment of at most ten lines what it is for, what it
// promises and what it leaves to others. Rules that need more are next to the code.
func TestPackagesSayWhatTheyAreFor(t *testing.T) {
	root := filepath.Join("..", "..")
	docs := map[string][]string{}
	require.NoError(t, filepath.WalkDir(root, func(path string, d fs.DirEntry, err error) error {
		switch {
		case err != nil:
			return err
		case d.IsDir() && (d.Name() == "node_modules" || strings.HasPrefix(d.Name(), ".") && path != root):
			return filepath.SkipDir
		case d.IsDir() || !strings.HasSuffix(path, ".go") || strings.HasSuffix(path, "_test.go"):
			return nil
		}
		file, err := parser.ParseFile(token.NewFileSet(), path, nil, parser.ParseComments|parser.PackageClauseOnly)
		if err != nil {
			return err
		}
		dir := filepath.ToSlash(filepath.Dir(path))
		docs[dir] = append(docs[dir], file.Doc.Text())
		return nil
	}))
	require.Greater(t, len(docs), len(arrows))
	for dir, texts := range docs {
		texts = slices.DeleteFunc(texts, func(text string) bool { return text == "" })
		if assert.Len(t, texts, 1, "%s: comments of the package", dir) {
			assert.Regexp(t, `^(Package|Command) \w`, texts[0], dir)
			assert.LessOrEqual(t, strings.Count(texts[0], "\n"), 10, "%s: lines", dir)
		}
	}
}

// TestNobodyGoesByTheTextOfAnError: what an error is, its type or its value says;
// its text is for people, and changes.
func TestNobodyGoesByTheTextOfAnError(t *testing.T) {
	matching := []string{"Contains", "HasPrefix", "HasSuffix", "Index", "Cut", "CutPrefix", "CutSuffix", "EqualFold", "Count"}
	for _, f := range goFiles(t) {
		ast.Inspect(f.File, func(n ast.Node) bool {
			call, ok := n.(*ast.CallExpr)
			if !ok || len(call.Args) == 0 {
				return true
			}
			s, ok := call.Fun.(*ast.SelectorExpr)
			if !ok || !slices.Contains(matching, s.Sel.Name) {
				return true
			}
			if x, ok := s.X.(*ast.Ident); !ok || x.Name != "strings" && x.Name != "bytes" {
				return true
			}
			if of, ok := call.Args[0].(*ast.CallExpr); ok {
				if text, ok := of.Fun.(*ast.SelectorExpr); ok && text.Sel.Name == "Error" && len(of.Args) == 0 {
					t.Errorf("%s reads the text of an error, by strings.%s", f.path, s.Sel.Name)
				}
			}
			return true
		})
	}
}
