package intake_test

import (
	"archive/zip"
	"bytes"
	"compress/gzip"
	"context"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"cardwright/manifest"
	"cardwright/manifest/digest"
	"cardwright/media"
	"cardwright/media/intake"
)

// Other bytes under a version that is known are refused under any name, unless
// it is said that they are one more file, or take the place of one.
func TestOtherBytesUnderAKnownVersion(t *testing.T) {
	b := newBench(t)
	release := b.Models[0].Releases[0]
	had := release.Files[0]
	for _, name := range []string{"Plot_12.upd", "plot12-4.0-12.upd", "plot12.upd.new", "other.bin"} {
		r := intake.Request{Path: b.download(name, []byte("other bytes "+name)), Model: "fennick-plot-12", Version: release.Version}
		refused := b.refused(r, "different bytes under a known version")
		assert.Contains(t, refused.Expected, string(had.SHA256))
		assert.Contains(t, refused.Advice, string(intake.Replace))

		r.Several = true
		assert.Nil(t, b.taken(r).Instead, "one more")
		r.Several, r.Replace = false, true
		if name != "plot12.upd" {
			b.refused(r, "no telling which file it replaces")
		}
		r.Old = had.Name
		assert.Same(t, had, b.taken(r).Instead)
		r.Old = "nothing.upd"
		b.refused(r, "no telling which file it replaces")
	}
	r := intake.Request{Path: b.download("PLOT12.UPD", []byte("longer than what the catalogue has? no")), Model: "fennick-plot-12", Version: release.Version, Several: true}
	b.refused(r, "an incomplete download")
	r.Replace = true
	assert.Same(t, had, b.taken(r).Instead)

	r = intake.Request{Path: b.download("p.upd", plot()), Model: "fennick-plot-12", Version: release.Version, Replace: true}
	b.refused(r, "nothing to replace")
	b.Models[0].History = []*manifest.Past{{Version: release.Version, File: "old.upd", SHA256: digest.Of([]byte("old")), By: had.SHA256, Why: "it lost waypoints"}}
	assert.True(t, b.taken(r).Done, "it was replaced before")
	old := intake.Request{Path: b.download("old.upd", []byte("old")), Model: "fennick-plot-12", Version: release.Version, Several: true}
	assert.Contains(t, b.refused(old, "bytes that were replaced").Found, "it lost waypoints")
}

// Whatever moment a replacement ends at, what the catalogue says is found whole,
// and the same replacement goes on.
func TestReplaceInSteps(t *testing.T) {
	b := newBench(t)
	model, release := b.Models[0], b.Models[0].Releases[0]
	had := release.Files[0]
	whole := func(moment string) {
		inv, err := intake.List(b.Shop.Shop, nil)
		require.NoError(t, err)
		require.NoError(t, intake.Check(context.Background(), inv, nil))
		for _, c := range inv.Files {
			assert.NotContains(t, []intake.State{intake.Differs, intake.Missing, intake.Unreadable}, c.State, "%s: %s", moment, c.Path)
		}
	}
	content := plot()
	content[7]++ // as long as the old one: only digests tell them apart
	r := intake.Request{Path: b.download("plot12.upd", content), Model: model.ID, Version: release.Version, Replace: true}
	f := b.taken(r)
	taken := b.take(f)
	whole("copied")
	require.NoError(t, taken.Commit())
	whole("put beside the old one")
	require.NoError(t, b.take(b.taken(r)).Abandon(), "the same again finds it there")

	release.Files = []*manifest.File{{Name: f.Name, Size: manifest.Size(f.Size), SHA256: f.SHA256}}
	model.History = []*manifest.Past{{Version: release.Version, File: had.Name, Size: had.Size, SHA256: had.SHA256, By: f.SHA256}}
	whole("told to the catalogue")
	old := media.SourceOf(model, release, had)
	path, err := intake.Discard(b.Shop.Shop, old)
	require.NoError(t, err)
	assert.Equal(t, b.place(model.ID, string(release.Version), had.Name), path)
	whole("without the old one")
	require.NoError(t, taken.Settle(b.Shop.Shop, f))
	whole("in its place")
	assert.Equal(t, []string{"notes.txt", f.Name}, names(t, b.place(model.ID, string(release.Version))))
	path, err = intake.Discard(b.Shop.Shop, old)
	require.NoError(t, err)
	assert.Empty(t, path, "what has the old one's place by now is somebody's package")
	whole("discarded twice")
}

