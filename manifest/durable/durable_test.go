package durable_test

import (
	"errors"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
	"testing/iotest"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"cardwright/manifest/durable"
)

func read(t *testing.T, path string) string {
	text, err := os.ReadFile(path)
	require.NoError(t, err)
	return string(text)
}

// names are those in a folder: a test that leaves one too many has left an
// unfinished file.
func names(t *testing.T, dir string) (all []string) {
	entries, err := os.ReadDir(dir)
	require.NoError(t, err)
	for _, e := range entries {
		all = append(all, e.Name())
	}
	return all
}

func TestWriteIsWholeOrNotAtAll(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "a.txt")
	require.NoError(t, durable.Write(path, 0o600, strings.NewReader("old")))
	require.NoError(t, os.Chmod(path, 0o640))

	broken := io.MultiReader(strings.NewReader("ne"), iotest.ErrReader(errors.New("pulled out")))
	assert.ErrorContains(t, durable.Write(path, 0o600, broken), "pulled out")
	assert.Equal(t, "old", read(t, path))
	assert.Equal(t, []string{"a.txt"}, names(t, dir))

	require.NoError(t, durable.Write(path, 0o600, strings.NewReader("new")))
	assert.Equal(t, "new", read(t, path))
	assert.Equal(t, []string{"a.txt"}, names(t, dir))
	if runtime.GOOS != "windows" { // which has no such rights
		info, err := os.Stat(path)
		require.NoError(t, err)
		assert.Equal(t, fs.FileMode(0o640), info.Mode().Perm(), "the rights of the file that was replaced")
	}
}

func TestWriteNewReplacesNothing(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "a.txt")
	require.NoError(t, durable.WriteNew(path, 0o600, strings.NewReader("first")))
	assert.ErrorIs(t, durable.WriteNew(path, 0o600, strings.NewReader("second")), fs.ErrExist)
	assert.Equal(t, "first", read(t, path))
	assert.Equal(t, []string{"a.txt"}, names(t, dir))

	dangling := filepath.Join(dir, "link")
	if err := os.Symlink("nowhere", dangling); err == nil { // Windows wants a right for it
		assert.ErrorIs(t, durable.WriteNew(dangling, 0o600, strings.NewReader("second")), fs.ErrExist)
		assert.Equal(t, []string{"a.txt", "link"}, names(t, dir))
	}
}

func TestFinished(t *testing.T) {
	name := filepath.Base(durable.Unfinished("/cards/k.img"))
	for _, end := range []string{"", "-wal", "-shm", "-journal"} {
		of, ok := durable.Finished(name + end)
		assert.True(t, ok)
		assert.Equal(t, "k.img", of)
	}
	for _, other := range []string{"k.img", ".k.img", ".k.img.unfinished-", ".k.img.unfinished-12", ".unfinished-12345678", name + ".bak"} {
		_, ok := durable.Finished(other)
		assert.False(t, ok, other)
	}
}

func TestMakeFolders(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "a", "b")
	require.NoError(t, durable.MakeFolders(dir, 0o755))
	require.NoError(t, durable.MakeFolders(dir, 0o755), "it is there already")
	require.NoError(t, durable.Write(filepath.Join(dir, "c"), 0o600, strings.NewReader("")))
	assert.Error(t, durable.MakeFolders(filepath.Join(dir, "c", "d"), 0o755))
}
