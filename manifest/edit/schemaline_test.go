package edit_test

import (
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"cardwright/manifest"
	"cardwright/manifest/edit"
)

// The line leads from a file's folder to the schema of its kind.
func TestTheSchemaLineLeadsToTheSchema(t *testing.T) {
	dir := t.TempDir()
	require.NoError(t, os.CopyFS(dir, manifest.Schemas))
	for name, want := range map[string]string{
		"shop.yaml":                     "schema/shop.schema.json",
		"catalogue/a.yaml":              "../schema/model.schema.json",
		"vessels/kittiwake.yaml":        "../schema/vessel.schema.json",
		"vessels/2026/north/heron.yaml": "../../../schema/vessel.schema.json",
		"./vessels//a.yaml":             "../schema/vessel.schema.json",
	} {
		assert.Equal(t, "yaml-language-server: $schema="+want, edit.SchemaComment(name))
		assert.FileExists(t, filepath.Join(dir, filepath.Dir(filepath.FromSlash(name)), filepath.FromSlash(want)))
	}
	for _, name := range []string{"vessels", "notes.yaml", "packages/a.yaml"} {
		assert.Empty(t, edit.SchemaComment(name))
	}
}

// A file that names no schema gets the line when it is changed next, in its own
// line ends and behind its byte order mark; one that names one keeps it.
func TestAChangedFileGetsTheSchemaLine(t *testing.T) {
	const line = "# yaml-language-server: $schema=../schema/vessel.schema.json"
	for text, want := range map[string]string{
		"a: 1\n":                      line + "\na: 2\n",
		"# a boat\na: 1\n":            line + "\n# a boat\na: 2\n",
		"a: 1\r\n":                    line + "\r\na: 2\r\n",
		"\xef\xbb\xbfa: 1\n":          "\xef\xbb\xbf" + line + "\na: 2\n",
		line + "\na: 1\n":             line + "\na: 2\n",
		"# $schema=elsewhere\na: 1\n": "# $schema=elsewhere\na: 2\n",
		"# a\n\n" + line + "\na: 1\n": "# a\n\n" + line + "\na: 2\n",
	} {
		for _, schemas := range []bool{true, false} {
			dir := t.TempDir()
			if schemas {
				require.NoError(t, os.CopyFS(dir, manifest.Schemas))
			} else {
				want = changed(text)
			}
			path := filepath.Join(dir, "vessels", "heron.yaml")
			require.NoError(t, os.MkdirAll(filepath.Dir(path), 0o755))
			require.NoError(t, os.WriteFile(path, []byte(text), 0o600))
			differs, err := edit.Rewrite(dir, "vessels/heron.yaml", func(text []byte) ([]byte, error) { return []byte(changed(string(text))), nil })
			require.NoError(t, err)
			assert.True(t, differs)
			got, err := os.ReadFile(path)
			require.NoError(t, err)
			assert.Equal(t, want, string(got))
		}
	}
}

func changed(text string) string {
	b := []byte(text)
	for i := range b {
		if b[i] == '1' {
			b[i] = '2'
		}
	}
	return string(b)
}
