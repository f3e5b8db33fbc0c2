package shopsync_test

import (
	"context"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"cardwright/manifest"
	"cardwright/media/shopsync"
)

// TestMain is also the program that is killed: one sync, over and over.
func TestMain(m *testing.M) {
	if here := os.Getenv("SHOPSYNC_HERE"); here != "" {
		for {
			if _, err := shopsync.Run(context.Background(), shopIn(here), os.Getenv("SHOPSYNC_THERE"), shopsync.Options{New: true}); err != nil {
				fmt.Fprintln(os.Stderr, err)
				os.Exit(1)
			}
		}
	}
	os.Exit(m.Run())
}

func shopIn(dir string) *manifest.Shop {
	shop, err := manifest.Load(dir)
	if err != nil {
		panic(err)
	}
	return shop
}

// shopFolder makes a shop with vessels and packages.
func shopFolder(t *testing.T, vessels int) string {
	dir := t.TempDir()
	write(t, dir, "shop.yaml", "shop: Hollin Quay Marine Electrics\n")
	write(t, dir, "catalogue/fennick-sweep-2.yaml", "model: fennick-sweep-2\nmaker: Fennick\nname: Sweep 2\nkind: radar\n")
	for n := range vessels {
		write(t, dir, fmt.Sprintf("vessels/boat-%d.yaml", n), vessel(n, "A"))
		write(t, dir, fmt.Sprintf("packages/fennick-sweep-2/1.%d/sweep.img", n), strings.Repeat(fmt.Sprint(n), 300_000))
	}
	return dir
}

func vessel(n int, berth string) string {
	return fmt.Sprintf("vessel: boat-%d\nname: Boat %d\nberth: %s\ndevices:\n  - {id: radar, model: fennick-sweep-2, version: unknown}\n", n, n, berth)
}

func write(t require.TestingT, dir, name, text string) {
	path := filepath.Join(dir, filepath.FromSlash(name))
	require.NoError(t, os.MkdirAll(filepath.Dir(path), 0o755))
	require.NoError(t, os.WriteFile(path, []byte(text), 0o644))
}

// tree is all that is synced in a folder.
func tree(t require.TestingT, dir string) map[string]string {
	all := map[string]string{}
	for _, top := range []string{"catalogue", "vessels", "packages"} {
		err := filepath.WalkDir(filepath.Join(dir, top), func(path string, e os.DirEntry, err error) error {
			if os.IsNotExist(err) || err == nil && e.IsDir() {
				return nil
			}
			if err != nil {
				return err
			}
			text, err := os.ReadFile(path)
			name, _ := filepath.Rel(dir, path)
			all[filepath.ToSlash(name)] = string(text)
			return err
		})
		require.NoError(t, err)
	}
	return all
}

func run(t require.TestingT, here, there string, o shopsync.Options) shopsync.Report {
	r, err := shopsync.Run(context.Background(), shopIn(here), there, o)
	require.NoError(t, err)
	return r
}

// Three laptops and a stick, edited and synced by chance in any order, conflicts
// settled by chance: in the end all have the same, and no text that somebody wrote
// last is gone without a conflict or a removal.
func TestThreeLaptopsAgree(t *testing.T) {
	for seed := range uint64(6) {
		r := rand.New(rand.NewPCG(seed, 16))
		stick := t.TempDir()
		shops := []string{shopFolder(t, 4), t.TempDir(), t.TempDir()}
		for _, other := range shops[1:] {
			require.NoError(t, os.CopyFS(other, os.DirFS(shops[0])))
		}
		syncAt := func(n int) {
			report := run(t, shops[n], stick, shopsync.Options{New: true, Emptied: true})
			require.Empty(t, report.Refused)
			for _, c := range report.Conflicts {
				require.NoError(t, shopsync.Settle(context.Background(), shopIn(shops[n]), c.File, r.IntN(2) == 0), "seed %d: %v", seed, c)
			}
			left, err := shopsync.Conflicts(shops[n])
			require.NoError(t, err)
			require.Empty(t, left)
		}
		for range 60 {
			n := r.IntN(len(shops))
			name := fmt.Sprintf("vessels/boat-%d.yaml", r.IntN(6))
			switch r.IntN(6) {
			case 0:
				_ = os.Remove(filepath.Join(shops[n], name))
			case 1, 2:
				var boat int
				_, err := fmt.Sscanf(name, "vessels/boat-%d.yaml", &boat)
				require.NoError(t, err)
				write(t, shops[n], name, vessel(boat, fmt.Sprint("B ", r.IntN(1000))))
			case 3:
				write(t, shops[n], fmt.Sprintf("packages/fennick-sweep-2/1.%d/sweep.img", r.IntN(5)), fmt.Sprint(r.IntN(1000), strings.Repeat("x", r.IntN(9))))
			default:
				syncAt(n)
			}
		}
		for range 4 {
			for n := range shops {
				syncAt(n)
			}
		}
		want := tree(t, shops[0])
		for _, dir := range append(shops[1:], stick) {
			assert.Equal(t, want, tree(t, dir), "seed %d", seed)
		}
	}
}

