package intake_test

import (
	"context"
	"crypto/sha256"
	"errors"
	"io"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"cardwright/manifest"
	"cardwright/manifest/digest"
	"cardwright/media/intake"
	"cardwright/media/mediatest/shoptest"
)

// states are the packages' states by their place.
func (b *bench) states() map[string]intake.State {
	b.t.Helper()
	inv, err := intake.List(b.Shop.Shop, nil)
	require.NoError(b.t, err)
	var read int64
	toRead := inv.Bytes()
	require.NoError(b.t, intake.Check(context.Background(), inv, func(n int64) { read += n }))
	assert.Equal(b.t, toRead, read)
	all := map[string]intake.State{}
	for _, c := range inv.Files {
		all[c.Path] = c.State
		if c.State != intake.Whole && c.State != intake.Unused {
			assert.NotEmpty(b.t, c.Advice, c.Path)
		}
	}
	return all
}

// checkBench is a shop whose vessel still needs everything that is there.
func checkBench(t *testing.T) *bench {
	b := newBench(t)
	for _, d := range b.Vessel.Devices {
		d.Version = "1.0"
	}
	b.Vessels = []*manifest.Vessel{b.Vessel}
	return b
}

const plotPlace, notesPlace = "fennick-plot-12/4.0-12/plot12.upd", "fennick-plot-12/4.0-12/notes.txt"

func TestCheck(t *testing.T) {
	b := checkBench(t)
	for path, s := range b.states() {
		assert.Equal(t, intake.Whole, s, path)
	}

	rotten := plot()
	rotten[len(rotten)-1] ^= 0x10 // one bit
	require.NoError(t, os.WriteFile(b.place(filepath.FromSlash(plotPlace)), rotten, 0o644))
	require.NoError(t, os.Remove(b.place(filepath.FromSlash(notesPlace))))
	require.NoError(t, os.WriteFile(b.place("stranger.bin"), []byte("x"), 0o644))
	require.NoError(t, os.WriteFile(b.place("copy of plot.bin"), plot(), 0o644))
	require.NoError(t, os.WriteFile(b.place("fennick-plot-12", "4.0-12", "SHA256SUMS"), []byte("x"), 0o644))
	require.NoError(t, os.WriteFile(b.place("fennick-plot-12", "4.0-12", "plot12.upd.minisig"), []byte("x"), 0o644))
	require.NoError(t, os.Symlink("nowhere", b.place("link")))
	require.NoError(t, os.WriteFile(b.place("solveld-course-3", "5.2", "course.zip"), []byte("cut"), 0o644))
	states := b.states()
	assert.Equal(t, intake.Differs, states[plotPlace], "bit rot")
	assert.Equal(t, intake.Missing, states[notesPlace])
	assert.Equal(t, intake.Unknown, states["stranger.bin"])
	assert.Equal(t, intake.Unknown, states["copy of plot.bin"])
	assert.Equal(t, intake.Unknown, states["link"])
	assert.Equal(t, intake.Differs, states["solveld-course-3/5.2/course.zip"], "of another size")
	assert.Equal(t, intake.Whole, states["fennick-sweep-2/1.8/sweep/firmware.img"])
	for path := range states {
		assert.False(t, strings.HasSuffix(path, "SUMS") || strings.HasSuffix(path, ".minisig"), "a list beside a package: %s", path)
	}
}

func TestCheckUnused(t *testing.T) {
	b := checkBench(t)
	for _, d := range b.Vessel.Devices {
		d.Version = "9"
	}
	for path, s := range b.states() {
		assert.Equal(t, intake.Unused, s, path)
	}
	b.Vessel.Devices[0].Version = "4.0-12"
	assert.Equal(t, intake.Whole, b.states()[plotPlace], "what a device runs is its way back")
}

func TestListTellsWhoNeeds(t *testing.T) {
	b := checkBench(t)
	inv, err := intake.List(b.Shop.Shop, nil)
	require.NoError(t, err)
	for _, c := range inv.Files {
		assert.Equal(t, []string{"kittiwake"}, c.NeededBy, c.Path)
		assert.Equal(t, intake.Present, c.State)
	}
	inv, err = intake.ListFor(b.Shop.Shop, nil, nil)
	require.NoError(t, err)
	for _, c := range inv.Files {
		assert.Empty(t, c.NeededBy)
	}
	b.Vessel.Devices[0].Version = "unknown"
	inv, err = intake.List(b.Shop.Shop, nil)
	require.NoError(t, err)
	require.Len(t, inv.Unplanned, 1)
	assert.Contains(t, inv.Unplanned[0].Why, "version unknown")
}

func TestCheckStops(t *testing.T) {
	b := checkBench(t)
	inv, err := intake.List(b.Shop.Shop, nil)
	require.NoError(t, err)
	ctx, stop := context.WithCancel(context.Background())
	err = intake.Check(ctx, inv, func(int64) { stop() })
	require.ErrorIs(t, err, context.Canceled)
	assert.Less(t, inv.Counts()[intake.Whole], len(inv.Files))
}

