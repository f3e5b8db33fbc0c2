package media_test

import (
	"bytes"
	"context"
	"errors"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"sort"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"cardwright/manifest/digest"
	"cardwright/media"
	"cardwright/media/keys"
	"cardwright/media/mediatest/shoptest"
	"cardwright/verify"
)

// judgedFolder is a folder whose judge is the command's. What it can't prove
// of a folder is no fault of these tests.
func judgedFolder(dir string) media.FolderTarget {
	return media.FolderTarget{Dir: dir, Judge: func(ctx context.Context, r media.Record) error {
		report := verify.Folder(ctx, dir, &verify.Expected{Record: r, Beside: true}, nil)
		if report.Verdict == verify.Bad {
			return &notGoodError{report}
		}
		return nil
	}}
}

// tree are the files and folders below a folder, with the files' digests.
func tree(t testing.TB, dir string) (all []string) {
	require.NoError(t, filepath.WalkDir(dir, func(path string, e os.DirEntry, err error) error {
		if err != nil || path == dir {
			return err
		}
		name, _ := filepath.Rel(dir, path)
		if e.IsDir() {
			all = append(all, filepath.ToSlash(name)+"/")
			return nil
		}
		content, err := os.ReadFile(path)
		all = append(all, filepath.ToSlash(name)+" "+shoptest.Sum(content))
		return err
	}))
	sort.Strings(all)
	return all
}

// A folder gets the card's files, the same as a card of our own, and coreutils
// checks it.
func TestFolder(t *testing.T) {
	job := shoptest.Kittiwake(t, t.TempDir()).Job(1)
	dir := t.TempDir()
	var told int64
	job.Progress = func(_ media.Phase, n int64) { told += n }
	o := job.WriteFolder(t.Context(), judgedFolder(dir))
	require.NoError(t, o.Err)
	card, written := written(t, job, shoptest.Small)
	assert.Equal(t, written.Record, o.Record)
	want := []string{}
	var bytes int64
	for path, content := range contents(t, card) {
		want = append(want, path+" "+shoptest.Sum([]byte(content)))
		bytes += int64(len(content))
	}
	sort.Strings(want)
	var have []string
	for _, line := range tree(t, dir) {
		if !strings.HasSuffix(line, "/") {
			have = append(have, line)
		}
	}
	assert.Equal(t, want, have)
	assert.Equal(t, bytes, o.Written)
	assert.Equal(t, int64(3<<20+17+2<<20+1+700_001+4096)*2, told) // for the card, too
	cmd := exec.Command("sha256sum", "--check", "--strict", "--quiet", media.SumsPath)
	cmd.Dir = dir
	out, err := cmd.CombinedOutput()
	assert.NoError(t, err, "%s", out)
}

// A folder that holds anything else is left as it is, to the last byte.
func TestFolderWithForeignFiles(t *testing.T) {
	job := shoptest.Kittiwake(t, t.TempDir()).Job(1)
	for _, foreign := range []string{"photo.jpg", "01-flybridge/plot12.upd", "_card/record.json", "_card/notes.txt", "a/b/c", ".hidden"} {
		dir := t.TempDir()
		put(t, dir, foreign, []byte("a customer's"))
		before := tree(t, dir)
		o := job.WriteFolder(t.Context(), judgedFolder(dir))
		var occupied *media.Occupied
		require.ErrorAs(t, o.Err, &occupied, foreign)
		assert.Equal(t, []string{foreign}, occupied.Paths)
		assert.Equal(t, before, tree(t, dir))
	}
}

// With the customer's word, other files stay, unless they are in the way, in
// whatever letter case; never beside a package that installs by itself.
func TestFolderBesideOtherFiles(t *testing.T) {
	job := shoptest.Kittiwake(t, t.TempDir()).Job(1)
	dir := t.TempDir()
	put(t, dir, "photo.jpg", []byte("a customer's"))
	put(t, dir, "01-flybridge/own.gpx", []byte("a customer's"))
	target := judgedFolder(dir)
	target.Beside = true
	require.NoError(t, job.WriteFolder(t.Context(), target).Err)
	all := tree(t, dir)
	for _, kept := range []string{"photo.jpg", "01-flybridge/own.gpx"} {
		assert.Contains(t, all, kept+" "+shoptest.Sum([]byte("a customer's")))
	}
	require.NoError(t, job.WriteFolder(t.Context(), target).Err) // once more
	assert.Equal(t, all, tree(t, dir))

	for _, inTheWay := range []string{"01-flybridge/plot12.upd", "01-Flybridge/PLOT12.UPD", "_CARD/Record.json", "01-flybridge", "02-radar/sweep"} {
		dir := t.TempDir()
		put(t, dir, inTheWay, []byte("a customer's"))
		before := tree(t, dir)
		target := judgedFolder(dir)
		target.Beside = true
		assert.Error(t, job.WriteFolder(t.Context(), target).Err, inTheWay)
		assert.Equal(t, before, tree(t, dir), inTheWay)
	}
	job.Card.AtPowerUp = true
	dir = t.TempDir()
	target = judgedFolder(dir)
	target.Beside = true
	assert.ErrorContains(t, job.WriteFolder(t.Context(), target).Err, "power-up")
	assert.Empty(t, tree(t, dir))
	target.Beside = false
	assert.NoError(t, job.WriteFolder(t.Context(), target).Err)
}

