package manifest

import (
	"encoding/json"
	"fmt"
	"maps"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gotest.tools/v3/golden"

	"cardwright/manifest/version"
)

func TestLoad(t *testing.T) {
	dir := write(t, smallShop)
	shop, err := Load(dir)
	require.NoError(t, err)

	assert.Equal(t, "Hollin Quay Marine Electrics", shop.Name)
	assert.Equal(t, "packages", shop.Packages, "usual value")
	assert.Equal(t, "ledger.db", shop.Ledger, "usual value")
	assert.Equal(t, dir, shop.Dir)

	m := shop.Model("fennick-plot-12")
	require.NotNil(t, m)
	assert.Equal(t, Size(4_000_000_000), m.Card.Least)
	assert.Equal(t, []string{"fennick-sweep-2"}, m.PassesOn)
	r := m.Releases[0]
	assert.Equal(t, version.V("1.10"), r.Version, "a version without quotes stays as written")
	assert.Equal(t, time.Date(2026, 3, 2, 0, 0, 0, 0, time.UTC), r.Released.Time)
	assert.Equal(t, Size(400), r.Files[1].Members[0].Size)
	assert.Equal(t, ">= 3.0", r.Over.String())
	assert.Equal(t, ByEnd, r.Needs[0].By)
	require.NotNil(t, r.WayBack)
	assert.False(t, *r.WayBack)
	assert.Nil(t, m.Releases[1].WayBack, "not said")
	assert.Nil(t, shop.Model("fennick-sweep-2").Card)

	v := shop.Vessel("kittiwake")
	require.NotNil(t, v)
	assert.Equal(t, FoldersByDevice, v.Folders, "usual value")
	assert.Equal(t, "00231", v.Device("flybridge").Serial, "digits stay text")
	assert.Equal(t, version.Unknown, v.Device("helm").Version)
	assert.Equal(t, []string{"flybridge", "helm"}, v.Device("radar").Through)
}

// Places are counted by hand in smallShop: lines and columns from 1.
func TestLoadRemembersPlaces(t *testing.T) {
	shop, err := Load(write(t, smallShop))
	require.NoError(t, err)
	m, v := shop.Model("fennick-plot-12"), shop.Vessel("kittiwake")
	r := m.Releases[0]
	for what, c := range map[string]struct {
		at   Pos
		want string
	}{
		"whole file":         {m.At(""), "catalogue/plot.yaml:1:1"},
		"value":              {m.At("maker"), "catalogue/plot.yaml:2:8"},
		"key left out":       {m.At("alike"), "catalogue/plot.yaml:1:1"},
		"list":               {m.At("passes_on"), "catalogue/plot.yaml:11:12"},
		"entry of a list":    {m.At("passes_on[0]"), "catalogue/plot.yaml:11:13"},
		"mapping":            {r.At(""), "catalogue/plot.yaml:13:5"},
		"quoted":             {r.At("over"), "catalogue/plot.yaml:23:11"},
		"flow mapping":       {r.Needs[0].At(""), "catalogue/plot.yaml:25:9"},
		"in a flow mapping":  {r.Needs[0].At("version"), "catalogue/plot.yaml:25:43"},
		"size of a member":   {r.Files[1].Members[0].At("size"), "catalogue/plot.yaml:22:38"},
		"second of through":  {v.Device("radar").At("through[1]"), "vessels/kittiwake.yaml:17:26"},
		"identity":           {v.Identity.At("imo"), "vessels/kittiwake.yaml:3:17"},
		"identity, left out": {v.Identity.At("hull"), "vessels/kittiwake.yaml:3:11"},
	} {
		assert.Equal(t, c.want, c.at.String(), what)
	}
}

func TestLoadOneIDWithoutBrackets(t *testing.T) {
	shop, err := Load(write(t, changed(t, "vessels/kittiwake.yaml", "[flybridge, helm]", "flybridge")))
	require.NoError(t, err)
	d := shop.Vessel("kittiwake").Device("radar")
	assert.Equal(t, []string{"flybridge"}, d.Through)
	assert.Equal(t, 17, d.At("through[0]").Line)
}

