package intake_test

import (
	"bytes"
	"context"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"cardwright/manifest"
	"cardwright/manifest/digest"
	"cardwright/media"
	"cardwright/media/intake"
	"cardwright/media/mediatest/shoptest"
)

func (b *bench) take(f intake.Found) *intake.Taken {
	b.t.Helper()
	taken, err := f.Take(context.Background(), b.Shop.Shop, nil)
	require.NoError(b.t, err)
	return taken
}

func (b *bench) place(parts ...string) string {
	return filepath.Join(append([]string{b.Dir, "packages"}, parts...)...)
}

func names(t *testing.T, dir string) (all []string) {
	t.Helper()
	entries, err := os.ReadDir(dir)
	require.NoError(t, err)
	for _, e := range entries {
		all = append(all, e.Name())
	}
	return all
}

func TestTake(t *testing.T) {
	b := newBench(t)
	content := bytes.Repeat([]byte("a release"), 300_000)
	f := b.taken(fresh(b.download("plot12-4.1.upd", content)))
	taken := b.take(f)
	assert.NoFileExists(t, taken.Path, "until Commit")
	require.NoError(t, taken.Commit())
	assert.Equal(t, b.place("fennick-plot-12", "4.1", "plot12-4.1.upd"), taken.Path)
	stored, err := os.ReadFile(taken.Path)
	require.NoError(t, err)
	assert.True(t, bytes.Equal(content, stored))
	assert.Equal(t, []string{"plot12-4.1.upd"}, names(t, filepath.Dir(taken.Path)))
	assert.FileExists(t, f.Path, "the download stays")

	noted := *b.Shop.Shop.Models[0]
	noted.Releases = []*manifest.Release{{Version: "4.1", Files: []*manifest.File{{Name: f.Name, Size: manifest.Size(f.Size), SHA256: f.SHA256}}}}
	require.NoError(t, taken.Withdraw(&manifest.Shop{Models: []*manifest.Model{&noted}}))
	assert.FileExists(t, taken.Path, "somebody else noted it in the catalogue meanwhile")
	require.NoError(t, taken.Withdraw(nil))
	assert.FileExists(t, taken.Path, "whether anybody did is unknown")
	require.NoError(t, taken.Withdraw(b.Shop.Shop))
	assert.NotContains(t, names(t, b.place("fennick-plot-12")), "4.1")

	taken = b.take(f)
	require.NoError(t, taken.Abandon())
	assert.Equal(t, []string{"4.0-12"}, names(t, b.place("fennick-plot-12")), "nothing is left")
}

// Variants of a release may have files of one name: neither takes the other's
// place, and each is found by its digest.
func TestTakeSameName(t *testing.T) {
	b := newBench(t)
	plot := b.Models[0]
	europe, other := shoptest.Make("update.bin", 5000, 7), shoptest.Make("update.bin", 5000, 8)
	for variant, f := range map[string]shoptest.File{"Europe": europe, "America": other} {
		plot.Releases = append(plot.Releases, &manifest.Release{Version: "1.6", Variant: variant, Files: []*manifest.File{
			{Name: "update.bin", Size: 5000, SHA256: digest.Of(f.Content)},
		}})
	}
	for range 2 {
		for name, f := range map[string]shoptest.File{"e.bin": europe, "a.bin": other} {
			found := b.taken(intake.Request{Path: b.download(name, f.Content)})
			taken := b.take(found)
			require.NoError(t, taken.Commit())
			assert.Empty(t, taken.Was, "nothing is replaced")
		}
	}
	inv, err := intake.List(b.Shop.Shop, nil)
	require.NoError(t, err)
	require.NoError(t, intake.Check(context.Background(), inv, nil))
	whole := 0
	for _, c := range inv.Files {
		if c.Version == "1.6" {
			assert.Contains(t, []intake.State{intake.Whole, intake.Unused}, c.State, c.Path)
			assert.Empty(t, c.Found, c.Path)
			whole++
		}
		assert.NotEqual(t, intake.Unknown, c.State, c.Path)
	}
	assert.Equal(t, 2, whole)
	for _, f := range []shoptest.File{europe, other} {
		path, err := media.PackagesOf(b.Shop.Shop).Find(media.Source{Model: plot.ID, Version: "1.6", File: digest.File{Name: "update.bin", Size: 5000, SHA256: digest.Of(f.Content)}})
		require.NoError(t, err)
		stored, err := os.ReadFile(path)
		require.NoError(t, err)
		assert.True(t, bytes.Equal(f.Content, stored))
	}
}

