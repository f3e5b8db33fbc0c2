package media_test

import (
	"bytes"
	"encoding/binary"
	"errors"
	"io"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"cardwright/manifest/digest"
	"cardwright/manifest/version"
	"cardwright/media"
	"cardwright/media/mediatest"
	"cardwright/media/mediatest/shoptest"
)

// source is where a file of the catalogue comes from.
func source(f shoptest.File, member string) media.Source {
	return media.Source{
		Model: "fennick-plot-12", Version: "4.0-12", Member: member,
		File: digest.File{Name: f.Name, Size: int64(len(f.Content)), SHA256: digest.Of(f.Content)},
	}
}

// onePackage is a folder of packages with one file at this path below it.
func onePackage(t testing.TB, path string, content []byte) media.Packages {
	dir := t.TempDir()
	put(t, dir, path, content)
	return media.Packages{Dir: dir}
}

func packageError(t testing.TB, err error) *media.PackageError {
	var e *media.PackageError
	require.ErrorAs(t, err, &e)
	return e
}

// A package is found in its release's folder first, else right in the folder
// of packages, where it is taken if its size is right.
func TestPackagesAreFound(t *testing.T) {
	f := shoptest.Make("a/plot12.upd", 1000, 1)
	own, plain := "fennick-plot-12/4.0-12/a/plot12.upd", "a/plot12.upd"
	for _, at := range []string{own, plain} {
		p := onePackage(t, at, f.Content)
		path, err := p.Find(source(f, ""))
		require.NoError(t, err)
		assert.Equal(t, filepath.Join(p.Dir, at), path)
		assert.NoError(t, p.Check(source(f, ""), nil))
	}
	p := onePackage(t, plain, f.Content)
	put(t, p.Dir, own, f.Content[1:]) // half downloaded
	path, err := p.Find(source(f, ""))
	require.NoError(t, err)
	assert.Equal(t, filepath.Join(p.Dir, plain), path)
}

// A version with an epoch has a folder too: FAT and some systems allow no
// colon in names.
func TestPackagesOfAVersionWithAnEpoch(t *testing.T) {
	f := shoptest.Make("plot12.upd", 10, 1)
	s := source(f, "")
	s.Version = version.V("1:4.0")
	_, err := onePackage(t, "fennick-plot-12/1_4.0/plot12.upd", f.Content).Find(s)
	assert.NoError(t, err)
}

func TestPackagesThatAreMissing(t *testing.T) {
	p := media.Packages{Dir: t.TempDir()}
	f := shoptest.Make("plot12.upd", 1_000_000, 1)
	_, err := p.Find(source(f, ""))
	e := packageError(t, err)
	assert.Equal(t, filepath.Join(p.Dir, "fennick-plot-12/4.0-12/plot12.upd"), e.Path)
	assert.Equal(t, "no such file", e.Found)
	assert.Equal(t, "a file of 1.0 MB (1,000,000 bytes)", e.Expected)
	_, err = p.Open(source(f, ""))
	assert.Equal(t, e, packageError(t, err))
	assert.Equal(t, e, packageError(t, p.Check(source(f, ""), nil)))
}

func TestPackagesOfTheWrongSize(t *testing.T) {
	f := shoptest.Make("plot12.upd", 1000, 1)
	for _, content := range [][]byte{f.Content[:999], append(f.Content[:1000:1000], 0), nil} {
		p := onePackage(t, "plot12.upd", content)
		_, err := p.Find(source(f, ""))
		e := packageError(t, err)
		assert.Equal(t, filepath.Join(p.Dir, "plot12.upd"), e.Path)
		assert.Equal(t, media.Bytes(int64(len(content))), e.Found)
		assert.Equal(t, "1,000 bytes", e.Expected)
	}
	p := media.Packages{Dir: t.TempDir()}
	require.NoError(t, os.Mkdir(filepath.Join(p.Dir, "plot12.upd"), 0o755))
	_, err := p.Find(source(f, ""))
	assert.Contains(t, packageError(t, err).Found, "isn't a plain file")
}

