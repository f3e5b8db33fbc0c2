package main

import (
	"os"
	"path"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

var nameInMap = regexp.MustCompile(`[\w./-]+`)

// TestTheMapNamesWhatIsThere: in the table of behaviours (DEVELOPERS.md) each path is
// that of a file or folder, and each file named without one is in a folder that its
// row names before it.
func TestTheMapNamesWhatIsThere(t *testing.T) {
	const root = "../.."
	text, err := os.ReadFile(filepath.Join(root, "DEVELOPERS.md"))
	require.NoError(t, err)
	_, table, ok := strings.Cut(string(text), "\n## Where to find what\n")
	require.True(t, ok)
	table, _, ok = strings.Cut(table, "\n## ")
	require.True(t, ok)
	names := 0
	for row := range strings.Lines(table) {
		cells := strings.Split(row, "|")
		if len(cells) < 4 {
			continue
		}
		var folders []string
		for _, name := range nameInMap.FindAllString(cells[2], -1) {
			switch {
			case strings.Contains(name, "/"):
				info, err := os.Stat(filepath.Join(root, name))
				if !assert.NoError(t, err, row) {
					continue
				}
				if !info.IsDir() {
					name = path.Dir(name)
				}
				folders = append(folders, name)
			case strings.HasSuffix(name, ".go"):
				there := false
				for _, folder := range folders {
					_, err := os.Stat(filepath.Join(root, folder, name))
					there = there || err == nil
				}
				assert.Truef(t, there, "%s: %s", name, row)
			default:
				continue
			}
			names++
		}
	}
	assert.Greater(t, names, 100)
}
