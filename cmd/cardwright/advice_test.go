package main

import (
	"go/ast"
	"go/build"
	"go/parser"
	"go/token"
	"io/fs"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// ownWords are what only one or two of the systems have: their tools, places,
// people and words for them.
var ownWords = map[*regexp.Regexp][]string{
	regexp.MustCompile(`\b(lsblk|losetup|umount|udisksctl|systemctl|apt(-get)?|loop drives?)\b`):      {"linux"},
	regexp.MustCompile(`\b(sudo|chmod|chown|root or|or root|as root)\b|/dev/|~/[a-z.]|\$HOME`):        {"linux", "darwin"},
	regexp.MustCompile(`(?i)\b(diskutil|system settings|finder)\b`):                                   {"darwin"},
	regexp.MustCompile(`(?i)\b(powershell|right-click|as an administrator|task manager)\b|\\\\\.\\P`): {"windows"},
	regexp.MustCompile(`%[A-Z]{3,}%`): {"windows"},
}

// elsewhereJudged are texts that name one system's own in a file that all are
// built with, and why a user of another never reads them.
var elsewhereJudged = map[string]string{
	"media/drive/faultnames.go":       "chosen by the system: TestAdviceFitsItsSystem",
	"media/drive/systemadvice.go":     "chosen by the system: TestAdviceFitsItsSystem",
	"media/drive/ntdrive.go":          "asked on Windows alone",
	"media/drive/macdrive.go":         "asked on macOS alone",
	"media/windisk/drivenames.go":     "asked on Windows alone",
	"media/readers/diskutil.go":       "reads what macOS lists",
	"media/readers/lsblk.go":          "reads what Linux lists",
	"media/readers/mayerase.go":       "of a loop drive, which only Linux lists",
	"media/readers/windowslisting.go": "reads what Windows lists",

	"verify/ledger/ledgertest/postgres.go": "for tests",
}

// No text names a tool, a place or a person that the system it is said on
// doesn't have: all texts of all files are read that a system's program is
// built with.
func TestTextsSuitTheSystem(t *testing.T) {
	root := filepath.Join("..", "..")
	read := 0
	for _, part := range []string{"cmd", "manifest", "media", "verify"} {
		require.NoError(t, filepath.WalkDir(filepath.Join(root, part), func(path string, d fs.DirEntry, err error) error {
			if err != nil || d.IsDir() || !strings.HasSuffix(path, ".go") || strings.HasSuffix(path, "_test.go") {
				return err
			}
			name, err := filepath.Rel(root, path)
			if err != nil {
				return err
			}
			if elsewhereJudged[filepath.ToSlash(name)] != "" {
				return nil
			}
			systems, err := builtFor(path)
			if err != nil {
				return err
			}
			texts, err := textsIn(path)
			for _, text := range texts {
				read++
				for words, on := range ownWords {
					found := words.FindString(text)
					for _, system := range systems {
						assert.Falsef(t, found != "" && !slices.Contains(on, system), "%s, on %s: %q in %q", name, system, found, text)
					}
				}
			}
			return err
		}))
	}
	assert.Greater(t, read, 3000, "texts were read")
}

// builtFor are the systems whose program a file is in.
func builtFor(path string) ([]string, error) {
	var systems []string
	for _, system := range []string{"linux", "darwin", "windows"} {
		of := build.Default
		of.GOOS, of.GOARCH, of.CgoEnabled = system, "amd64", false
		is, err := of.MatchFile(filepath.Dir(path), filepath.Base(path))
		if err != nil {
			return nil, err
		}
		if is {
			systems = append(systems, system)
		}
	}
	return systems, nil
}

// textsIn are the text literals of a file, paths of imports left out.
func textsIn(path string) ([]string, error) {
	file, err := parser.ParseFile(token.NewFileSet(), path, nil, parser.SkipObjectResolution)
	if err != nil {
		return nil, err
	}
	var texts []string
	ast.Inspect(file, func(n ast.Node) bool {
		if _, is := n.(*ast.ImportSpec); is {
			return false
		}
		if text, is := n.(*ast.BasicLit); is && text.Kind == token.STRING {
			texts = append(texts, text.Value)
		}
		return true
	})
	return texts, nil
}