func TestLoadTakesWindowsText(t *testing.T) {
	files := map[string]string{}
	for name, text := range smallShop {
		files[name] = "\uFEFF" + strings.ReplaceAll(text, "\n", "\r\n")
	}
	_, err := Load(write(t, files))
	assert.NoError(t, err)
}

func TestLoadFoldsText(t *testing.T) {
	shop, err := Load(write(t, changed(t, "catalogue/plot.yaml", "    minutes: 20\n", "    minutes: 20\n    notes: >\n      Take 3.0\n      first.\n")))
	require.NoError(t, err)
	assert.Equal(t, "Take 3.0 first.", shop.Model("fennick-plot-12").Releases[0].Notes)
}

func TestLoadEmptyFolders(t *testing.T) {
	shop, err := Load(write(t, map[string]string{"shop.yaml": "shop: Hollin Quay Marine Electrics\n"}))
	require.NoError(t, err)
	assert.Empty(t, shop.Models)
	assert.Empty(t, shop.Vessels)
}

func TestLoadIgnoresOtherFiles(t *testing.T) {
	dir := write(t, smallShop)
	for _, name := range []string{"notes.txt", ".plot.yaml.swp", "._plot.yaml", "plot.yaml~", ".old/plot.yaml"} {
		to := filepath.Join(dir, "catalogue", name)
		require.NoError(t, os.MkdirAll(filepath.Dir(to), 0o755))
		require.NoError(t, os.WriteFile(to, []byte("\x00"), 0o644))
	}
	_, err := Load(dir)
	assert.NoError(t, err)
}

func TestLoadNoShop(t *testing.T) {
	_, err := Load(t.TempDir())
	assert.ErrorIs(t, err, errNoShop)
	_, err = Load(filepath.Join(t.TempDir(), "nowhere"))
	assert.ErrorIs(t, err, os.ErrNotExist)
}

func TestFindShop(t *testing.T) {
	dir := write(t, smallShop)
	deep := filepath.Join(dir, "packages", "a", "b")
	require.NoError(t, os.MkdirAll(deep, 0o755))
	for _, start := range []string{dir, filepath.Join(dir, "vessels"), deep} {
		found, err := FindShop(start)
		require.NoError(t, err)
		assert.Equal(t, dir, found)
	}
	t.Chdir(deep)
	found, err := FindShop(".")
	require.NoError(t, err)
	assert.True(t, sameFolder(t, dir, found))

	_, err = FindShop(t.TempDir())
	assert.ErrorIs(t, err, errNoShop)
}

func TestFindShopPassesByAFolderOfThatName(t *testing.T) {
	dir := write(t, smallShop)
	require.NoError(t, os.MkdirAll(filepath.Join(dir, "a", "shop.yaml"), 0o755))
	found, err := FindShop(filepath.Join(dir, "a"))
	require.NoError(t, err)
	assert.Equal(t, dir, found)
}

func sameFolder(t *testing.T, a, b string) bool {
	t.Helper()
	ia, err := os.Stat(a)
	require.NoError(t, err)
	ib, err := os.Stat(b)
	require.NoError(t, err)
	return os.SameFile(ia, ib)
}

func TestLoadRefusesLinksOutOfTheShop(t *testing.T) {
	if runtime.GOOS == "windows" {
		t.Skip("making links needs a right of its own on Windows")
	}
	outside := write(t, map[string]string{"evil.yaml": smallShop["catalogue/sweep.yaml"]})
	dir := write(t, smallShop)
	link := filepath.Join(dir, "catalogue", "sweep.yaml")
	require.NoError(t, os.Remove(link))

	require.NoError(t, os.Symlink(filepath.Join(outside, "evil.yaml"), link))
	ms := mistakes(t, dir)
	require.Len(t, ms, 1)
	assert.Equal(t, "link refused", ms[0].What)
	assert.Equal(t, "catalogue/sweep.yaml", ms[0].At.String())

	require.NoError(t, os.Remove(link))
	require.NoError(t, os.Symlink("../shop.yaml.not", link))
	assert.Equal(t, "link refused", mistakes(t, dir)[0].What, "a link to nowhere")

	require.NoError(t, os.Remove(link))
	require.NoError(t, os.WriteFile(filepath.Join(dir, "radar.txt"), []byte(smallShop["catalogue/sweep.yaml"]), 0o644))
	require.NoError(t, os.Symlink("../radar.txt", link))
	_, err := Load(dir)
	assert.NoError(t, err, "a link within the shop folder")
}

