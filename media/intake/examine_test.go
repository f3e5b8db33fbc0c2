package intake_test

import (
	"archive/zip"
	"bytes"
	"context"
	"encoding/hex"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"cardwright/manifest"
	"cardwright/manifest/digest"
	"cardwright/media/intake"
	"cardwright/media/mediatest/shoptest"
)

// bench is a shop, and a folder of downloads.
type bench struct {
	*shoptest.Shop
	t         *testing.T
	downloads string
}

func newBench(t *testing.T) *bench {
	t.Helper()
	return &bench{shoptest.Kittiwake(t, t.TempDir()), t, t.TempDir()}
}

// download puts a file among the downloads.
func (b *bench) download(name string, content []byte) string {
	b.t.Helper()
	path := filepath.Join(b.downloads, name)
	require.NoError(b.t, os.WriteFile(path, content, 0o644))
	return path
}

// plot is the package that the shop has for its display.
func plot() []byte { return shoptest.Make("plot12.upd", 3<<20+17, 1).Content }

func (b *bench) examine(r intake.Request) (intake.Found, error) {
	return intake.Examine(context.Background(), b.Shop.Shop, r, nil)
}

func (b *bench) taken(r intake.Request) intake.Found {
	b.t.Helper()
	f, err := b.examine(r)
	require.NoError(b.t, err)
	return f
}

func (b *bench) refused(r intake.Request, what string) *intake.Refused {
	b.t.Helper()
	_, err := b.examine(r)
	var refused *intake.Refused
	require.ErrorAs(b.t, err, &refused)
	assert.Contains(b.t, refused.What, what)
	for _, text := range []string{refused.Found, refused.Expected, refused.Advice, refused.Path} {
		assert.NotEmpty(b.t, text, refused.What)
	}
	return refused
}

// fresh is a request for a file that the catalogue doesn't have.
func fresh(path string) intake.Request {
	return intake.Request{Path: path, Model: "fennick-plot-12", Version: "4.1"}
}

func TestKnownByDigest(t *testing.T) {
	b := newBench(t)
	f := b.taken(intake.Request{Path: b.download("whatever (1).bin", plot())})
	assert.Equal(t, "fennick-plot-12", f.Model.ID)
	assert.EqualValues(t, "4.0-12", f.Version)
	assert.Equal(t, "plot12.upd", f.Name, "the catalogue's name, not the download's")
	require.NotNil(t, f.Known)
	assert.Empty(t, f.Trust, "the catalogue doesn't say")
}

func TestFresh(t *testing.T) {
	b := newBench(t)
	content := []byte("a release that nobody has seen")
	f := b.taken(fresh(b.download("plot12-4.1.upd", content)))
	assert.Nil(t, f.Known)
	assert.Equal(t, digest.Of(content), f.SHA256)
	assert.EqualValues(t, len(content), f.Size)
	assert.Equal(t, manifest.TrustOurs, f.Trust)
	refused := b.refused(intake.Request{Path: b.download("plot12-4.1.upd", content)}, "not in the catalogue")
	assert.True(t, refused.Unknown)
	b.refused(intake.Request{Path: b.download("x.upd", content), Model: "fennick-plot-13", Version: "1"}, "no such model")
}

