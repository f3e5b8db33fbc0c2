package verify_test

import (
	"context"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"cardwright/media"
	"cardwright/verify"
)

func acceptFolder(context.Context, media.Record) error { return nil }

// Of file systems by their magic numbers (statfs(2)): those whose files are
// read from the medium by O_DIRECT, and the one that has no medium.
const (
	ext4  = 0xEF53
	xfs   = 0x58465342
	tmpfs = 0x01021994
)

func fileSystemOf(t testing.TB, dir string) int64 {
	kind, err := strconv.ParseInt(strings.TrimSpace(outside(t, "", "stat", "--file-system", "--format", "%t", dir)), 16, 64)
	require.NoError(t, err)
	return kind
}

// folderOf writes the scene's card to a folder.
func (s *scene) folderOf(t testing.TB, parent string) string {
	dir, err := os.MkdirTemp(parent, "card")
	require.NoError(t, err)
	t.Cleanup(func() { os.RemoveAll(dir) })
	require.NoError(t, s.job.WriteFolder(t.Context(), media.FolderTarget{Dir: dir, Judge: acceptFolder}).Err)
	return dir
}

// folderExpected is written without what only a whole card can be asked for.
func (s *scene) folderExpected() *verify.Expected {
	e := s.written()
	e.Digest, e.Limits = "", media.Limits{}
	return e
}

// A folder can be as good as its files; that its file system was not judged is
// said, and so is it where its files can't be read past the cache.
func TestFolders(t *testing.T) {
	s := newScene(t)
	for _, parent := range []string{t.TempDir(), "/dev/shm"} {
		dir := s.folderOf(t, parent)
		var read int64
		r := verify.Folder(t.Context(), dir, s.folderExpected(), func(n int64) { read += n })
		assert.Len(t, found(r, verify.FolderOnly), 1)
		assert.Empty(t, r.Digest)
		assert.Equal(t, int64(r.Counts.BytesOfFiles), read)
		assert.Equal(t, len(s.job.Card.Files), r.Counts.FilesMatching)
		switch fileSystemOf(t, dir) {
		case ext4, xfs, tmpfs:
			assert.Equal(t, verify.Good, r.Verdict, told(r))
		default:
			if len(found(r, verify.NotFromMedium)) > 0 {
				assert.Equal(t, verify.Unchecked, r.Verdict, told(r))
			}
		}
		assert.Equal(t, verify.Unchecked, verify.Folder(t.Context(), dir, nil, nil).Verdict)
	}
}

func TestFoldersThatAreNotGood(t *testing.T) {
	s := newScene(t)
	file := func(dir string) string { return filepath.Join(dir, plot) }
	for name, c := range map[string]struct {
		change  func(dir string) error
		kind    verify.Kind
		path    string
		verdict verify.Verdict
	}{
		"a file deleted": {func(dir string) error { return os.Remove(file(dir)) }, verify.MissingFile, plot, verify.Bad},
		"a file cut":     {func(dir string) error { return os.Truncate(file(dir), 1000) }, verify.SizeDiffers, plot, verify.Bad},
		"a byte changed": {func(dir string) error {
			content, err := os.ReadFile(file(dir))
			if err != nil {
				return err
			}
			content[2<<20+1] ^= 1
			return os.WriteFile(file(dir), content, 0o600)
		}, verify.ContentDiffers, plot, verify.Bad},
		"a link for a file": {func(dir string) error {
			if err := os.Rename(file(dir), dir+".moved"); err != nil {
				return err
			}
			t.Cleanup(func() { os.Remove(dir + ".moved") })
			return os.Symlink(dir+".moved", file(dir))
		}, verify.ExtraFile, plot, verify.Bad},
		"a pipe":          {func(dir string) error { return exec.Command("mkfifo", filepath.Join(dir, "pipe")).Run() }, verify.ExtraFile, "pipe", verify.Bad},
		"the record gone": {func(dir string) error { return os.Remove(filepath.Join(dir, media.RecordPath)) }, verify.RecordAltered, media.RecordPath, verify.Bad},
		"everything gone": {os.RemoveAll, verify.MissingFile, plot, verify.Bad},
		"a folder for a file": {func(dir string) error {
			if err := os.Remove(file(dir)); err != nil {
				return err
			}
			return os.Mkdir(file(dir), 0o755)
		}, verify.MissingFile, plot, verify.Bad},
	} {
		dir := s.folderOf(t, t.TempDir())
		require.NoError(t, c.change(dir))
		r := verify.Folder(t.Context(), dir, s.folderExpected(), nil)
		assert.Equal(t, c.verdict, r.Verdict, "%s: %s", name, told(r))
		var paths []string
		for _, f := range found(r, c.kind) {
			paths = append(paths, f.Path)
		}
		assert.Contains(t, paths, c.path, name)
	}
	gone := verify.Folder(t.Context(), filepath.Join(t.TempDir(), "none"), s.folderExpected(), nil)
	assert.NotEqual(t, verify.Good, gone.Verdict)
	assert.NotEmpty(t, found(gone, verify.Unreadable))
	ctx, interrupt := context.WithCancel(t.Context())
	interrupt()
	assert.Equal(t, verify.Unchecked, verify.Folder(ctx, s.folderOf(t, t.TempDir()), s.folderExpected(), nil).Verdict)
}