// What an earlier card of this shop left is replaced, and nothing of it stays;
// what was changed since, or is another shop's, is not ours.
func TestFolderOfAnEarlierCard(t *testing.T) {
	job, older := shoptest.Kittiwake(t, t.TempDir()).Job(1), olderJob(t)
	fresh := t.TempDir()
	require.NoError(t, job.WriteFolder(t.Context(), judgedFolder(fresh)).Err)
	earlier := func(change func(dir string)) string {
		dir := t.TempDir()
		require.NoError(t, older.WriteFolder(t.Context(), judgedFolder(dir)).Err)
		change(dir)
		return dir
	}
	dir := earlier(func(string) {})
	require.NoError(t, job.WriteFolder(t.Context(), judgedFolder(dir)).Err)
	assert.Equal(t, tree(t, fresh), tree(t, dir))

	for name, change := range map[string]func(dir string){
		"a file changed": func(dir string) { put(t, dir, "01-flybridge/guide.txt", []byte("a customer's notes")) },
		"one byte changed": func(dir string) {
			put(t, dir, "01-flybridge/guide.txt", slices.Concat(shoptest.Make("guide.txt", 4999, 9).Content, []byte("x")))
		},
		"a file added":        func(dir string) { put(t, dir, "01-flybridge/more.txt", []byte("a customer's notes")) },
		"the record gone":     func(dir string) { require.NoError(t, os.Remove(filepath.Join(dir, media.RecordPath))) },
		"the record damaged":  func(dir string) { put(t, dir, media.RecordPath, []byte("{}")) },
		"another shop's":      func(dir string) { replace(t, dir, media.RecordPath, "Hollin Quay", "Skerry Road") },
		"paths out of bounds": func(dir string) { replace(t, dir, media.RecordPath, "01-flybridge/guide.txt", "../guide.txt") },
	} {
		dir := earlier(change)
		before := tree(t, dir)
		o := job.WriteFolder(t.Context(), judgedFolder(dir))
		assert.ErrorAs(t, o.Err, new(*media.Occupied), name)
		assert.Equal(t, before, tree(t, dir), name)
	}
}

func replace(t testing.TB, dir, path, from, to string) {
	text, err := os.ReadFile(filepath.Join(dir, path))
	require.NoError(t, err)
	require.Contains(t, string(text), from)
	put(t, dir, path, bytes.ReplaceAll(text, []byte(from), []byte(to)))
}

// A record can't make us remove what is outside of the folder, or follow a
// link out of it.
func TestFolderThatLeadsElsewhere(t *testing.T) {
	job, older := shoptest.Kittiwake(t, t.TempDir()).Job(1), olderJob(t)
	outside := t.TempDir()
	put(t, outside, "guide.txt", shoptest.Make("guide.txt", 5000, 9).Content)
	before := tree(t, outside)
	for name, change := range map[string]func(dir string){
		"a link for a folder": func(dir string) {
			require.NoError(t, os.RemoveAll(filepath.Join(dir, "01-flybridge")))
			require.NoError(t, os.Symlink(outside, filepath.Join(dir, "01-flybridge")))
		},
		"a link for a file": func(dir string) {
			require.NoError(t, os.Remove(filepath.Join(dir, "01-flybridge/guide.txt")))
			require.NoError(t, os.Symlink(filepath.Join(outside, "guide.txt"), filepath.Join(dir, "01-flybridge/guide.txt")))
		},
		"a path that leads up": func(dir string) {
			require.NoError(t, os.Rename(outside, filepath.Join(filepath.Dir(dir), "up")))
			replace(t, dir, media.RecordPath, "01-flybridge/guide.txt", "../up/guide.txt")
		},
	} {
		dir := filepath.Join(t.TempDir(), "card")
		require.NoError(t, os.Mkdir(dir, 0o755))
		require.NoError(t, older.WriteFolder(t.Context(), judgedFolder(dir)).Err)
		change(dir)
		for _, beside := range []bool{false, true} {
			target := judgedFolder(dir)
			target.Beside = beside
			err := job.WriteFolder(t.Context(), target).Err
			assert.True(t, beside || err != nil, name)
		}
		if up := filepath.Join(filepath.Dir(dir), "up"); name == "a path that leads up" {
			require.NoError(t, os.Rename(up, outside))
		}
		assert.Equal(t, before, tree(t, outside), name)
	}
}

