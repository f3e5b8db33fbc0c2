package edit_test

import (
	"os"
	"path/filepath"
	"sync"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"cardwright/manifest"
	"cardwright/manifest/edit"
)

const vesselFile = "vessels/kittiwake.yaml"

// demo copies the demo shop's own files.
func demo(t *testing.T) string {
	t.Helper()
	dir := t.TempDir()
	require.NoError(t, os.CopyFS(dir, os.DirFS(filepath.Join("..", "..", "testdata", "shop"))))
	return dir
}

func open(t *testing.T, dir, name string) *edit.File {
	t.Helper()
	f, err := edit.Open(dir, name)
	require.NoError(t, err)
	return f
}

func stored(t *testing.T, dir, name string) string {
	t.Helper()
	text, err := os.ReadFile(filepath.Join(dir, name))
	require.NoError(t, err)
	return string(text)
}

func TestSave(t *testing.T) {
	dir := demo(t)
	require.NoError(t, os.Chmod(filepath.Join(dir, vesselFile), 0o640))
	f := open(t, dir, vesselFile)
	require.NoError(t, f.Set(edit.Way{"devices", 0, "version"}, "4.0-12", nil))
	require.NoError(t, edit.Save(dir, f))

	shop, err := manifest.Load(dir)
	require.NoError(t, err)
	assert.EqualValues(t, "4.0-12", shop.Vessel("kittiwake").Device("flybridge").Version)
	info, err := os.Stat(filepath.Join(dir, vesselFile))
	require.NoError(t, err)
	assert.EqualValues(t, 0o640, info.Mode().Perm(), "rights stay")
	onlyYAML(t, filepath.Join(dir, "vessels"))

	require.NoError(t, f.Set(edit.Way{"devices", 0, "version"}, "3.1-40", nil), "the file can be changed again")
	require.NoError(t, edit.Save(dir, f))
}

func onlyYAML(t *testing.T, dir string) {
	t.Helper()
	entries, err := os.ReadDir(dir)
	require.NoError(t, err)
	for _, e := range entries {
		assert.Equal(t, ".yaml", filepath.Ext(e.Name()), "left behind")
		assert.NotEqual(t, '.', rune(e.Name()[0]), "left behind")
	}
}

// A change after which the shop would not load is not made.
func TestSaveIsStrict(t *testing.T) {
	dir := demo(t)
	before := stored(t, dir, vesselFile)
	f := open(t, dir, vesselFile)
	require.NoError(t, f.Set(edit.Way{"devices", 0, "model"}, "fennick-plot-13", nil))
	err := edit.Save(dir, f)
	var ms manifest.Mistakes
	require.ErrorAs(t, err, &ms)
	assert.Equal(t, "no such model", ms[0].What)
	assert.Equal(t, before, stored(t, dir, vesselFile))
}

// A version that an editor saved between reading and writing is kept, whether it wrote
// into the file or renamed another over it, or took it away.
func TestSaveSeesEditors(t *testing.T) {
	for name, edits := range map[string]func(path string) error{
		"written": func(p string) error { return os.WriteFile(p, []byte("vessel: other\n"), 0o644) },
		"renamed": func(p string) error {
			if err := os.WriteFile(p+"~", []byte("vessel: other\n"), 0o644); err != nil {
				return err
			}
			return os.Rename(p+"~", p)
		},
		"removed": os.Remove,
	} {
		t.Run(name, func(t *testing.T) {
			dir := demo(t)
			f := open(t, dir, vesselFile)
			require.NoError(t, f.Set(edit.Way{"supply"}, "24V", nil))
			require.NoError(t, edits(filepath.Join(dir, vesselFile)))
			var changed *edit.Changed
			require.ErrorAs(t, edit.Save(dir, f), &changed)
			if name != "removed" {
				assert.Equal(t, "vessel: other\n", stored(t, dir, vesselFile))
			}
			onlyYAML(t, filepath.Join(dir, "vessels"))
		})
	}
}

