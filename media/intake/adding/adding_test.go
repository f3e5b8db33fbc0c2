package adding_test

import (
	"archive/zip"
	"bytes"
	"context"
	"errors"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"cardwright/manifest"
	"cardwright/manifest/digest"
	"cardwright/manifest/tables"
	"cardwright/manifest/version"
	"cardwright/media/intake"
	"cardwright/media/intake/adding"
)

// shop is a shop folder with two models, and a folder of downloads beside it.
func shop(t *testing.T) (in adding.Shop, downloads string) {
	t.Helper()
	dir := t.TempDir()
	for name, text := range map[string]string{
		"shop/shop.yaml": "shop: Hollin Quay Marine Electrics\npackages: packages\nledger: ledger.db\n",
		"shop/catalogue/fennick-sweep-2.yaml": `model: fennick-sweep-2
maker: Fennick
name: Sweep 2
kind: radar
card: {least: 4GB, most: 32GB, file_systems: [fat32], slot: microSD, folder: any}
`,
		"shop/catalogue/solveld-beacon-1.yaml": `model: solveld-beacon-1
maker: Solveld
name: Beacon 1
kind: transponder
card: {least: 4GB, most: 32GB, file_systems: [fat32], slot: microSD, folder: any}
`,
		"downloads/.here": "", "shop/vessels/.here": "",
	} {
		path := filepath.Join(dir, filepath.FromSlash(name))
		require.NoError(t, os.MkdirAll(filepath.Dir(path), 0o755))
		require.NoError(t, os.WriteFile(path, []byte(text), 0o600))
	}
	return adding.Shop{
		Load:  func() (*manifest.Shop, error) { return manifest.Load(filepath.Join(dir, "shop")) },
		Today: time.Date(2026, 3, 2, 0, 0, 0, 0, time.UTC),
		Watch: func(string, string, int64) (func(int64), func()) { return func(int64) {}, func() {} },
		Waits: func() {},
	}, filepath.Join(dir, "downloads")
}

// file writes a download whose bytes follow from its name.
func file(t *testing.T, dir, name string) string {
	t.Helper()
	path := filepath.Join(dir, name)
	require.NoError(t, os.WriteFile(path, bytes.Repeat([]byte(digest.Of([]byte(name))), 40), 0o600))
	return path
}

func download(t *testing.T, in adding.Shop, said adding.Said) *adding.Download {
	t.Helper()
	d := adding.NewDownload(in, said)
	require.NoError(t, d.Examine(t.Context()))
	return d
}

// answered takes a download through its questions: each is answered by its key, until
// an answer is kept; a question without an answer is answered with nothing.
func answered(t *testing.T, d *adding.Download, answers map[string][]string) (asked []string) {
	t.Helper()
	for {
		q, open := d.Next()
		if !open {
			return asked
		}
		asked = append(asked, q.Key)
		require.Less(t, len(asked), 40, "questions without end: %v", asked)
		said := ""
		if a := answers[q.Key]; len(a) > 0 {
			said, answers[q.Key] = a[0], a[1:]
		}
		if err := d.Answer(t.Context(), q, said); err != nil {
			_, again := errors.AsType[*adding.Again](err)
			require.True(t, again, "%s: %v", q.Key, err)
		}
	}
}

func unknown(path string) adding.Said {
	return adding.Said{Request: intake.Request{Path: path}}
}

// A program answers the questions that a terminal would ask: what isn't accepted is asked
// again, and the answers are in the catalogue.
func TestADownloadOfWhichNobodySaidAnything(t *testing.T) {
	in, dir := shop(t)
	d := download(t, in, unknown(file(t, dir, "Sweep2_2.5.img")))
	q, open := d.Next()
	require.True(t, open)
	assert.Equal(t, "fennick-sweep-2", q.Usual, "offered by its name")
	asked := answered(t, d, map[string][]string{
		"model":    {"fennick sweep", "fennick-sweep-2"},
		"released": {"", "yesterday", "2026-02-10"},
		"over":     {"new", ">= 1.6"},
		"needs":    {"beacon", "solveld-beacon >= 1.5", "solveld-beacon-1 >= 1.5", "no more"},
	})
	assert.Equal(t, []string{
		"model", "model", "version", "released", "released", "released", "over", "over",
		"needs", "needs", "needs", "needs", "minutes",
	}, asked)
	require.NoError(t, d.Take(t.Context()))
	assert.True(t, d.Added.Taken)
	now, err := in.Load()
	require.NoError(t, err)
	r := now.Model("fennick-sweep-2").Release("2.5", "")
	require.NotNil(t, r)
	assert.Equal(t, "2026-02-10", r.Released.String())
	assert.Equal(t, ">= 1.6", r.Over.String())
	require.Len(t, r.Needs, 1)
	assert.FileExists(t, d.Added.Path)
}