// Each is refused for its own reason, before anything is written.
func TestRefusals(t *testing.T) {
	b := newBench(t)
	content := []byte("a release that nobody has seen")
	b.refused(fresh(b.download("empty.upd", nil)), "empty")
	for _, end := range []string{".part", ".crdownload", ".download", ".Partial", ".aria2"} {
		b.refused(fresh(b.download("plot.upd"+end, content)), "an unfinished download")
	}
	b.download("busy.upd.part", nil)
	b.refused(fresh(b.download("busy.upd", content)), "an unfinished download")
	b.refused(intake.Request{Path: b.download("plot12.upd", plot()[:1<<20])}, "an incomplete download")
	other := plot()
	other[5]++
	b.refused(intake.Request{Path: b.download("plot12.upd", other)}, "not the file that the catalogue has")
	b.refused(intake.Request{Path: b.download("plot12 (1).upd", other)}, "not the file that the catalogue has")
	b.refused(intake.Request{Path: b.download("plot12.upd", other), Model: "fennick-plot-12", Version: "4.0-12"}, "not the file that the catalogue has")
	b.refused(fresh(b.download("p.upd", plot())), "a file of another release")
	b.refused(intake.Request{Path: b.download("p.upd", plot()), Name: "x.upd"}, "under another name")
	for _, name := range []string{"new (1).upd", "new(2).upd", "new - Copy.upd", "new - Copy (2).upd", "new copy.upd", "Copy of new.upd"} {
		assert.Contains(t, b.refused(fresh(b.download(name, content)), "renamed second copy").Advice, "new.upd", name)
	}
	r := fresh(b.download("new (1).upd", content))
	r.Name = "new.upd"
	assert.Equal(t, "new.upd", b.taken(r).Name)
	b.refused(fresh(b.download("page.upd", []byte("\ufeff\n<!DOCTYPE HTML><p>Sign in"))), "a web page")
	b.refused(fresh(b.downloads), "not a file")
	r = fresh(b.download("new.upd", content))
	for _, name := range []string{"../new.upd", "/new.upd", "con.upd", "a:b", "_card/x", `a\b`, "a\x1b[2J", "a\xff.upd"} {
		r.Name = name
		b.refused(r, "a name that a card can't have")
	}
	_, err := b.examine(fresh(filepath.Join(b.downloads, "nothing")))
	require.ErrorIs(t, err, fs.ErrNotExist)
}

// Lists as coreutils and its --tag write them are the maker's word; another
// digest there, or another name, refuses the download. Judge: sha256sum and
// sha512sum of coreutils write the lists.
func TestLists(t *testing.T) {
	content := []byte("a release that nobody has seen")
	sum := func(t *testing.T, dir, tool string, args ...string) []byte {
		cmd := exec.Command(tool, args...)
		cmd.Dir = dir
		out, err := cmd.Output()
		require.NoError(t, err)
		return out
	}
	for name, make := range map[string]func(t *testing.T, dir string) []byte{
		"SHA256SUMS":     func(t *testing.T, dir string) []byte { return sum(t, dir, "sha256sum", "new.upd", "other.upd") },
		"SHA512SUMS":     func(t *testing.T, dir string) []byte { return sum(t, dir, "sha512sum", "-b", "other.upd", "new.upd") },
		"checksums.txt":  func(t *testing.T, dir string) []byte { return sum(t, dir, "sha256sum", "--tag", "new.upd") },
		"new.upd.sha512": func(t *testing.T, dir string) []byte { return sum(t, dir, "sha512sum", "--tag", "new.upd") },
		"new.upd.sha256": func(*testing.T, string) []byte { return []byte(strings.ToUpper(shoptest.Sum(content)) + "\r\n") },
		"new.upd.sha256sum": func(*testing.T, string) []byte {
			return []byte("\ufeff" + shoptest.Sum(content) + "  ./releases/new.upd")
		},
		"SHA256SUMS.txt": func(*testing.T, string) []byte {
			return []byte("-----BEGIN\n" + shoptest.Sum(content) + " *new.upd\n-----END\n")
		},
	} {
		t.Run(name, func(t *testing.T) {
			b := newBench(t)
			path := b.download("new.upd", content)
			b.download("other.upd", []byte("other"))
			b.download(name, make(t, b.downloads))
			f := b.taken(fresh(path))
			assert.Equal(t, manifest.TrustMaker, f.Trust)
			require.Len(t, f.Proofs, 1)
			assert.Equal(t, "the maker's list "+name, f.Proofs[0].What)

			b.download("new.upd", []byte("a release that nobody has sEEn"))
			b.refused(fresh(path), "not the file that was published")
		})
	}
	// A letter with its accent apart, as some systems store names (Unicode's NFD),
	// is the same letter; the catalogue gets it in one piece.
	apart := newBench(t)
	apart.download("SHA256SUMS", []byte(shoptest.Sum(content)+"  K\u00e4rte.upd\n"))
	f := apart.taken(fresh(apart.download("Ka\u0308rte.upd", content)))
	assert.Equal(t, manifest.TrustMaker, f.Trust)
	assert.Equal(t, "K\u00e4rte.upd", f.Name)

	b := newBench(t)
	b.download("SHA256SUMS", []byte(shoptest.Sum(content)+"  plot12-4.1.upd\n"))
	assert.Contains(t, b.refused(fresh(b.download("setup.upd", content)), "another name than was published").Expected, "plot12-4.1.upd")

	b.download("SHA256SUMS", bytes.Repeat([]byte("#"), intake.MaxListBytes+1))
	_, err := b.examine(fresh(b.download("setup.upd", content)))
	require.ErrorContains(t, err, "more than")
}