// What can't be read is never whole. The file's rights don't stop root, so a
// folder in its place does.
func TestCheckUnreadable(t *testing.T) {
	b := checkBench(t)
	inv, err := intake.List(b.Shop.Shop, nil)
	require.NoError(t, err)
	path := b.place(filepath.FromSlash(plotPlace))
	require.NoError(t, os.Remove(path))
	require.NoError(t, os.Mkdir(path, 0o755))
	require.NoError(t, intake.Check(context.Background(), inv, nil))
	assert.Equal(t, 1, inv.Counts()[intake.Unreadable])
}

// The memory of Check doesn't grow with the packages: 64 MB is the bound for
// all of cardwright.
func TestCheckMemory(t *testing.T) {
	if testing.Short() {
		t.Skip("reads 400 MB")
	}
	shop := large(t, 4, 100<<20)
	var before, after runtime.MemStats
	runtime.GC()
	runtime.ReadMemStats(&before)
	inv, err := intake.List(shop.Shop, nil)
	require.NoError(t, err)
	require.NoError(t, intake.Check(context.Background(), inv, nil))
	runtime.ReadMemStats(&after)
	assert.Less(t, after.TotalAlloc-before.TotalAlloc, uint64(16<<20), "all that was ever allocated")
	assert.Equal(t, 4, inv.Counts()[intake.Whole])
}

// large is a shop with a few large packages, sparse on disk.
func large(t testing.TB, files int, size int64) *shoptest.Shop {
	b := shoptest.New(t, t.TempDir())
	m := b.Model("fennick-plot-12", shoptest.AnyCard())
	d := b.Device("flybridge", "fennick-plot-12")
	d.Version = "0.9"
	b.Vessels = []*manifest.Vessel{b.Vessel}
	release := &manifest.Release{Version: "4.0"}
	m.Releases = append(m.Releases, release)
	sum := sha256.New()
	_, err := io.CopyN(sum, zeros{}, size)
	require.NoError(t, err)
	dir := filepath.Join(b.Dir, "packages", "fennick-plot-12", "4.0")
	require.NoError(t, os.MkdirAll(dir, 0o755))
	for i := range files {
		name := "part" + string(rune('a'+i))
		f, err := os.Create(filepath.Join(dir, name))
		require.NoError(t, err)
		require.NoError(t, errors.Join(f.Truncate(size), f.Close()))
		release.Files = append(release.Files, &manifest.File{Name: name, Size: manifest.Size(size), SHA256: digest.Sum(sum)})
	}
	return b
}

type zeros struct{}

func (zeros) Read(p []byte) (int, error) {
	clear(p)
	return len(p), nil
}

// BenchmarkCheck is package check; BenchmarkPlainLoop hashes the same files as
// a plain loop does.
func BenchmarkCheck(b *testing.B) {
	shop := large(b, 4, 128<<20)
	b.SetBytes(4 * 128 << 20)
	b.ResetTimer()
	for range b.N {
		inv, err := intake.List(shop.Shop, nil)
		require.NoError(b, err)
		require.NoError(b, intake.Check(context.Background(), inv, nil))
		require.Equal(b, 4, inv.Counts()[intake.Whole])
	}
}

func BenchmarkPlainLoop(b *testing.B) {
	shop := large(b, 4, 128<<20)
	files, err := filepath.Glob(filepath.Join(shop.Dir, "packages", "*", "*", "*"))
	require.NoError(b, err)
	require.Len(b, files, 4)
	b.SetBytes(4 * 128 << 20)
	b.ResetTimer()
	for range b.N {
		for _, path := range files {
			f, err := os.Open(path)
			require.NoError(b, err)
			sum := sha256.New()
			_, err = io.CopyBuffer(sum, f, make([]byte, 1<<20))
			require.NoError(b, err)
			require.NoError(b, f.Close())
			require.NotEmpty(b, sum.Sum(nil))
		}
	}
}

// The package folder, or one in it, may be a link to another disk; a link that
// leads nowhere known is reported, and not followed.
func TestLinkedFolders(t *testing.T) {
	b := newBench(t)
	other := t.TempDir()
	require.NoError(t, os.Rename(b.place(), filepath.Join(other, "p")))
	require.NoError(t, os.Symlink(filepath.Join(other, "p"), b.place()))
	model := b.place("fennick-plot-12")
	require.NoError(t, os.Rename(model, filepath.Join(other, "m")))
	require.NoError(t, os.Symlink(filepath.Join(other, "m"), model))
	require.NoError(t, os.WriteFile(filepath.Join(other, "m", "stranger.bin"), []byte("x"), 0o644))
	require.NoError(t, os.Symlink("/", b.place("all")))
	require.NoError(t, os.Symlink("nowhere", b.place("dangling")))
	inv, err := intake.List(b.Shop.Shop, nil)
	require.NoError(t, err)
	found := map[string]string{}
	for _, c := range inv.Files {
		if c.State == intake.Unknown {
			found[c.Path] = c.Found
		} else {
			assert.Contains(t, []intake.State{intake.Present, intake.Unused}, c.State, c.Path)
		}
	}
	assert.Equal(t, map[string]string{"fennick-plot-12/stranger.bin": "", "all": "a link to a folder", "dangling": "not a plain file"}, found)
}