// Another digest is reported with both digests and where the package is,
// whether it is checked, written to a card or to a folder.
func TestPackagesOfAnotherDigest(t *testing.T) {
	shop := shoptest.Kittiwake(t, t.TempDir())
	path := filepath.Join(shop.Dir, "packages/fennick-plot-12/4.0-12/plot12.upd")
	right, err := os.ReadFile(path)
	require.NoError(t, err)
	wrong := bytes.Clone(right)
	wrong[len(wrong)-1] ^= 1
	require.NoError(t, os.WriteFile(path, wrong, 0o644))
	job := shop.Job(1)
	told := func(err error) {
		e := packageError(t, err)
		assert.Equal(t, path, e.Path)
		assert.Equal(t, "SHA-256 "+shoptest.Sum(right), e.Expected)
		assert.Equal(t, "SHA-256 "+shoptest.Sum(wrong), e.Found)
	}
	read := 0
	told(job.Packages.Check(job.Card.Files[0].Source, func(n int) { read += n }))
	assert.Equal(t, len(wrong), read)
	told(write(t, job, mediatest.NewMemory(shoptest.Small)).Err)
	told(job.WriteFolder(t.Context(), media.FolderTarget{Dir: t.TempDir(), Judge: accept}).Err)
}

// A package that changes between finding and reading it is reported as well.
func TestPackagesThatChangeMeanwhile(t *testing.T) {
	for name, size := range map[string]int64{"shorter": 1000, "longer": 5 << 20} {
		shop := shoptest.Kittiwake(t, t.TempDir())
		path := filepath.Join(shop.Dir, "packages/fennick-plot-12/4.0-12/plot12.upd")
		right, err := os.Stat(path)
		require.NoError(t, err)
		job := shop.Job(1)
		for i, f := range job.Card.Files { // the catalogue says another size by now
			if f.Path == "01-flybridge/plot12.upd" {
				require.NoError(t, os.Truncate(path, size))
				job.Card.Files[i].Source.Size = size
			}
		}
		e := packageError(t, write(t, job, mediatest.NewMemory(shoptest.Small)).Err)
		assert.Equal(t, path, e.Path, name)
		assert.Equal(t, media.Bytes(right.Size()), e.Expected, name)
	}
}

// A zip archive's members go on the card, read by an archive made by zip, and
// not by the library that reads it.
func TestMembersOfAnArchive(t *testing.T) {
	dir := t.TempDir()
	a, b := shoptest.Make("course/main.bin", 3_000_000, 1), shoptest.Make("course/b c.bin", 0, 1)
	put(t, dir, a.Name, a.Content)
	put(t, dir, b.Name, b.Content)
	for _, level := range []string{"-0", "-9"} {
		archive := filepath.Join(dir, "course"+level+".zip")
		run(t, "sh", "-c", "cd "+dir+" && zip -q -r "+level+" "+archive+" course")
		content, err := os.ReadFile(archive)
		require.NoError(t, err)
		f := shoptest.File{Name: "course" + level + ".zip", Content: content}
		for _, member := range []shoptest.File{a, b} {
			in, err := media.Packages{Dir: dir}.Open(source(f, member.Name))
			require.NoError(t, err)
			got, err := io.ReadAll(in)
			require.NoError(t, err)
			assert.True(t, bytes.Equal(member.Content, got))
			assert.NoError(t, in.Close())
		}
		for _, no := range []string{"course/none.bin", "../course/main.bin", "/course/main.bin"} {
			_, err := media.Packages{Dir: dir}.Open(source(f, no))
			assert.Contains(t, packageError(t, err).Expected, no)
		}
	}
}

