package fat32

import (
	"crypto/sha256"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"regexp"
	"runtime"
	"strconv"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"cardwright/media/mediatest"
)

// recorder keeps what is written where, and passes it on.
type recorder struct {
	io.WriterAt
	writes []Extent
}

func (r *recorder) WriteAt(p []byte, off int64) (int, error) {
	r.writes = append(r.writes, Extent{off, int64(len(p))})
	return r.WriterAt.WriteAt(p, off)
}

func TestStructuresAscendAndSpareTheBootSectors(t *testing.T) {
	for _, files := range [][]File{nil, demoFiles(), manyFiles(5000), {aFile("a", mostFileBytes), aFile("b", mostFileBytes), aFile("c/d", mostFileBytes)}} {
		l, err := Lay(spec(nominal(32), files...))
		require.NoError(t, err)
		r := &recorder{WriterAt: nowhere{}}
		require.NoError(t, l.WriteStructures(r))
		end := l.geo.PartitionOffset() + sectorSize
		for _, w := range r.writes {
			require.GreaterOrEqual(t, w.Offset, end, "ascending, nothing twice")
			require.LessOrEqual(t, w.Length, int64(1<<20))
			require.Zero(t, w.Offset%sectorSize, "whole sectors")
			require.Zero(t, w.Length%sectorSize)
			end = w.Offset + w.Length
			for _, b := range l.Boot() {
				require.False(t, w.Offset < b.Offset+sectorSize && b.Offset < end, "%s at %d", b.What, b.Offset)
			}
		}
		require.Equal(t, []Extent{{0, l.geo.DataOffset()}}, l.Blank())
		for _, f := range l.Files() {
			if f.Size > 0 {
				require.Equal(t, end, f.Offset, "folders and then files, without a gap")
				end += f.Padded()
			}
		}
		require.Equal(t, end, l.geo.DataOffset()+l.geo.UsedBytes())
	}
}

func TestFilesThatAreEmptyHaveNoPlace(t *testing.T) {
	l, err := Lay(spec(nominal(4), aFile("a", 0), aFile("b", 1), aFile("c", 4096), aFile("d", 4097)))
	require.NoError(t, err)
	base := l.geo.ClusterOffset(3)
	for i, want := range []Placed{
		{File: aFile("a", 0), cluster: 4096},
		{aFile("b", 1), base, 1, 4096},
		{aFile("c", 4096), base + 4096, 1, 4096},
		{aFile("d", 4097), base + 2*4096, 2, 4096},
	} {
		assert.Equal(t, want, l.Files()[i])
	}
	assert.EqualValues(t, 0, l.Files()[0].Padded())
	assert.EqualValues(t, 8192, l.Files()[3].Padded())
	assert.EqualValues(t, 5*4096, l.Geometry().UsedBytes())
}

// mtools judges each step: before the boot sector there is no file system to
// be found, before the partition table no partition.
func TestNoFileSystemBeforeTheLastWrites(t *testing.T) {
	l, err := Lay(spec(leastCardBytes, demoFiles()...))
	require.NoError(t, err)
	card := t.TempDir() + "/card.img"
	require.NoError(t, os.WriteFile(card, nil, 0o600))
	require.NoError(t, os.Truncate(card, leastCardBytes))
	f, err := os.OpenFile(card, os.O_RDWR, 0)
	require.NoError(t, err)
	defer f.Close()
	require.NoError(t, l.WriteStructures(f))
	put := func(i int, what string) {
		b := l.Boot()[i]
		assert.Equal(t, what, b.What)
		_, err := f.WriteAt(b.Data, b.Offset)
		require.NoError(t, err)
	}
	listed := func() bool { return exec.Command(mdir, "-i", mtoolsImage(card), "::/").Run() == nil }
	parted := func() bool { return exec.Command(sfdisk, "-d", card).Run() == nil }

	assert.False(t, listed())
	put(0, "backup boot sector")
	assert.False(t, listed())
	put(1, "boot sector")
	assert.True(t, listed())
	assert.False(t, parted())
	put(2, "partition table")
	assert.True(t, parted())
	require.Len(t, l.Boot(), 3)
}