// Where nobody is there to answer nothing is guessed: what is unknown is refused, and a
// release without its day isn't written down.
func TestQuestionsThatNobodyAnswers(t *testing.T) {
	in, dir := shop(t)
	path := file(t, dir, "Sweep2_2.5.img")
	d := download(t, in, unknown(path))
	refused, ok := errors.AsType[*intake.Refused](d.Take(t.Context()))
	require.True(t, ok)
	assert.True(t, refused.Unknown)

	said := unknown(path)
	said.Model, said.Version = "fennick-sweep-2", "2.5"
	d = download(t, in, said)
	_, bad := errors.AsType[*adding.BadSaid](d.Take(t.Context()))
	assert.True(t, bad)
	said.Released, said.Touch = "2026-02-10", []string{"none.img"}
	_, bad = errors.AsType[*adding.BadSaid](download(t, in, said).Take(t.Context()))
	assert.True(t, bad, "a file to touch that the release doesn't have")

	now, err := in.Load()
	require.NoError(t, err)
	assert.Empty(t, now.Model("fennick-sweep-2").Releases)
	assert.NoDirExists(t, filepath.Join(now.Dir, "packages"))
}

// What a download looks wrong by is asked about; no is an answer, and so is yes.
func TestADoubtfulDownload(t *testing.T) {
	in, dir := shop(t)
	path := filepath.Join(dir, "blank.upd")
	require.NoError(t, os.WriteFile(path, make([]byte, 5000), 0o600))
	said := unknown(path)
	said.Model, said.Version, said.Released = "fennick-sweep-2", "2.5", "2026-02-10"
	for _, answer := range []string{"no", "", "yes"} { // once it was taken it is known, and no longer asked about
		taken := answer == "yes"
		d := download(t, in, said)
		assert.Equal(t, []string{"despite"}, answered(t, d, map[string][]string{"despite": {answer}}), answer)
		err := d.Take(t.Context())
		assert.Equal(t, taken, err == nil, "%q: %v", answer, err)
		assert.Equal(t, taken, d.Added.Taken)
	}
}

// Of an archive it is asked whether the device opens it, and else which file inside is
// the package: a name that isn't there is asked again.
func TestAnArchiveOfWhichNobodySaidWhatItIs(t *testing.T) {
	in, dir := shop(t)
	archive := func(name string) string {
		var content bytes.Buffer
		z := zip.NewWriter(&content)
		for _, member := range []string{"main.upd", "notes.txt"} {
			w, err := z.Create(member)
			require.NoError(t, err)
			_, err = w.Write([]byte(name + member))
			require.NoError(t, err)
		}
		require.NoError(t, z.Close())
		path := filepath.Join(dir, name)
		require.NoError(t, os.WriteFile(path, content.Bytes(), 0o600))
		return path
	}
	about := func(name string, v version.V) *adding.Download {
		said := unknown(archive(name))
		said.Model, said.Version, said.Released = "solveld-beacon-1", v, "2026-02-10"
		return download(t, in, said)
	}
	d := about("one.zip", "1.6")
	assert.Equal(t, []string{"opens", "inside", "inside"}, answered(t, d, map[string][]string{"opens": {"no"}, "inside": {"other.upd", "notes.txt"}}))
	require.NoError(t, d.Take(t.Context()))
	assert.Equal(t, "notes.txt", d.Added.Member)

	d = about("all.zip", "1.7")
	assert.Equal(t, []string{"opens", "inside"}, answered(t, d, map[string][]string{"opens": {"no"}, "inside": {"all"}}))
	require.NoError(t, d.Take(t.Context()))

	d = about("whole.zip", "1.8")
	assert.Equal(t, []string{"opens"}, answered(t, d, map[string][]string{"opens": {"yes"}}))
	require.NoError(t, d.Take(t.Context()))
	now, err := in.Load()
	require.NoError(t, err)
	assert.True(t, now.Model("solveld-beacon-1").OpensArchives)
}

// Who changed the catalogue between the examining and the taking isn't overwritten:
// the same is done again, and what was answered isn't asked anew.
func TestTheCatalogueChangedMeanwhile(t *testing.T) {
	in, dir := shop(t)
	path := file(t, dir, "Sweep2_2.5.img")
	d := download(t, in, unknown(path))
	answered(t, d, map[string][]string{"released": {"2026-02-10"}})

	other := unknown(path)
	other.Model, other.Version, other.Released = "fennick-sweep-2", "2.5", "2026-02-11"
	require.NoError(t, download(t, in, other).Take(t.Context()))
	require.ErrorIs(t, d.Take(t.Context()), adding.ErrAgain)
	require.NoError(t, d.Examine(t.Context()))
	assert.Empty(t, answered(t, d, nil))
	require.NoError(t, d.Take(t.Context()))
	assert.True(t, d.Added.WasThere)
}