// Many writers at once: each change is made whole or refused whole; none is
// lost that was reported as made.
func TestWritersAtOnce(t *testing.T) {
	dir := demo(t)
	const writers = 8
	var made sync.Map
	var wait sync.WaitGroup
	for i := range writers {
		wait.Go(func() {
			for range 40 {
				f, err := edit.Open(dir, vesselFile)
				if !assert.NoError(t, err) {
					return
				}
				id := "radio-" + string(rune('a'+i))
				if !assert.NoError(t, f.Insert(edit.Way{"devices"}, f.Len("devices"), edit.Map{{"id", id}, {"model", "fennick-plot-12"}, {"version", "unknown"}}, nil)) {
					return
				}
				if edit.Save(dir, f) == nil {
					made.Store(id, true)
					return
				}
			}
		})
	}
	wait.Wait()
	shop, err := manifest.Load(dir)
	require.NoError(t, err)
	some := false
	made.Range(func(id, _ any) bool {
		some = true
		return assert.NotNil(t, shop.Vessel("kittiwake").Device(id.(string)), id)
	})
	assert.True(t, some)
	onlyYAML(t, filepath.Join(dir, "vessels"))
}

func TestNew(t *testing.T) {
	dir := demo(t)
	m := edit.Map{
		{"vessel", "curlew"},
		{"name", "Curlew: the second"},
		{"identity", edit.Inline{{"hull", "12"}}},
		{"devices", edit.List{edit.Map{{"id", "helm"}, {"model", "fennick-plot-9"}, {"version", "1.10"}}}},
	}
	f, err := edit.New(dir, "vessels/curlew.yaml", []string{"yaml-language-server: $schema=../schema/vessel.schema.json"}, m)
	require.NoError(t, err)
	require.NoError(t, edit.Save(dir, f))
	assert.Equal(t, `# yaml-language-server: $schema=../schema/vessel.schema.json
vessel: curlew
name: "Curlew: the second"
identity: {hull: "12"}
devices:
  - id: helm
    model: fennick-plot-9
    version: "1.10"
`, stored(t, dir, "vessels/curlew.yaml"))

	again, err := edit.New(dir, "vessels/curlew.yaml", nil, m)
	require.NoError(t, err)
	require.ErrorContains(t, edit.Save(dir, again), "it is there already, and was left as it is")
	onlyYAML(t, filepath.Join(dir, "vessels"))
}

// A link within the shop folder stays a link; what it leads to is changed.
func TestLink(t *testing.T) {
	dir := demo(t)
	path := filepath.Join(dir, vesselFile)
	require.NoError(t, os.Mkdir(filepath.Join(dir, "boats"), 0o755))
	require.NoError(t, os.Rename(path, filepath.Join(dir, "boats", "k.yaml")))
	require.NoError(t, os.Symlink(filepath.Join("..", "boats", "k.yaml"), path))
	f := open(t, dir, vesselFile)
	require.NoError(t, f.Set(edit.Way{"supply"}, "24V", nil))
	require.NoError(t, edit.Save(dir, f))
	to, err := os.Readlink(path)
	require.NoError(t, err)
	assert.Equal(t, filepath.Join("..", "boats", "k.yaml"), to)
	assert.Contains(t, stored(t, dir, "boats/k.yaml"), "supply: 24V")
}

func TestRewriteKeepsWhatOthersWroteMeanwhile(t *testing.T) {
	dir := demo(t)
	elsewhere := filepath.Join(t.TempDir(), "kept.yaml")
	path := filepath.Join(dir, vesselFile)
	require.NoError(t, os.Rename(path, elsewhere))
	require.NoError(t, os.Symlink(elsewhere, path))
	times := 0
	differs, err := edit.Rewrite(dir, vesselFile, func(text []byte) ([]byte, error) {
		if times++; times == 1 {
			require.NoError(t, os.WriteFile(elsewhere, append(text, "# saved meanwhile\n"...), 0o600))
		}
		return append(text[:len(text):len(text)], "# rewritten\n"...), nil
	})
	require.NoError(t, err)
	assert.True(t, differs)
	assert.Regexp(t, "# saved meanwhile\n# rewritten\n$", stored(t, dir, vesselFile))
	info, err := os.Lstat(path)
	require.NoError(t, err)
	assert.NotZero(t, info.Mode()&os.ModeSymlink, "a link stays one")

	differs, err = edit.Rewrite(dir, vesselFile, func(text []byte) ([]byte, error) { return text, nil })
	require.NoError(t, err)
	assert.False(t, differs)

	_, err = edit.Rewrite(dir, vesselFile, func(text []byte) ([]byte, error) {
		require.NoError(t, os.WriteFile(elsewhere, append(text, "# again\n"...), 0o600))
		return append(text[:len(text):len(text)], "# mine\n"...), nil
	})
	var changed *edit.Changed
	require.ErrorAs(t, err, &changed, "it doesn't go on forever")
	assert.NotContains(t, stored(t, dir, vesselFile), "# mine")
	onlyYAML(t, filepath.Dir(elsewhere))
}