// Through the overlay the judged card reads as the finished one, however it is
// read.
func TestOverlayIsTheFinishedCard(t *testing.T) {
	l, err := Lay(spec(leastCardBytes, demoFiles()...))
	require.NoError(t, err)
	bare, finished := mediatest.NewMemory(leastCardBytes), mediatest.NewMemory(leastCardBytes)
	require.NoError(t, l.WriteStructures(bare))
	require.NoError(t, l.WriteStructures(finished))
	for _, b := range l.Boot() {
		_, err := finished.WriteAt(b.Data, b.Offset)
		require.NoError(t, err)
	}
	judged := l.Overlay(bare)
	rapid.Check(t, func(t *rapid.T) {
		near := rapid.SampledFrom([]int64{0, 512, boundary, boundary + 6*sectorSize, leastCardBytes}).Draw(t, "near")
		off := max(0, near+rapid.Int64Range(-2000, 2000).Draw(t, "by"))
		want, got := make([]byte, rapid.IntRange(0, 6000).Draw(t, "length")), make([]byte, 6000)
		n, wantErr := finished.ReadAt(want, off)
		m, gotErr := judged.ReadAt(got[:len(want)], off)
		require.Equal(t, wantErr, gotErr)
		require.Equal(t, want[:n], got[:m])
	})
	whole := sha256.New()
	_, err = io.Copy(whole, io.NewSectionReader(judged, 0, leastCardBytes))
	require.NoError(t, err)
	same := sha256.New()
	_, err = io.Copy(same, io.NewSectionReader(finished, 0, leastCardBytes))
	require.NoError(t, err)
	assert.Equal(t, same.Sum(nil), whole.Sum(nil))
}

// What couldn't be read is not made good by what is laid over it.
func TestOverlayKeepsReadErrors(t *testing.T) {
	l, err := Lay(spec(leastCardBytes, demoFiles()...))
	require.NoError(t, err)
	broken := errors.New("broken")
	p := make([]byte, sectorSize)
	n, err := l.Overlay(mediatest.ReadError(mediatest.NewMemory(leastCardBytes), 100, broken)).ReadAt(p, 0)
	assert.Equal(t, 100, n)
	require.ErrorIs(t, err, broken)
	assert.Equal(t, make([]byte, sectorSize), p, "nothing past what was read")
}

func TestEveryFailedWriteIsTold(t *testing.T) {
	l, err := Lay(spec(nominal(4), demoFiles()...))
	require.NoError(t, err)
	r := &recorder{WriterAt: mediatest.NewMemory(nominal(4))}
	require.NoError(t, l.WriteStructures(r))
	for n := range r.writes {
		err := l.WriteStructures(mediatest.PowerCut(mediatest.NewMemory(nominal(4)), n+1))
		require.ErrorIs(t, err, mediatest.ErrPower)
		assert.Regexp(t, `^writing (FSInfo|backup FSInfo|first FAT|second FAT|folders): `, err.Error())
	}
}

// The digest by its definition, from a card's bytes; which clusters are a
// folder's is shown by mtools.
func TestDigestByItsDefinition(t *testing.T) {
	for _, files := range [][]File{nil, demoFiles(), manyFiles(300)} {
		card, l := image(t, spec(nominal(4), files...))
		f, err := os.Open(card)
		require.NoError(t, err)
		defer f.Close()
		h := sha256.New()
		fmt.Fprintf(h, "%d\n", nominal(4))
		copyRange(t, h, f, 0, l.geo.FATOffset(1)+int64(l.geo.FATSectors)*sectorSize)
		for _, d := range l.folders {
			first, last := clustersByMtools(t, card, d)
			copyRange(t, h, f, l.geo.ClusterOffset(first), int64(last-first+1)*l.geo.clusterBytes())
		}
		for i, file := range files {
			if file.Size > 0 {
				sum := sumOf(t, i, file.Size)
				h.Write(sum[:])
			}
		}
		got := l.Digest(func(i int) [32]byte {
			require.NotZero(t, files[i].Size, "an empty file has no digest")
			return sumOf(t, i, files[i].Size)
		})
		assert.Equal(t, h.Sum(nil), got[:])
	}
}

func copyRange(t testing.TB, w io.Writer, r io.ReaderAt, off, length int64) {
	n, err := io.Copy(w, io.NewSectionReader(r, off, length))
	require.NoError(t, err)
	require.Equal(t, length, n)
}