// What goes wrong leaves nothing of the new card in the folder; what an
// interrupted run left under temporary names is cleared away.
func TestFolderIsLeftAsItWas(t *testing.T) {
	for name, write := range map[string]func(t *testing.T, shop *shoptest.Shop, dir string) error{
		"a differing package": func(t *testing.T, shop *shoptest.Shop, dir string) error {
			put(t, shop.Dir, "packages/solveld-course-3/5.2/course.zip", make([]byte, len(mustRead(t, shop.Dir, "packages/solveld-course-3/5.2/course.zip"))))
			return shop.Job(1).WriteFolder(t.Context(), judgedFolder(dir)).Err
		},
		"a missing package": func(t *testing.T, shop *shoptest.Shop, dir string) error {
			require.NoError(t, os.Remove(filepath.Join(shop.Dir, "packages/fennick-sweep-2/1.8/sweep/table.bin")))
			return shop.Job(1).WriteFolder(t.Context(), judgedFolder(dir)).Err
		},
		"refused by the judge": func(t *testing.T, shop *shoptest.Shop, dir string) error {
			err := shop.Job(1).WriteFolder(t.Context(), media.FolderTarget{Dir: dir, Judge: func(context.Context, media.Record) error { return errors.New("not today") }}).Err
			assert.ErrorAs(t, err, new(*media.Misread))
			assert.NotContains(t, err.Error(), "blank")
			return err
		},
		"interrupted": func(t *testing.T, shop *shoptest.Shop, dir string) error {
			ctx, interrupt := context.WithCancel(t.Context())
			job := shop.Job(1)
			job.Progress = func(media.Phase, int64) { interrupt() }
			err := job.WriteFolder(ctx, judgedFolder(dir)).Err
			assert.True(t, media.Interrupted(err), "%v", err)
			return err
		},
		"interrupted while it is judged": func(t *testing.T, shop *shoptest.Shop, dir string) error {
			ctx, interrupt := context.WithCancel(t.Context())
			err := shop.Job(1).WriteFolder(ctx, media.FolderTarget{Dir: dir, Judge: func(context.Context, media.Record) error {
				interrupt()
				return errors.New("interrupted")
			}}).Err
			assert.True(t, media.Interrupted(err), "%v", err)
			return err
		},
	} {
		t.Run(name, func(t *testing.T) {
			dir := t.TempDir()
			put(t, dir, "_card.pending/00000", []byte("of an interrupted run"))
			assert.Error(t, write(t, shoptest.Kittiwake(t, t.TempDir()), dir))
			assert.Empty(t, tree(t, dir))
		})
	}
	assert.Error(t, shoptest.Kittiwake(t, t.TempDir()).Job(1).WriteFolder(t.Context(), judgedFolder(filepath.Join(t.TempDir(), "none"))).Err)
}

func mustRead(t testing.TB, dir, path string) []byte {
	content, err := os.ReadFile(filepath.Join(dir, path))
	require.NoError(t, err)
	return content
}

// At no moment while a folder is written does it hold a record of files that
// aren't all there: seen whenever the payload advances, and by the judge.
func TestFolderNeverHasARecordOfLess(t *testing.T) {
	shop, dir := shoptest.Kittiwake(t, t.TempDir()), t.TempDir()
	require.NoError(t, olderJob(t).WriteFolder(t.Context(), judgedFolder(dir)).Err)
	looked := 0
	look := func() {
		looked++
		text, err := os.ReadFile(filepath.Join(dir, media.RecordPath))
		if err != nil {
			return
		}
		r, err := media.DecodeRecord(text)
		require.NoError(t, err)
		for _, f := range r.Files {
			require.Equal(t, f.SHA256, digest.Of(mustRead(t, dir, f.Path)))
		}
	}
	job := shop.Job(1)
	job.Progress = func(media.Phase, int64) { look() }
	target := judgedFolder(dir)
	judge := target.Judge
	target.Judge = func(ctx context.Context, r media.Record) error {
		look()
		return judge(ctx, r)
	}
	require.NoError(t, job.WriteFolder(t.Context(), target).Err)
	look()
	assert.Greater(t, looked, 4)
}