// A table is taken completely or not at all; all mistakes in its rows are reported at once.
func TestATableIsTakenWholeOrNotAtAll(t *testing.T) {
	in, dir := shop(t)
	file(t, dir, "sweep2-2.5.img")
	file(t, dir, "beacon1-1.6.upd")
	name := filepath.Join(dir, "releases.csv")
	take := func(rows string) ([]adding.Added, error) {
		table, err := tables.Read(name, []byte("file,model,version,released,needs\n"+rows), adding.Columns)
		wrong, _ := errors.AsType[manifest.Mistakes](err)
		return adding.TakeTable(t.Context(), in, name, table, wrong)
	}
	const sweep = "sweep2-2.5.img,fennick-sweep-2,v2.5,2026-02-10,solveld-beacon-1 >= 1.5\n"
	for what, rows := range map[string]string{
		"no such file":                        "gone.upd,solveld-beacon-1,v1.6,2026-01-20,\n",
		"no such model":                       "beacon1-1.6.upd,solveld-beacon-7,v1.6,2026-01-20,\n",
		"release without a day":               "beacon1-1.6.upd,solveld-beacon-1,v1.6,,\n",
		"not a model and its versions":        "beacon1-1.6.upd,solveld-beacon-1,v1.6,2026-01-20,sweep\n",
		"several files of one release":        "beacon1-1.6.upd,fennick-sweep-2,v2.5,,\n",
		"file given twice":                    "sweep2-2.5.img,solveld-beacon-1,v1.6,2026-01-20,\n",
		"version that a spreadsheet may have": "beacon1-1.60.upd,solveld-beacon-1,1.6,2026-01-20,\n",
	} {
		file(t, dir, "beacon1-1.60.upd")
		_, err := take(sweep + rows)
		wrong, ok := errors.AsType[*adding.RowMistakes](err)
		if assert.True(t, ok, "%s: %v", what, err) {
			assert.ErrorContains(t, err, what)
			for _, m := range wrong.All {
				assert.Equal(t, 3, m.At.Line, what)
			}
		}
		now, err := in.Load()
		require.NoError(t, err)
		assert.Empty(t, now.Model("fennick-sweep-2").Releases, what)
	}
	all, err := take(sweep + "beacon1-1.6.upd,solveld-beacon-1,v1.6,2026-01-20,\n")
	require.NoError(t, err)
	require.Len(t, all, 2)
	for _, a := range all {
		assert.FileExists(t, a.Path)
	}
	again, err := take(sweep + "beacon1-1.6.upd,solveld-beacon-1,v1.6,2026-01-20,\n")
	require.NoError(t, err)
	assert.True(t, again[0].WasThere && again[1].WasThere, "a table can be given again")
}

// A file goes out of the catalogue first and then out of the package folder; of
// several one has to be named.
func TestTakingOut(t *testing.T) {
	in, dir := shop(t)
	said := unknown(file(t, dir, "sweep2-2.5.img"))
	said.Model, said.Version, said.Released = "fennick-sweep-2", "2.5", "2026-02-10"
	d := download(t, in, said)
	require.NoError(t, d.Take(t.Context()))

	out := adding.Said{Request: intake.Request{Model: "fennick-sweep-2", Version: "2.5", Old: "other.img"}, Why: "the maker withdrew it"}
	_, _, err := adding.Remove(in, out, false)
	_, bad := errors.AsType[*adding.BadSaid](err)
	assert.True(t, bad, "%v", err)
	out.Old = ""
	removed, stays, err := adding.Remove(in, out, false)
	require.NoError(t, err)
	require.Len(t, removed, 1)
	assert.True(t, stays, "the release stands there without a file")
	assert.NoFileExists(t, removed[0].Path)
	_, _, err = adding.Remove(in, out, true)
	require.NoError(t, err)
	now, err := in.Load()
	require.NoError(t, err)
	assert.Empty(t, now.Model("fennick-sweep-2").Releases)
}

// An interrupted run leaves neither a package nor a word in the catalogue.
func TestAnInterruptedDownload(t *testing.T) {
	in, dir := shop(t)
	said := unknown(file(t, dir, "sweep2-2.5.img"))
	said.Model, said.Version, said.Released = "fennick-sweep-2", "2.5", "2026-02-10"
	d := download(t, in, said)
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	require.ErrorIs(t, d.Take(ctx), context.Canceled)
	now, err := in.Load()
	require.NoError(t, err)
	assert.Empty(t, now.Model("fennick-sweep-2").Releases)
}