// clustersByMtools asks which clusters a folder has; they are in one piece.
// mshowfat can't tell the root's: it is found by the first folder's.
func clustersByMtools(t testing.TB, card string, d *folder) (first, last uint32) {
	if d.parent == nil {
		return rootCluster, rootCluster + d.count - 1
	}
	out := run(t, mshowfat, "-i", mtoolsImage(card), "::/"+d.path)
	m := regexp.MustCompile(`<(\d+)(?:-(\d+))?>`).FindAllStringSubmatch(out, -1)
	require.Len(t, m, 1, out)
	number := func(s string) uint32 {
		n, err := strconv.ParseUint(s, 10, 32)
		require.NoError(t, err)
		return uint32(n)
	}
	if m[0][2] == "" {
		return number(m[0][1]), number(m[0][1])
	}
	return number(m[0][1]), number(m[0][2])
}

func TestDigestTellsCardsApart(t *testing.T) {
	digest := func(change func(*Spec), sum byte) [32]byte {
		s := spec(nominal(4), aFile("a/b", 10), aFile("empty", 0))
		change(&s)
		l, err := Lay(s)
		require.NoError(t, err)
		return l.Digest(func(int) [32]byte { return [32]byte{sum} })
	}
	base := digest(func(*Spec) {}, 1)
	assert.Equal(t, base, digest(func(*Spec) {}, 1))
	assert.NotEqual(t, base, digest(func(*Spec) {}, 2), "a file's bytes")
	for what, change := range map[string]func(*Spec){
		"size":  func(s *Spec) { s.Bytes += sectorSize },
		"label": func(s *Spec) { s.Label = "SKERRY" },
		"id":    func(s *Spec) { s.VolumeID++ },
		"time":  func(s *Spec) { s.Files[0].Modified = made.AddDate(0, 0, 1) },
		"made":  func(s *Spec) { s.Made = made.AddDate(0, 0, 1) },
		"name":  func(s *Spec) { s.Files[0].Path = "a/c" },
		"empty": func(s *Spec) { s.Files = s.Files[:1] },
		"order": func(s *Spec) { s.Files[0], s.Files[1] = s.Files[1], s.Files[0] },
	} {
		assert.NotEqual(t, base, digest(change, 1), what)
	}
}

// A disk without a signature is given one by some computers that only look at
// it, so there always is one.
func TestDiskSignatureIsNeverZero(t *testing.T) {
	for _, id := range []uint32{0, 1, 1<<32 - 1} {
		l, err := Lay(Spec{Bytes: nominal(4), VolumeID: id})
		require.NoError(t, err)
		assert.NotZero(t, l.diskSignature())
	}
}

func manyFiles(n int) []File {
	files := make([]File, n)
	for i := range files {
		files[i] = aFile(fmt.Sprintf("01-flybridge/charts/region %d/cell number %d.dat", i%7, i), 16<<10)
	}
	return files
}

// Nothing that grows with the payload is held: a card of 28 GB takes no more
// memory than one of seven bytes.
func TestMemoryDoesNotGrowWithThePayload(t *testing.T) {
	taken := func(size int64) uint64 {
		var files []File
		for i := range 7 {
			files = append(files, aFile(fmt.Sprint(i), size))
		}
		var before, after runtime.MemStats
		runtime.ReadMemStats(&before)
		l, err := Lay(spec(nominal(32), files...))
		require.NoError(t, err)
		require.NoError(t, l.WriteStructures(nowhere{}))
		l.Digest(func(int) [32]byte { return [32]byte{} })
		runtime.ReadMemStats(&after)
		return after.TotalAlloc - before.TotalAlloc
	}
	small, large := taken(1), taken(mostFileBytes)
	assert.InDelta(t, small, large, 64<<10)
	assert.Less(t, large, uint64(2*mostWrite))
}

// nowhere takes all writes.
type nowhere struct{}

func (nowhere) WriteAt(p []byte, _ int64) (int, error) { return len(p), nil }

func BenchmarkLay(b *testing.B) {
	files := manyFiles(5000)
	for b.Loop() {
		if _, err := Lay(spec(nominal(4), files...)); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkLayAndStructures(b *testing.B) {
	files := manyFiles(5000)
	for b.Loop() {
		l, err := Lay(spec(nominal(4), files...))
		if err != nil {
			b.Fatal(err)
		}
		if err := l.WriteStructures(nowhere{}); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkStructuresOf32GB(b *testing.B) {
	var files []File
	for i := range 7 {
		files = append(files, aFile(fmt.Sprint(i), mostFileBytes))
	}
	l, err := Lay(spec(nominal(32), files...))
	if err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		if err := l.WriteStructures(nowhere{}); err != nil {
			b.Fatal(err)
		}
	}
}