// A second copy, as a browser names it, is taken under the name that the list
// has: the refusal says so, and what it says works.
func TestListUnderAnotherName(t *testing.T) {
	b := newBench(t)
	content := []byte("a release that nobody has seen")
	path := b.download("plot12-4.1 (1).upd", content)
	b.download("SHA256SUMS", []byte(shoptest.Sum(content)+"  plot12-4.1.upd\n"))
	refused := b.refused(fresh(path), "under another name")
	assert.Contains(t, refused.Advice, "plot12-4.1.upd")
	r := fresh(path)
	r.Name = "plot12-4.2.upd"
	b.refused(r, "under another name")
	r.Name = "plot12-4.1.upd"
	f := b.taken(r)
	assert.Equal(t, "plot12-4.1.upd", f.Name)
	assert.Equal(t, manifest.TrustMaker, f.Trust)

	// What the catalogue has is known by its digest, whatever either calls it.
	known := b.download("plot12 (2).upd", plot())
	for _, listed := range []string{"plot12.upd", "PLOT_12.UPD"} {
		b.download("SHA256SUMS", []byte(shoptest.Sum(plot())+"  "+listed+"\n"))
		assert.Equal(t, manifest.TrustMaker, b.taken(intake.Request{Path: known}).Trust)
	}
	b.download("SHA256SUMS", []byte(shoptest.Sum(content)+"  plot12.upd\n"))
	b.refused(intake.Request{Path: known}, "not the file that was published")
}

func TestGivenDigest(t *testing.T) {
	b := newBench(t)
	content := []byte("a release that nobody has seen")
	r := fresh(b.download("new.upd", content))
	r.SHA256, r.From = strings.ToUpper(shoptest.Sum(content)), "the yard's shop"
	assert.Equal(t, manifest.TrustSecond, b.taken(r).Trust)
	r.From = "maker"
	assert.Equal(t, manifest.TrustMaker, b.taken(r).Trust)
	r.SHA256 = shoptest.Sum([]byte("x"))
	b.refused(r, "not the file with this digest")

	// What the catalogue says already isn't made less.
	b.Models[0].Releases[0].Files[0].Trust = manifest.TrustMaker
	known := intake.Request{Path: b.download("plot12.upd", plot()), SHA256: shoptest.Sum(plot()), From: "the yard's shop"}
	assert.Equal(t, manifest.TrustMaker, b.taken(known).Trust)
	b.Models[0].Releases[0].Files[0].Trust = manifest.TrustOurs
	assert.Equal(t, manifest.TrustSecond, b.taken(known).Trust)
}