// Archives, by their bytes whatever their names, don't go onto a card whole
// without a word.
func TestArchivesAreAskedAbout(t *testing.T) {
	b := newBench(t)
	tar := func(content string) []byte {
		head := make([]byte, 512)
		copy(head, "update.bin")
		copy(head[100:], "0000644\x000000000\x000000000\x0000000000013\x0000000000000\x00")
		copy(head[148:], "        0")
		sum := 0
		for _, c := range head {
			sum += int(c)
		}
		copy(head[148:], []byte{'0' + byte(sum>>15&7), '0' + byte(sum>>12&7), '0' + byte(sum>>9&7), '0' + byte(sum>>6&7), '0' + byte(sum>>3&7), '0' + byte(sum&7), 0, ' '})
		return append(head, content...)
	}
	var gzipped bytes.Buffer
	z := gzip.NewWriter(&gzipped)
	_, err := z.Write([]byte("what is in it"))
	require.NoError(t, err)
	require.NoError(t, z.Close())
	for name, content := range map[string][]byte{
		"a.upd": pack(t, &zip.FileHeader{Name: "core.bin"}), "b.upd": tar(strings.Repeat("hello", 400)),
		"c.upd": []byte("\x60\xea and more"), "d.upd": []byte("!!-lh5- and more"), "e.upd": gzipped.Bytes(),
	} {
		r := fresh(b.download(name, content))
		b.refused(r, "nothing says that fennick-plot-12 opens archives")
		r.Opens = true
		_, err := b.examine(r)
		if err != nil { // another reason may be left, and this one isn't
			assert.NotContains(t, err.Error(), "opens archives", name)
		}
	}

	// A model that opens them took one; its member takes its place afterwards.
	b.Models[0].OpensArchives = true
	path := b.download("plot12-4.1.zip", pack(t, &zip.FileHeader{Name: "core.bin", Comment: "core"}, &zip.FileHeader{Name: "notes.txt"}))
	f := b.taken(fresh(path))
	archive := &manifest.File{Name: f.Name, Size: manifest.Size(f.Size), SHA256: f.SHA256}
	b.Models[0].Releases = append(b.Models[0].Releases, &manifest.Release{Version: "4.1", Files: []*manifest.File{archive}})
	r := fresh(path)
	r.Member = "core.bin"
	f = b.taken(r)
	assert.Same(t, archive, f.Instead)
	assert.Equal(t, "its member core.bin is the package", f.Why)
	r.Member, r.Unpack = "", true
	f = b.taken(r)
	assert.Same(t, archive, f.Instead)
	assert.Len(t, f.Members, 2)
	b.Models[0].Releases[1].Files = append(b.Models[0].Releases[1].Files, &manifest.File{Name: "core.bin", Size: 16, SHA256: digest.Of([]byte("what is in core"))})
	r.Member, r.Unpack = "core.bin", false
	f = b.taken(r)
	require.NotNil(t, f.Known)
	assert.Same(t, archive, f.Instead, "its archive was left beside it")
}

// Members of one name are listed by their names, and so is a file beside them.
func TestDoubledMembers(t *testing.T) {
	b := newBench(t)
	for _, members := range [][]string{{"a.bin", "A.BIN"}, {"a.bin", "a.bin"}, {"a", "a/b.bin"}, {"x/a.bin", "X/b.bin"}} {
		var headers []*zip.FileHeader
		for _, m := range members {
			headers = append(headers, &zip.FileHeader{Name: m})
		}
		r := fresh(b.download("two.zip", pack(t, headers...)))
		r.Unpack = true
		refused := b.refused(r, "an archive that can't be taken")
		assert.Contains(t, refused.Found, "one name on a card", strings.Join(members, " "))
	}
	r := intake.Request{Path: b.download("more.zip", pack(t, &zip.FileHeader{Name: "Plot12.upd"})), Model: "fennick-plot-12", Version: "4.0-12", Unpack: true, Several: true}
	assert.Contains(t, b.refused(r, "a name that another file of the release has").Found, `"Plot12.upd" and "plot12.upd"`)
}

// One program adds at a time; the other says that it waits, and can be stopped.
func TestTakeTurn(t *testing.T) {
	b := newBench(t)
	leave, err := intake.TakeTurn(context.Background(), b.Shop.Shop, func() { t.Error("nobody else is there") })
	require.NoError(t, err)
	ctx, cancel := context.WithCancel(context.Background())
	_, err = intake.TakeTurn(ctx, b.Shop.Shop, cancel)
	require.ErrorIs(t, err, context.Canceled)
	went := make(chan func())
	waits := make(chan struct{})
	go func() {
		next, err := intake.TakeTurn(context.Background(), b.Shop.Shop, func() { close(waits) })
		assert.NoError(t, err)
		went <- next
	}()
	<-waits
	leave()
	select {
	case next := <-went:
		next()
	case <-time.After(time.Minute):
		t.Fatal("its turn never came")
	}
	assert.NoFileExists(t, filepath.Join(b.Dir, "packages", ".lock"))
	_, err = os.Stat(filepath.Join(b.Dir, "packages"))
	require.NoError(t, err)
}