// A sync that is killed at any moment leaves no file half there on either side, and
// the next one goes on.
func TestKilledInTheMiddleNothingIsHalf(t *testing.T) {
	program, err := os.Executable()
	require.NoError(t, err)
	here := shopFolder(t, 12)
	whole := tree(t, here)
	r := rand.New(rand.NewPCG(1, 2))
	for range 15 {
		there := t.TempDir()
		cmd := exec.Command(program)
		cmd.Env = append(os.Environ(), "SHOPSYNC_HERE="+here, "SHOPSYNC_THERE="+there)
		require.NoError(t, cmd.Start())
		time.Sleep(time.Duration(r.IntN(120)) * time.Millisecond)
		require.NoError(t, cmd.Process.Kill())
		_ = cmd.Wait()
		for name, text := range tree(t, there) {
			if !strings.Contains(filepath.Base(name), ".unfinished-") {
				require.Equal(t, whole[name], text, name)
			}
		}
		require.Equal(t, whole, tree(t, here))
		report := run(t, here, there, shopsync.Options{New: true})
		require.Empty(t, report.Conflicts)
		require.Equal(t, whole, tree(t, there), "gone on, and nothing unfinished is left")
	}
}

func TestInterruptedNothingIsHalf(t *testing.T) {
	here, there := shopFolder(t, 12), t.TempDir()
	whole := tree(t, here)
	for n := 1; ; n++ {
		ctx, cancel := context.WithTimeout(context.Background(), time.Duration(n)*3*time.Millisecond)
		_, err := shopsync.Run(ctx, shopIn(here), there, shopsync.Options{New: true})
		cancel()
		for name, text := range tree(t, there) {
			require.Equal(t, whole[name], text, name)
		}
		if err == nil {
			break
		}
		require.ErrorIs(t, err, context.DeadlineExceeded)
	}
	require.Equal(t, whole, tree(t, there))
}

// What is remembered of a folder is ours alone: the other folder's word counts for
// nothing, whatever it holds.
func TestTheOtherFoldersStateIsNotBelieved(t *testing.T) {
	here, there := shopFolder(t, 3), t.TempDir()
	run(t, here, there, shopsync.Options{New: true})
	require.NoError(t, os.CopyFS(filepath.Join(there, "more"), os.DirFS(filepath.Join(here, ".sync"))))
	write(t, here, "vessels/boat-1.yaml", vessel(1, "ours"))
	write(t, there, "vessels/boat-1.yaml", vessel(1, "theirs"))
	states, err := filepath.Glob(filepath.Join(here, ".sync", "*.json"))
	require.NoError(t, err)
	require.Len(t, states, 1)
	for _, text := range []string{"", "{", `{"format":2}`, strings.Repeat("[", 1<<20)} {
		write(t, there, ".sync/"+filepath.Base(states[0]), text)
		report := run(t, here, there, shopsync.Options{})
		require.Len(t, report.Conflicts, 1)
	}
	ours, theirs, err := shopsync.Texts(here, run(t, here, there, shopsync.Options{}).Conflicts[0])
	require.NoError(t, err)
	assert.Contains(t, string(ours), "ours")
	assert.Contains(t, string(theirs), "theirs")
	for _, id := range []string{"", "../../x", strings.Repeat("a", 1<<20)} {
		write(t, there, ".sync/id", id)
		_, err := shopsync.Run(context.Background(), shopIn(here), there, shopsync.Options{})
		require.ErrorContains(t, err, "isn't what cardwright wrote there")
	}
}

// Places that another folder's shop.yaml names lead nowhere else.
func TestPlacesOutsideAreRefused(t *testing.T) {
	here := shopFolder(t, 1)
	for _, place := range []string{"../elsewhere", "/etc", "a/../../b"} {
		there := t.TempDir()
		write(t, there, "shop.yaml", "shop: Elsewhere\npackages: "+place+"\n")
		_, err := shopsync.Run(context.Background(), shopIn(here), there, shopsync.Options{New: true})
		require.ErrorContains(t, err, "outside the shop folder")
	}
	there := t.TempDir()
	write(t, there, "shop.yaml", "shop: Elsewhere\npackages: \"files\" # here\n")
	run(t, here, there, shopsync.Options{})
	assert.FileExists(t, filepath.Join(there, "files", "fennick-sweep-2", "1.0", "sweep.img"))
	text, err := os.ReadFile(filepath.Join(there, "shop.yaml"))
	require.NoError(t, err)
	assert.Contains(t, string(text), "Elsewhere", "never touched")
}

// A conflict stops the boats that it is about: by their own file, their models', or a
// package of those; no other.
func TestUnsettledStopsTheBoatsThatItIsAbout(t *testing.T) {
	for name, stopped := range map[string][]string{
		"vessels/boat-0.yaml":                    {"boat-0"},
		"catalogue/fennick-sweep-2.yaml":         {"boat-0", "boat-1"},
		"packages/fennick-sweep-2/1.0/sweep.img": {"boat-0", "boat-1"},
		"vessels/boat-9.yaml":                    nil,
	} {
		stick, a := t.TempDir(), shopFolder(t, 2)
		b := t.TempDir()
		require.NoError(t, os.CopyFS(b, os.DirFS(a)))
		run(t, a, stick, shopsync.Options{New: true})
		run(t, b, stick, shopsync.Options{})
		changed := func(dir, by string) {
			text, err := os.ReadFile(filepath.Join(dir, filepath.FromSlash(name)))
			if err != nil {
				text = []byte(vessel(9, "A"))
			}
			write(t, dir, name, string(text)+"# "+by+"\n")
		}
		changed(a, "a")
		changed(b, "b")
		run(t, a, stick, shopsync.Options{})
		require.Len(t, run(t, b, stick, shopsync.Options{}).Conflicts, 1, name)
		shop := shopIn(b)
		for _, v := range shop.Vessels[:2] {
			files, err := shopsync.Unsettled(shop, v)
			require.NoError(t, err)
			if slices.Contains(stopped, v.ID) {
				assert.Equal(t, []string{name}, files, v.ID)
			} else {
				assert.Empty(t, files, "%s: %s", name, v.ID)
			}
		}
	}
}