// Who keeps boats by year and harbour finds them read; what can't be read there
// is reported, and nothing is passed over.
func TestLoadReadsFoldersBelow(t *testing.T) {
	files := maps.Clone(smallShop)
	boatFile := strings.Replace(smallShop["vessels/kittiwake.yaml"], "vessel: kittiwake", "vessel: heron", 1)
	files["vessels/2026/north/heron.yaml"] = boatFile
	files["catalogue/fennick/sweep.yaml"] = files["catalogue/sweep.yaml"]
	delete(files, "catalogue/sweep.yaml")
	files["vessels/.git/kept.yaml"] = "not ours"
	dir := write(t, files)
	shop, err := Load(dir)
	require.NoError(t, err)
	require.NotNil(t, shop.Vessel("heron"))
	assert.Equal(t, "vessels/2026/north/heron.yaml:1:1", shop.Vessel("heron").At("").String())
	assert.NotNil(t, shop.Model("fennick-sweep-2"))

	shop, err = LoadWith(dir, map[string][]byte{"vessels/2026/south/egret.yaml": []byte(strings.Replace(boatFile, "heron", "egret", 1))})
	require.NoError(t, err)
	assert.NotNil(t, shop.Vessel("egret"))

	for name, want := range map[string]string{
		"vessels/2026/heron.yml":  "file would be ignored",
		"vessels/2025/heron.yaml": "vessel given twice",
		"vessels/" + strings.Repeat("a/", maxFolders+1) + "heron-2.yaml": "folder would be ignored",
	} {
		with := maps.Clone(files)
		with[name] = boatFile
		assert.Equal(t, want, mistakes(t, write(t, with))[0].What, name)
	}
	if runtime.GOOS == "windows" {
		return // making links needs a right of its own there
	}
	require.NoError(t, os.Symlink("2026", filepath.Join(dir, "vessels", "this-year")))
	ms := mistakes(t, dir)
	require.Len(t, ms, 1)
	assert.Equal(t, "a link to a folder", ms[0].Found)
}

func TestLoadRefusesALinkedFolderOutside(t *testing.T) {
	if runtime.GOOS == "windows" {
		t.Skip("making links needs a right of its own on Windows")
	}
	dir := write(t, map[string]string{"shop.yaml": smallShop["shop.yaml"]})
	require.NoError(t, os.Symlink(write(t, smallShop), filepath.Join(dir, "catalogue")))
	_, err := Load(dir)
	assert.ErrorContains(t, err, "catalogue")
}

func TestLoadBoundsFiles(t *testing.T) {
	t.Run("size", func(t *testing.T) {
		files := changed(t, "shop.yaml", "shop:", "#"+strings.Repeat("x", MaxFileBytes)+"\nshop:")
		ms := mistakes(t, write(t, files))
		require.Len(t, ms, 1)
		assert.Equal(t, "file too large", ms[0].What)
	})
	t.Run("count", func(t *testing.T) {
		dir := write(t, smallShop)
		for i := range maxFiles {
			require.NoError(t, os.WriteFile(filepath.Join(dir, "vessels", fmt.Sprint(i)), nil, 0o644))
		}
		ms := mistakes(t, dir)
		assert.Equal(t, "too many files", ms[0].What)
	})
	t.Run("sum", func(t *testing.T) {
		dir := write(t, smallShop)
		filler := []byte("#" + strings.Repeat("x", MaxFileBytes-2))
		for i := range maxShopBytes/MaxFileBytes + 1 {
			require.NoError(t, os.WriteFile(filepath.Join(dir, "vessels", fmt.Sprintf("%d.yaml", i)), filler, 0o644))
		}
		_, err := Load(dir)
		assert.ErrorContains(t, err, "more than 16777216 bytes")
	})
}