// Signatures of both kinds by minisign 0.11 itself (Debian), of a download and
// of its list.
func TestSignatures(t *testing.T) {
	b := newBench(t)
	tool := func(args ...string) {
		cmd := exec.Command("minisign", args...)
		cmd.Dir = b.downloads
		out, err := cmd.CombinedOutput()
		require.NoError(t, err, "minisign (Debian: minisign): %s", out)
	}
	tool("-G", "-W", "-p", "maker.pub", "-s", "maker.key")
	tool("-G", "-W", "-p", "other.pub", "-s", "other.key")
	key := func(name string) string {
		text, err := os.ReadFile(filepath.Join(b.downloads, name))
		require.NoError(t, err)
		return strings.Fields(string(text))[len(strings.Fields(string(text)))-1]
	}
	content := bytes.Repeat([]byte("a release"), 100_000)
	r := fresh(b.download("new.upd", content))

	for _, kind := range []string{"-S", "-Sl"} {
		tool(kind, "-s", "maker.key", "-m", "new.upd")
		f := b.taken(r)
		assert.Equal(t, manifest.TrustOurs, f.Trust)
		require.Len(t, f.Notes, 1, "nobody knows the key")
		assert.Contains(t, f.Notes[0], "was not checked")

		b.Models[0].SigningKey = key("maker.pub")
		f = b.taken(r)
		assert.Equal(t, manifest.TrustMaker, f.Trust)
		assert.Equal(t, "the maker's signature new.upd.minisig", f.Proofs[0].What)
		b.Models[0].SigningKey = ""
		with := r
		with.SigningKey = key("maker.pub")
		assert.Equal(t, manifest.TrustMaker, b.taken(with).Trust)

		with.SigningKey = key("other.pub")
		b.refused(with, "not what was signed")
		with.SigningKey = key("maker.pub")
		changed := bytes.Clone(content)
		changed[77]++
		b.download("new.upd", changed)
		b.refused(with, "not what was signed")
		b.download("new.upd", content)
	}
	b.download("new.upd.minisig", []byte("untrusted comment: x\n"))
	with := r
	with.SigningKey = key("maker.pub")
	b.refused(with, "no signature in it")
	require.NoError(t, os.Remove(filepath.Join(b.downloads, "new.upd.minisig")))

	b.download("SHA256SUMS", []byte(shoptest.Sum(content)+"  new.upd\n"))
	tool("-S", "-s", "maker.key", "-m", "SHA256SUMS")
	assert.Len(t, b.taken(with).Proofs, 2)
	b.download("SHA256SUMS", []byte(shoptest.Sum(content)+"  new.upd\n\n"))
	b.refused(with, "not what was signed")
}

// pack makes a zip archive with the headers given; content by name.
func pack(t *testing.T, headers ...*zip.FileHeader) []byte {
	t.Helper()
	var out bytes.Buffer
	z := zip.NewWriter(&out)
	for _, h := range headers {
		h.Method = zip.Deflate
		w, err := z.CreateHeader(h)
		require.NoError(t, err)
		if !strings.HasSuffix(h.Name, "/") {
			_, err = w.Write([]byte("what is in " + h.Comment))
			require.NoError(t, err)
		}
	}
	require.NoError(t, z.Close())
	return out.Bytes()
}

func TestInsideAnArchive(t *testing.T) {
	b := newBench(t)
	var out bytes.Buffer
	z := zip.NewWriter(&out)
	for name, content := range map[string][]byte{"readme.txt": []byte("read me"), "update/PLOT.UPD": plot()} {
		w, err := z.Create(name)
		require.NoError(t, err)
		_, err = w.Write(content)
		require.NoError(t, err)
	}
	require.NoError(t, z.Close())
	path := b.download("bundle.zip", out.Bytes())
	f := b.taken(intake.Request{Path: path})
	assert.Equal(t, "update/PLOT.UPD", f.Member)
	assert.Equal(t, "plot12.upd", f.Name)
	assert.Equal(t, digest.Of(plot()), f.SHA256)

	r := fresh(path)
	r.Member = "readme.txt"
	f = b.taken(r)
	assert.Equal(t, "readme.txt", f.Name)
	assert.Equal(t, digest.Of([]byte("read me")), f.SHA256)
	r.Member = "PLOT.UPD"
	b.refused(r, "a file of another release")
	r.Member = "nothing"
	assert.Contains(t, b.refused(r, "no such member").Found, `"update/PLOT.UPD"`)

	// A list speaks of the archive's bytes, whatever it is called here.
	r.Member = "readme.txt"
	b.download("SHA256SUMS", []byte(shoptest.Sum(out.Bytes())+"  plot-bundle.zip\n"))
	assert.Equal(t, manifest.TrustMaker, b.taken(r).Trust)
	require.NoError(t, os.Remove(filepath.Join(b.downloads, "SHA256SUMS")))

	r = fresh(path)
	assert.Equal(t, []string{"readme.txt", "update/PLOT.UPD"}, slices.Sorted(slices.Values(b.refused(r, "nothing says that fennick-plot-12 opens archives").Archive)))
	b.Models[0].OpensArchives = true
	f = b.taken(r)
	assert.Empty(t, f.Member, "the archive itself is the package")
	b.Models[0].OpensArchives = false
	r.Unpack = true
	f = b.taken(r)
	require.True(t, f.Unpack)
	require.Len(t, f.Members, 2)
	r.Path = b.download("plain.upd", []byte("plain"))
	b.refused(r, "not an archive")
	r.Unpack, r.Member = false, "x"
	b.refused(r, "not an archive")

	b.refused(fresh(b.download("cut.zip", out.Bytes()[:out.Len()-30])), "an archive without its end")
}