// One that is there, whole, is left; one that rotted is replaced; a file that
// nobody knows is in the way.
func TestTakeWhatIsThere(t *testing.T) {
	b := newBench(t)
	f := b.taken(intake.Request{Path: b.download("p.upd", plot())})
	taken := b.take(f)
	assert.True(t, taken.WasThere())
	require.NoError(t, taken.Commit())
	require.NoError(t, taken.Withdraw(b.Shop.Shop))
	assert.FileExists(t, taken.Path)

	rotten := plot()
	rotten[9] ^= 1
	require.NoError(t, os.WriteFile(taken.Path, rotten, 0o644))
	taken = b.take(f)
	assert.Contains(t, taken.Was, "that differed")
	require.NoError(t, taken.Commit())
	stored, err := os.ReadFile(taken.Path)
	require.NoError(t, err)
	assert.True(t, bytes.Equal(plot(), stored))

	// What is no file is in the way too; another name is no way out for one that
	// the catalogue knows.
	require.NoError(t, os.Remove(taken.Path))
	require.NoError(t, os.Symlink("nowhere", taken.Path))
	_, err = f.Take(context.Background(), b.Shop.Shop, nil)
	var linked *intake.Refused
	require.ErrorAs(t, err, &linked)
	assert.Equal(t, taken.Path+", which isn't a plain file", linked.Found)
	assert.Equal(t, "move it away", linked.Advice)

	require.NoError(t, os.MkdirAll(b.place("fennick-plot-12", "4.1"), 0o755))
	require.NoError(t, os.WriteFile(b.place("fennick-plot-12", "4.1", "new.upd"), []byte("somebody's"), 0o644))
	_, err = b.taken(fresh(b.download("new.upd", []byte("new")))).Take(context.Background(), b.Shop.Shop, nil)
	var refused *intake.Refused
	require.ErrorAs(t, err, &refused)
	assert.Equal(t, "a place that is taken", refused.What)
}

// A download that is exchanged between looking and copying isn't taken.
func TestTakeNoticesChanges(t *testing.T) {
	b := newBench(t)
	path := b.download("new.upd", []byte("new"))
	f := b.taken(fresh(path))
	for _, content := range []string{"nEw", "newer", "n"} {
		b.download("new.upd", []byte(content))
		_, err := f.Take(context.Background(), b.Shop.Shop, nil)
		var refused *intake.Refused
		require.ErrorAs(t, err, &refused)
		assert.Equal(t, []string{"4.0-12"}, names(t, b.place("fennick-plot-12")))
	}
}

func TestTakeStops(t *testing.T) {
	b := newBench(t)
	f := b.taken(fresh(b.download("new.upd", shoptest.Make("new.upd", 8<<20, 1).Content)))
	ctx, stop := context.WithCancel(context.Background())
	_, err := f.Take(ctx, b.Shop.Shop, func(int64) { stop() })
	require.ErrorIs(t, err, context.Canceled)
	assert.Equal(t, []string{"4.0-12"}, names(t, b.place("fennick-plot-12")))
}

func TestTakeMember(t *testing.T) {
	b := newBench(t)
	archive := shoptest.Archive(t, "bundle.zip", shoptest.Make("new.upd", 2_500_000, 9))
	r := fresh(b.download("bundle.zip", archive.Content))
	r.Member = "new.upd"
	taken := b.take(b.taken(r))
	require.NoError(t, taken.Commit())
	stored, err := os.ReadFile(taken.Path)
	require.NoError(t, err)
	assert.True(t, bytes.Equal(archive.Members[0].Content, stored))
}