func TestLoadNamesFilesSafely(t *testing.T) {
	if runtime.GOOS == "windows" {
		t.Skip("such names can't be on Windows")
	}
	dir := write(t, smallShop)
	require.NoError(t, os.WriteFile(filepath.Join(dir, "vessels", "\x1b[31m.yaml"), []byte("x"), 0o644))
	ms := mistakes(t, dir)
	assert.NotContains(t, ms.Error(), "\x1b")
	assert.Contains(t, ms.Error(), `\x1b[31m`)
}

// TestManyMistakes keeps the whole text of a folder with mistakes of every
// kind, and the JSON form beside it.
func TestManyMistakes(t *testing.T) {
	ms := mistakes(t, filepath.Join("..", "testdata", "bad", "many"))
	golden.Assert(t, ms.Error()+"\n", goldenFile(t, "many.txt"))
	form, err := json.MarshalIndent(ms[:2], "", "  ")
	require.NoError(t, err)
	golden.Assert(t, string(form)+"\n", goldenFile(t, "many.json"))
}

// goldenFile is where a golden of this package is, seen from the folder
// where the library looks.
func goldenFile(t *testing.T, name string) string {
	t.Helper()
	abs, err := filepath.Abs(filepath.Join("..", "testdata", "bad", name))
	require.NoError(t, err)
	return abs
}

func TestMistakesAreSortedAndBounded(t *testing.T) {
	files := map[string]string{"shop.yaml": smallShop["shop.yaml"]}
	for i := range 3 {
		files[fmt.Sprintf("vessels/%d.yaml", i)] = strings.Repeat("x: 1\n", 500)
	}
	ms := mistakes(t, write(t, files))
	assert.Len(t, ms, MaxMistakes)
	for i := 1; i < len(ms); i++ {
		a, b := ms[i-1].At, ms[i].At
		assert.True(t, a.File < b.File || a.File == b.File && a.Line <= b.Line, "%s before %s", a, b)
	}
	text := ms.Error()
	assert.Contains(t, text, "at least 1000 mistakes in 2 files")
	assert.True(t, strings.HasSuffix(text, "\n\nand 960 more"))
	assert.Equal(t, ShownMistakes, strings.Count(text, "  found:"))
}

// LoadWith judges a folder as it would be, and leaves it as it is.
func TestLoadWith(t *testing.T) {
	dir := write(t, smallShop)
	vessel := []byte("vessel: skerry-light\nname: Skerry Light\ndevices:\n  - {id: helm, model: fennick-plot-12, version: 1.10}\n")
	shop, err := LoadWith(dir, map[string][]byte{"vessels/skerry-light.yaml": vessel})
	require.NoError(t, err)
	require.Len(t, shop.Vessels, 2)
	assert.Equal(t, "Skerry Light", shop.Vessel("skerry-light").Name)

	_, err = LoadWith(dir, map[string][]byte{boat: []byte(strings.Replace(smallShop[boat], "model: fennick-sweep-2", "model: fennick-sweep-5", 1))})
	var ms Mistakes
	require.ErrorAs(t, err, &ms)
	assert.Equal(t, "no such model", ms[0].What)

	shop, err = Load(dir)
	require.NoError(t, err)
	assert.Len(t, shop.Vessels, 1)

	shop, err = LoadWith(t.TempDir(), map[string][]byte{ShopFile: []byte("shop: Hollin Quay Marine Electrics\n")})
	require.NoError(t, err)
	assert.Equal(t, "Hollin Quay Marine Electrics", shop.Name)
}

func TestRead(t *testing.T) {
	root, err := Read(boat, []byte(smallShop[boat]))
	require.NoError(t, err)
	assert.Equal(t, "vessel", root.Content[0].Value)
	for _, text := range []string{"", "- a\n", "a: *b\n", "a: \u202e\n", "a: " + strings.Repeat("[", maxDepth+1), strings.Repeat("#", MaxFileBytes+1)} {
		_, err := Read("m.yaml", []byte(text))
		var ms Mistakes
		require.ErrorAs(t, err, &ms, "%.20q", text)
		assert.NotEmpty(t, ms)
	}
}
