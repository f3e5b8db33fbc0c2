package drive_test

import (
	"bufio"
	"encoding/binary"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"testing"
	"testing/iotest"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"cardwright/media/drive"
)

// medium is what package media writes cards to.
type medium interface {
	io.ReaderAt
	io.WriterAt
	Bytes() int64
	Sync() error
	Forget() error
}

var (
	_ medium = (*drive.Drive)(nil)
	_ medium = (*drive.Image)(nil)
)

// pattern is n bytes, no 8 of which are like any other 8 on such a boundary.
func pattern(n int) []byte {
	p := make([]byte, 0, n+8)
	for i := uint64(1); len(p) < n; i++ {
		p = binary.BigEndian.AppendUint64(p, i*0x9E3779B97F4A7C15) // odd, so that no two are alike
	}
	return p[:n]
}

func names(t *testing.T, folder string) []string {
	t.Helper()
	entries, err := os.ReadDir(folder)
	require.NoError(t, err)
	var all []string
	for _, e := range entries {
		all = append(all, e.Name())
	}
	return all
}

func TestImageAppearsWholeOrNotAtAll(t *testing.T) {
	folder := t.TempDir()
	path := filepath.Join(folder, "kittiwake.img")
	require.NoError(t, os.WriteFile(path, []byte("an earlier image"), 0o600))
	want := pattern(1024)

	img, err := drive.CreateImage(path, int64(len(want)))
	require.NoError(t, err)
	_, err = img.WriteAt(want[:700], 0)
	require.NoError(t, err)
	_, err = img.WriteAt(want[700:], 700)
	require.NoError(t, err)
	require.NoError(t, img.Sync())
	require.NoError(t, img.Forget())
	require.NoError(t, iotest.TestReader(io.NewSectionReader(img, 0, img.Bytes()), want))

	got, err := os.ReadFile(path)
	require.NoError(t, err)
	assert.Equal(t, "an earlier image", string(got), "the earlier image stands until Commit")

	require.NoError(t, img.Commit())
	require.NoError(t, img.Abandon(), "after Commit there is nothing to abandon")
	got, err = os.ReadFile(path)
	require.NoError(t, err)
	assert.Equal(t, want, got)
	assert.Equal(t, []string{"kittiwake.img"}, names(t, folder))
	assert.Error(t, img.Commit())
}

func TestAbandonedImageLeavesNothing(t *testing.T) {
	folder := t.TempDir()
	for _, give := range []func(*drive.Image) error{(*drive.Image).Abandon, (*drive.Image).Close} {
		img, err := drive.CreateImage(filepath.Join(folder, "a.img"), 4096)
		require.NoError(t, err)
		require.Len(t, names(t, folder), 1)
		require.NoError(t, give(img))
		assert.Empty(t, names(t, folder))
	}
}

func TestNewImageIsBlankAndSparse(t *testing.T) {
	path := filepath.Join(t.TempDir(), "big.img")
	img, err := drive.CreateImage(path, 8_000_000_000/512*512)
	require.NoError(t, err)
	defer img.Close()
	p := make([]byte, 5000)
	_, err = img.ReadAt(p, 7_000_000_001)
	require.NoError(t, err)
	assert.Equal(t, make([]byte, 5000), p)
}

func TestImageThroughALinkKeepsTheLink(t *testing.T) {
	folder := t.TempDir()
	file, link := filepath.Join(folder, "card.img"), filepath.Join(folder, "link.img")
	require.NoError(t, os.WriteFile(file, []byte("old"), 0o600))
	require.NoError(t, os.Symlink(file, link))
	img, err := drive.CreateImage(link, 512)
	require.NoError(t, err)
	require.NoError(t, img.Commit())
	info, err := os.Lstat(link)
	require.NoError(t, err)
	assert.NotZero(t, info.Mode()&os.ModeSymlink)
	info, err = os.Stat(file)
	require.NoError(t, err)
	assert.EqualValues(t, 512, info.Size())
}

func TestImageRefusals(t *testing.T) {
	folder := t.TempDir()
	short := filepath.Join(folder, "short.img")
	require.NoError(t, os.WriteFile(short, make([]byte, 511), 0o600))

	_, err := drive.OpenImage(folder)
	require.ErrorIs(t, err, drive.ErrNotImage)
	assert.ErrorContains(t, err, "a folder")
	_, err = drive.OpenImage(short)
	require.ErrorIs(t, err, drive.ErrNotImage)
	_, err = drive.OpenImage(filepath.Join(folder, "none.img"))
	require.ErrorIs(t, err, drive.ErrMissing)
	_, err = drive.CreateImage(filepath.Join(folder, "none", "a.img"), 512)
	require.ErrorIs(t, err, drive.ErrMissing)
	_, err = drive.CreateImage(folder, 512)
	require.ErrorIs(t, err, drive.ErrNotImage)
	for _, size := range []int64{0, -512, 513} {
		_, err = drive.CreateImage(filepath.Join(folder, "a.img"), size)
		assert.ErrorContains(t, err, "sectors")
	}
	assert.Equal(t, []string{"short.img"}, names(t, folder))
}