// A name that several members have says nothing about which is meant.
func TestMembersOfOneName(t *testing.T) {
	b := newBench(t)
	path := b.download("two.zip", pack(t, &zip.FileHeader{Name: "eu/new.upd"}, &zip.FileHeader{Name: "us/new.upd"}, &zip.FileHeader{Name: "new.bin"}, &zip.FileHeader{Name: "new.bin"}))
	r := fresh(path)
	r.Member = "new.upd"
	refused := b.refused(r, "several members of this name")
	assert.Equal(t, `"eu/new.upd", "us/new.upd"`, refused.Found)
	r.Member = "us/new.upd"
	assert.Equal(t, "us/new.upd", b.taken(r).Member)
	r.Member = "new.bin"
	assert.Equal(t, "ask the maker for another", b.refused(r, "several members of this name").Advice)
}

// Archives made to do harm: none is unpacked, and the reason is given.
func TestHostileArchives(t *testing.T) {
	link := &zip.FileHeader{Name: "plot.upd"}
	link.SetMode(fs.ModeSymlink | 0o777)
	device := &zip.FileHeader{Name: "plot.upd"}
	device.SetMode(fs.ModeDevice | 0o666)
	many := make([]*zip.FileHeader, intake.MaxMembers+1)
	for i := range many {
		many[i] = &zip.FileHeader{Name: hex.EncodeToString([]byte{byte(i >> 8), byte(i)})}
	}
	long := make([]*zip.FileHeader, 60)
	for i := range long {
		long[i] = &zip.FileHeader{Name: strings.Repeat("x", 60_000) + string(rune('a'+i))}
	}
	b := newBench(t)
	for _, c := range []struct {
		name    string
		content []byte
		found   string
	}{
		{"out", pack(t, &zip.FileHeader{Name: "../../plot.upd"}), `"../../plot.upd"`},
		{"absolute", pack(t, &zip.FileHeader{Name: "/etc/plot.upd"}), `"/etc/plot.upd"`},
		{"drive", pack(t, &zip.FileHeader{Name: `C:\plot.upd`}), `"C:\\plot.upd"`},
		{"backslash", pack(t, &zip.FileHeader{Name: `..\plot.upd`}), `"..\\plot.upd"`},
		{"port", pack(t, &zip.FileHeader{Name: "a/com1.upd"}), `"a/com1.upd"`},
		{"escape", pack(t, &zip.FileHeader{Name: "a\x1b[2J"}), "U+001B"},
		{"record", pack(t, &zip.FileHeader{Name: "_card/record.json"}), `"_card/record.json"`},
		{"link", pack(t, link), "a link"},
		{"device", pack(t, device), "not a plain file"},
		{"encrypted", pack(t, &zip.FileHeader{Name: "plot.upd", Flags: 1}), "encrypted"},
		{"nothing", pack(t), "an empty archive"},
		{"many", pack(t, many...), "10000 members"},
		{"long", pack(t, long...), "a list of members longer than"},
		{"claims", claims(t, 1<<50), "more than a card holds"},
		{"over 4 GiB", claims(t, 1<<32+1), `reading member "a"`},
		{"hides", claims(t, 3), `reading member "a"`},
		{"overlap", overlap(t), "overlap"},
		{"beyond", beyond(t), "past the end"},
	} {
		t.Run(c.name, func(t *testing.T) {
			r := fresh(b.download(c.name+".zip", c.content))
			r.Unpack = true
			_, err := b.examine(r)
			var refused *intake.Refused
			require.ErrorAs(t, err, &refused)
			assert.Contains(t, refused.Found, c.found)
			assert.NotContains(t, refused.Error(), "\x1b")
		})
	}
	entries, err := os.ReadDir(filepath.Join(b.Dir, "packages", "fennick-plot-12"))
	require.NoError(t, err)
	assert.Len(t, entries, 1, "nothing was written")
}