// A card whose package wants to be alone has no record in a folder either.
func TestFolderOfAPackageAlone(t *testing.T) {
	shop := shoptest.New(t, t.TempDir())
	rules := shoptest.AnyCard()
	rules.Alone, rules.Folder = true, "/"
	shop.Model("solveld-beacon-1", rules)
	shop.Device("ais", "solveld-beacon-1")
	f := shoptest.Make("beacon1.upd", 12345, 1)
	shop.Step("ais", "1.6", "", f)
	dir := t.TempDir()
	require.NoError(t, shop.Job(1).WriteFolder(t.Context(), media.FolderTarget{Dir: dir, Judge: accept}).Err)
	assert.Equal(t, []string{"beacon1.upd " + shoptest.Sum(f.Content)}, tree(t, dir))
}

// A signature is next to the record in a folder too.
func TestFolderSigned(t *testing.T) {
	job := shoptest.Kittiwake(t, t.TempDir()).Job(1)
	key, err := keys.New(filepath.Join(t.TempDir(), "shop.key"))
	require.NoError(t, err)
	var signature []byte
	job.Sign = func(record []byte) ([]byte, error) {
		var err error
		signature, err = key.Sign(record)
		return signature, err
	}
	dir := t.TempDir()
	require.NoError(t, job.WriteFolder(t.Context(), judgedFolder(dir)).Err)
	assert.Equal(t, string(signature), string(mustRead(t, dir, media.SignaturePath)))
	require.NoError(t, job.WriteFolder(t.Context(), judgedFolder(dir)).Err, "its own files are replaced")
}

// Two runs on one folder: the second is refused as long as the first works.
// Without that the first, failing, took the card away that the second had
// proven.
func TestFolderOfTwoRuns(t *testing.T) {
	dir := t.TempDir()
	job, other := shoptest.Kittiwake(t, t.TempDir()).Job(1), shoptest.Kittiwake(t, t.TempDir()).Job(1)
	target := judgedFolder(dir)
	var second media.Outcome
	failing := media.FolderTarget{Dir: dir, Judge: func(context.Context, media.Record) error {
		before := tree(t, dir)
		second = other.WriteFolder(t.Context(), target)
		assert.Equal(t, before, tree(t, dir))
		return errors.New("not as it should be")
	}}
	require.Error(t, job.WriteFolder(t.Context(), failing).Err)
	require.ErrorContains(t, second.Err, "another run is writing to this folder")
	assert.Empty(t, tree(t, dir))
	require.NoError(t, other.WriteFolder(t.Context(), target).Err)
}

// What a failure left in a folder is reported as it is: untouched, cleared, or
// without the earlier card.
func TestFolderLeft(t *testing.T) {
	job := shoptest.Kittiwake(t, t.TempDir()).Job(1)
	dir := t.TempDir()
	failing := media.FolderTarget{Dir: dir, Judge: func(context.Context, media.Record) error { return errors.New("not as it should be") }}
	assert.Equal(t, media.FolderCleared, job.WriteFolder(t.Context(), failing).Left)
	require.NoError(t, job.WriteFolder(t.Context(), judgedFolder(dir)).Err)
	assert.Equal(t, media.FolderWithoutOld, job.WriteFolder(t.Context(), failing).Left)
	require.NoError(t, os.WriteFile(filepath.Join(dir, "tracks.gpx"), nil, 0o600))
	assert.Equal(t, media.FolderUntouched, job.WriteFolder(t.Context(), failing).Left)
	assert.Equal(t, media.FolderUntouched, job.WriteFolder(t.Context(), media.FolderTarget{Dir: filepath.Join(dir, "none")}).Left)

	// A card pulled out, or locked meanwhile, can't be cleared: here somebody
	// puts a folder in the place of a file that was written.
	require.NoError(t, os.Remove(filepath.Join(dir, "tracks.gpx")))
	spoiling := media.FolderTarget{Dir: dir, Judge: func(context.Context, media.Record) error {
		path := filepath.Join(dir, filepath.FromSlash(media.RecordPath))
		return errors.Join(os.Remove(path), os.MkdirAll(filepath.Join(path, "full"), 0o700), errors.New("not as it should be"))
	}}
	o := job.WriteFolder(t.Context(), spoiling)
	assert.Equal(t, media.FolderUnknown, o.Left)
	assert.NotContains(t, o.Err.Error(), "\n")
	assert.ErrorContains(t, o.Err, "could not be removed")
}