func TestOpenedImageIsNeverWritten(t *testing.T) {
	path := filepath.Join(t.TempDir(), "a.img")
	want := pattern(1_100) // not a whole number of sectors
	require.NoError(t, os.WriteFile(path, want, 0o600))
	before, err := os.Stat(path)
	require.NoError(t, err)

	img, err := drive.OpenImage(path)
	require.NoError(t, err)
	assert.EqualValues(t, 2*512, img.Bytes())
	require.NoError(t, iotest.TestReader(io.NewSectionReader(img, 0, img.Bytes()), want[:2*512]))
	_, err = img.WriteAt(want, 0)
	require.ErrorIs(t, err, drive.ErrReadOnly)
	require.NoError(t, img.Sync())
	require.NoError(t, img.Forget())
	require.Error(t, img.Commit())
	require.NoError(t, img.Close())

	after, err := os.Stat(path)
	require.NoError(t, err)
	assert.Equal(t, before.ModTime(), after.ModTime())
	got, err := os.ReadFile(path)
	require.NoError(t, err)
	assert.Equal(t, want, got)
}

func TestReadAndWriteKeepWithinTheImage(t *testing.T) {
	img, err := drive.CreateImage(filepath.Join(t.TempDir(), "a.img"), 1024)
	require.NoError(t, err)
	defer img.Close()
	p := make([]byte, 100)
	n, err := img.ReadAt(p, 1000)
	assert.Equal(t, 24, n)
	assert.Equal(t, io.EOF, err)
	_, err = img.ReadAt(p, 1024)
	assert.Equal(t, io.EOF, err)
	_, err = img.ReadAt(p, -1)
	assert.Error(t, err)
	for _, off := range []int64{-1, 925, 1025, 1 << 62} {
		_, err = img.WriteAt(p, off)
		assert.ErrorIs(t, err, drive.ErrOutside, "at %d", off)
	}
}

// An image cut short while in use is distinguished from one that ended there.
func TestImageCutShortIsTold(t *testing.T) {
	path := filepath.Join(t.TempDir(), "a.img")
	require.NoError(t, os.WriteFile(path, pattern(1<<20), 0o600))
	img, err := drive.OpenImage(path)
	require.NoError(t, err)
	defer img.Close()
	require.NoError(t, os.Truncate(path, 1000))
	n, err := img.ReadAt(make([]byte, 1<<20), 0)
	assert.LessOrEqual(t, n, 1000)
	require.ErrorIs(t, err, drive.ErrShrunk)
	assert.ErrorContains(t, err, "holds 1000 bytes now, and 1048576")
}

// The writer in another process that TestKilledWriter kills.
func TestMain(m *testing.M) {
	if path := os.Getenv("CARDWRIGHT_TEST_WRITE_IMAGE"); path != "" {
		img, err := drive.CreateImage(path, 1<<20)
		if err == nil {
			_, err = img.WriteAt(pattern(4096), 0)
		}
		fmt.Println("written:", err)
		_, _ = io.Copy(io.Discard, os.Stdin) // until killed
		os.Exit(1)
	}
	os.Exit(m.Run())
}

func TestKilledWriterLeavesNoImageAndIsTidiedUp(t *testing.T) {
	folder := t.TempDir()
	path := filepath.Join(folder, "morven.img")
	require.NoError(t, os.WriteFile(path, []byte("an earlier image"), 0o600))
	strangers := []string{".morven.img.unfinished-", ".morven.img.unfinished-0000000g", ".skerry.img.unfinished-00000000"}
	for _, name := range strangers {
		require.NoError(t, os.WriteFile(filepath.Join(folder, name), nil, 0o600))
	}

	writer := exec.CommandContext(t.Context(), os.Args[0])
	writer.Env = append(os.Environ(), "CARDWRIGHT_TEST_WRITE_IMAGE="+path)
	_, err := writer.StdinPipe()
	require.NoError(t, err)
	out, err := writer.StdoutPipe()
	require.NoError(t, err)
	require.NoError(t, writer.Start())
	line, err := bufio.NewReader(out).ReadString('\n')
	require.NoError(t, err)
	require.Equal(t, "written: <nil>\n", line)

	_, err = drive.CreateImage(path, 1<<20)
	require.ErrorIs(t, err, drive.ErrBusy, "another run is writing it")

	require.NoError(t, writer.Process.Kill())
	_ = writer.Wait()
	assert.Len(t, names(t, folder), 1+len(strangers)+1, "what it had written is left")
	got, err := os.ReadFile(path)
	require.NoError(t, err)
	assert.Equal(t, "an earlier image", string(got))

	img, err := drive.CreateImage(path, 1<<20)
	require.NoError(t, err)
	require.NoError(t, img.Abandon())
	assert.ElementsMatch(t, append(strangers, "morven.img"), names(t, folder), "only what is ours was removed")
}