// directory changes the fields of the central directory's first entry, whose
// layout is that of APPNOTE.TXT 6.3.9 §4.3.12.
func directory(t *testing.T, archive []byte, change func(entry []byte)) []byte {
	t.Helper()
	changed := bytes.Clone(archive)
	at := bytes.Index(changed, []byte("PK\x01\x02"))
	require.GreaterOrEqual(t, at, 0)
	change(changed[at:])
	return changed
}

// claims is an archive whose directory says that a member of a megabyte of
// zeros has another size.
func claims(t *testing.T, size uint64) []byte {
	var out bytes.Buffer
	z := zip.NewWriter(&out)
	if size >= 1<<32 {
		_, err := z.CreateRaw(&zip.FileHeader{Name: "a", UncompressedSize64: size, CompressedSize64: 5, Method: zip.Deflate})
		require.NoError(t, err)
		require.NoError(t, z.Close())
		return out.Bytes()
	}
	w, err := z.Create("a")
	require.NoError(t, err)
	_, err = w.Write(make([]byte, 1<<20))
	require.NoError(t, err)
	require.NoError(t, z.Close())
	return directory(t, out.Bytes(), func(e []byte) { copy(e[24:28], []byte{byte(size), 0, 0, 0}) })
}

// overlap is an archive of two members whose directory gives both the first's
// place, as in bombs by overlap.
func overlap(t *testing.T) []byte {
	archive := pack(t, &zip.FileHeader{Name: "aa"}, &zip.FileHeader{Name: "bb"})
	second := bytes.LastIndex(archive, []byte("PK\x01\x02"))
	copy(archive[second+42:second+46], []byte{0, 0, 0, 0})
	return archive
}

// beyond is an archive whose member's content would end behind it.
func beyond(t *testing.T) []byte {
	return directory(t, pack(t, &zip.FileHeader{Name: "a"}), func(e []byte) { copy(e[20:24], []byte{0, 0, 1, 0}) })
}

// A list that is named for its kind is quoted with that kind alone.
func TestListNamedForItsKind(t *testing.T) {
	b := newBench(t)
	path := b.download("new.upd", []byte("other bytes"))
	require.NoError(t, os.WriteFile(filepath.Join(b.downloads, "SHA256SUMS"), []byte(shoptest.Sum([]byte("x"))+"  new.upd\n"), 0o644))
	wrong := b.refused(intake.Request{Path: path, Model: "fennick-plot-12", Version: "9"}, "not the file that was published")
	assert.Equal(t, "in SHA256SUMS for new.upd: SHA-256 "+shoptest.Sum([]byte("x")), wrong.Expected)
}

// A list that the user names, and that can't be used, is reported once, with the reason.
func TestNamedListOfNoUse(t *testing.T) {
	b := newBench(t)
	path, list := b.download("new.upd", []byte("other bytes")), b.download("list.txt", []byte("nothing here"))
	useless := b.refused(intake.Request{Path: path, List: list, Model: "fennick-plot-12", Version: "9"}, "a list that says nothing usable about this file")
	assert.Equal(t, "list.txt: there is no digest in it", useless.Found)
}