// No archive, however damaged, is anything but an error, and none makes a
// card.
func TestDamagedArchives(t *testing.T) {
	whole := shoptest.Archive(t, "course.zip", shoptest.Make("main.bin", 100_000, 1)).Content
	for at := range whole {
		if at > 100 && at < len(whole)-200 && at%5000 != 0 {
			continue
		}
		damaged := bytes.Clone(whole)
		damaged[at] ^= 0x41
		f := shoptest.File{Name: "course.zip", Content: damaged}
		in, err := onePackage(t, "course.zip", damaged).Open(source(f, "main.bin"))
		if err != nil {
			continue
		}
		got, err := io.ReadAll(io.LimitReader(in, 1<<20))
		in.Close()
		if err == nil { // what isn't part of the member may be damaged
			assert.True(t, bytes.Equal(shoptest.Make("main.bin", 100_000, 1).Content, got), "byte %d", at)
		}
	}
	for _, content := range [][]byte{nil, {0}, []byte("no archive"), whole[:len(whole)-1], whole[:1000]} {
		f := shoptest.File{Name: "course.zip", Content: content}
		_, err := onePackage(t, "course.zip", content).Open(source(f, "main.bin"))
		assert.Equal(t, "a zip archive", packageError(t, err).Expected)
	}
}

// An archive's list of members may not take memory without bound.
func TestArchivesOfTooManyMembers(t *testing.T) {
	const members = 500_000
	entry := make([]byte, 46, 47)
	copy(entry, "PK\x01\x02")
	entry[28] = 1 // one byte of name
	list := bytes.Repeat(append(entry, 'a'), members)
	end := make([]byte, 22)
	copy(end, "PK\x05\x06")
	binary.LittleEndian.PutUint16(end[8:], members&0xFFFF)
	binary.LittleEndian.PutUint16(end[10:], members&0xFFFF)
	binary.LittleEndian.PutUint32(end[12:], uint32(len(list)))
	planted := shoptest.File{Name: "course.zip", Content: append(list, end...)}
	p := onePackage(t, "course.zip", planted.Content)
	before := allocated()
	_, err := p.Open(source(planted, "b"))
	assert.Contains(t, packageError(t, err).Found, "a list of members longer than")
	assert.Less(t, allocated()-before, uint64(20<<20))
}

// What can't be opened is an error that isn't about the package.
func TestPackagesThatCannotBeRead(t *testing.T) {
	file := filepath.Join(t.TempDir(), "packages")
	require.NoError(t, os.WriteFile(file, nil, 0o600))
	_, err := media.Packages{Dir: file}.Find(source(shoptest.Make("a", 1, 1), ""))
	require.Error(t, err)
	assert.False(t, errors.As(err, new(*media.PackageError)))
	assert.ErrorContains(t, err, "finding package a: ")
}

// A repair uses the right bytes, wherever they are: a package that went bad in the
// shop's folder doesn't stop a card that has it whole.
func TestElseStandsInForWrongBytesOfTheRightSize(t *testing.T) {
	f := shoptest.Make("a/plot12.upd", 1000, 1)
	bad := bytes.Clone(f.Content)
	bad[500] ^= 1
	for name, inFolder := range map[string][]byte{"wrong": bad, "short": bad[1:], "right": f.Content} {
		asked := false
		p := onePackage(t, "a/plot12.upd", inFolder)
		p.Else = func(media.Source) func() (io.ReadCloser, error) {
			return func() (io.ReadCloser, error) {
				asked = true
				return io.NopCloser(bytes.NewReader(f.Content)), nil
			}
		}
		r, err := p.Open(source(f, ""))
		require.NoError(t, err, name)
		got, err := io.ReadAll(r)
		require.NoError(t, err)
		require.NoError(t, r.Close())
		assert.Equal(t, f.Content, got, name)
		assert.Equal(t, name != "right", asked, "%s: the shop's own goes first", name)
	}
	p := onePackage(t, "a/plot12.upd", bad)
	p.Else = func(media.Source) func() (io.ReadCloser, error) { return nil }
	r, err := p.Open(source(f, ""))
	require.NoError(t, err)
	got, err := io.ReadAll(r)
	require.NoError(t, err)
	assert.Equal(t, bad, got, "told by whoever hashes it: there is nothing else")
	require.NoError(t, r.Close())
}
