package drive_test

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"testing/iotest"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"golang.org/x/sys/unix"
	"pgregory.net/rapid"

	"cardwright/media/drive"
	"cardwright/media/mediatest"
)

// run runs a tool of the system: util-linux or e2fsprogs, as root.
func run(t *testing.T, name string, args ...string) string {
	t.Helper()
	var complaint bytes.Buffer
	cmd := exec.CommandContext(t.Context(), name, args...)
	cmd.Stderr = &complaint
	out, err := cmd.Output()
	require.NoError(t, err, "%s %v: %s\nThese tests use real loop drives: run them as root, with util-linux and e2fsprogs installed.",
		name, args, &complaint)
	return strings.TrimSpace(string(out))
}

// loop makes a loop drive of a new backing file.
func loop(t *testing.T, content []byte, options ...string) (path, backing string) {
	t.Helper()
	backing = filepath.Join(t.TempDir(), "backing")
	require.NoError(t, os.WriteFile(backing, content, 0o600))
	return loopOf(t, backing, options...), backing
}

func loopOf(t *testing.T, backing string, options ...string) string {
	t.Helper()
	path := run(t, "losetup", append(options, "-f", "--show", backing)...)
	over := mediatest.LoopFile(path)
	t.Cleanup(func() {
		if mediatest.LoopFile(path) == over { // else the test gave it back, and somebody else has it now
			_ = exec.Command("losetup", "-d", path).Run()
		}
	})
	return path
}

func mount(t *testing.T, args ...string) (folder string) {
	t.Helper()
	folder = t.TempDir()
	run(t, "mount", append(args, folder)...)
	t.Cleanup(func() { _ = exec.Command("umount", folder).Run() })
	return folder
}

func open(t *testing.T, path string, forWriting bool) *drive.Drive {
	t.Helper()
	d, err := drive.OpenDrive(path, forWriting)
	require.NoError(t, err)
	t.Cleanup(func() { _ = d.Close() })
	return d
}

// Judge: blockdev of util-linux.
func TestDriveIsMeasured(t *testing.T) {
	for _, sector := range []string{"512", "4096"} {
		path, _ := loop(t, make([]byte, 3<<20+4096), "--sector-size", sector)
		d := open(t, path, false)
		assert.Equal(t, run(t, "blockdev", "--getsize64", path), strconv.FormatInt(d.Bytes(), 10))
		assert.Equal(t, run(t, "blockdev", "--getss", path), strconv.Itoa(d.SectorBytes()))
		assert.Equal(t, path, d.Path())
		assert.True(t, d.FromMedium())
		assert.Equal(t, "read past the system's cache", d.HowRead())
	}
}

func TestWriterHoldsTheDriveAlone(t *testing.T) {
	path, _ := loop(t, make([]byte, 1<<20))
	first := open(t, path, true)
	_, err := drive.OpenDrive(path, true)
	require.ErrorIs(t, err, drive.ErrBusy)
	assert.ErrorContains(t, err, "unmount")
	open(t, path, false)
	require.NoError(t, first.Close())
	require.NoError(t, first.Close())
	open(t, path, true)
}

func TestMountedDriveIsRefused(t *testing.T) {
	path, _ := loop(t, make([]byte, 8<<20))
	run(t, "mkfs.ext4", "-q", path)
	mount(t, path)
	_, err := drive.OpenDrive(path, true)
	require.ErrorIs(t, err, drive.ErrBusy)
	open(t, path, false)
}

func TestDriveWithAMountedPartIsRefused(t *testing.T) {
	path, _ := loop(t, make([]byte, 16<<20))
	run(t, "addpart", path, "1", "2048", "30720")
	t.Cleanup(func() { _ = exec.Command("delpart", path, "1").Run() })
	part := path + "p1"
	run(t, "mkfs.ext4", "-q", part)
	_, err := drive.OpenDrive(part, true)
	require.ErrorIs(t, err, drive.ErrPartition)
	mount(t, part)
	_, err = drive.OpenDrive(path, true)
	require.ErrorIs(t, err, drive.ErrBusy)
}

// What is mounted from a drive is known to be on it.
func TestADriveHoldsWhatIsMountedFromIt(t *testing.T) {
	whole, _ := loop(t, make([]byte, 8<<20))
	run(t, "mkfs.ext4", "-q", whole)
	here := mount(t, whole)
	parted, _ := loop(t, make([]byte, 16<<20))
	run(t, "addpart", parted, "1", "2048", "30720")
	t.Cleanup(func() { _ = exec.Command("delpart", parted, "1").Run() })
	run(t, "mkfs.ext4", "-q", parted+"p1")
	there := mount(t, parted+"p1")
	for _, c := range []struct {
		drive, path string
		holds       bool
	}{
		{whole, filepath.Join(here, "new.txt"), true},
		{whole, here, true},
		{whole, filepath.Join(there, "new.txt"), false},
		{parted, filepath.Join(there, "new.txt"), true},
		{parted + "p1", filepath.Join(there, "new.txt"), true},
		{parted, filepath.Join(here, "new.txt"), false},
		{parted, t.TempDir(), false},
		{parted, "/proc/self/none", false},
		{filepath.Join(t.TempDir(), "none"), here, false},
	} {
		assert.Equal(t, c.holds, drive.Holds(c.drive, c.path), "%s %s", c.drive, c.path)
	}
}

func TestLockedCardSaysSo(t *testing.T) {
	path, _ := loop(t, pattern(1<<20), "-r")
	_, err := drive.OpenDrive(path, true)
	require.ErrorIs(t, err, drive.ErrLocked)
	assert.ErrorContains(t, err, "opening drive "+path+" for writing: it is write-protected: slide the lock switch")
	d := open(t, path, false)
	require.NoError(t, iotest.TestReader(io.NewSectionReader(d, 0, 600), pattern(600)))
}

func TestDriveRefusals(t *testing.T) {
	folder := t.TempDir()
	file, pipe := filepath.Join(folder, "file"), filepath.Join(folder, "pipe")
	require.NoError(t, os.WriteFile(file, make([]byte, 4096), 0o600))
	require.NoError(t, unix.Mkfifo(pipe, 0o600))
	for path, want := range map[string]error{
		file:                          drive.ErrNotDrive,
		folder:                        drive.ErrNotDrive,
		pipe:                          drive.ErrNotDrive,
		"/dev/null":                   drive.ErrNotDrive,
		filepath.Join(folder, "none"): drive.ErrMissing,
	} {
		for _, forWriting := range []bool{false, true} {
			_, err := drive.OpenDrive(path, forWriting)
			assert.ErrorIs(t, err, want, path)
		}
	}
	path, _ := loop(t, make([]byte, 4096))
	_, err := drive.CreateImage(path, 512)
	require.ErrorIs(t, err, drive.ErrNotImage)
	require.ErrorContains(t, err, "a drive")
	_, err = drive.OpenImage(pipe)
	require.ErrorIs(t, err, drive.ErrNotImage)
	run(t, "losetup", "-d", path)
	_, err = drive.OpenDrive(path, false)
	require.ErrorIs(t, err, drive.ErrNoCard, "a loop drive without a file is a reader without a card")
}

// The cache of a drive and its medium are made to differ: the backing file is
// written behind the loop drive's back.
func TestDriveIsReadFromTheMedium(t *testing.T) {
	for _, way := range []string{"past the cache", "after emptying the cache"} {
		t.Run(way, func(t *testing.T) { checkReadFromTheMedium(t, way == "past the cache") })
	}
}

func checkReadFromTheMedium(t *testing.T, direct bool) {
	old, changed := bytes.Repeat([]byte("old "), 1<<18), bytes.Repeat([]byte("new "), 1<<18)
	path, backing := loop(t, old)
	d := open(t, path, false)
	if !direct {
		drive.WithoutDirect(d)
	}
	cached, err := os.Open(path)
	require.NoError(t, err)
	defer cached.Close()
	readCached := func() []byte {
		got := make([]byte, len(old))
		_, err := cached.ReadAt(got, 0)
		require.NoError(t, err)
		return got
	}
	require.Equal(t, old, readCached())
	writeBehind(t, backing, changed, 0)
	require.Equal(t, old, readCached(), "else this test shows nothing: cache and medium must differ")

	got := make([]byte, len(old))
	assert.Equal(t, direct, d.FromMedium())
	if direct {
		_, err = d.ReadAt(got, 0)
		require.NoError(t, err)
		assert.Equal(t, changed, got)
	}
	require.NoError(t, d.Forget())
	assert.True(t, d.FromMedium())
	_, err = d.ReadAt(got, 0)
	require.NoError(t, err)
	assert.Equal(t, changed, got)
	assert.Equal(t, changed, readCached(), "Forget emptied the drive's cache for everybody")
}

func writeBehind(t *testing.T, path string, content []byte, off int64) {
	t.Helper()
	f, err := os.OpenFile(path, os.O_WRONLY, 0)
	require.NoError(t, err)
	_, err = f.WriteAt(content, off)
	require.NoError(t, err)
	require.NoError(t, f.Close())
}

// imageOnExt4 makes an image file on a file system of its own and gives the
// offset of its bytes in the file that backs that file system.
func imageOnExt4(t *testing.T, content []byte) (path, backing string, offset int64) {
	t.Helper()
	fileSystem, backing := loop(t, make([]byte, 32<<20))
	run(t, "mkfs.ext4", "-q", "-b", "4096", "-O", "^has_journal", fileSystem)
	folder := mount(t, fileSystem)
	path = filepath.Join(folder, "card.img")
	require.NoError(t, os.WriteFile(path, content, 0o600))
	run(t, "sync", path)
	extents := run(t, "filefrag", "-v", "-b4096", path)
	for line := range strings.Lines(extents) {
		var number, from, to, block int64
		if n, _ := fmt.Sscanf(strings.NewReplacer(":", " ", "..", " ").Replace(line), "%d %d %d %d", &number, &from, &to, &block); n == 4 {
			require.GreaterOrEqual(t, (to+1)*4096, int64(len(content)), "the image must be in one piece: %s", extents)
			return path, backing, block * 4096
		}
	}
	require.Fail(t, "no extent found", extents)
	return "", "", 0
}

// The cache of an image file and the disk below are made to differ: the disk
// is written behind the file system's back.
func TestImageIsReadFromTheMedium(t *testing.T) {
	old, changed := bytes.Repeat([]byte("old "), 1<<18), bytes.Repeat([]byte("new "), 1<<18)
	for _, way := range []string{"past the cache", "after emptying the cache"} {
		t.Run(way, func(t *testing.T) {
			path, backing, offset := imageOnExt4(t, old)
			img, err := drive.OpenImage(path)
			require.NoError(t, err)
			defer img.Close()
			require.True(t, img.FromMedium())
			if way != "past the cache" {
				drive.WithoutDirect(img)
				require.False(t, img.FromMedium(), "nothing is proven before the cache was dropped")
				require.Contains(t, img.HowRead(), "perhaps")
			}
			cached, err := os.ReadFile(path)
			require.NoError(t, err)
			require.Equal(t, old, cached)
			writeBehind(t, backing, changed, offset)
			cached, err = os.ReadFile(path)
			require.NoError(t, err)
			require.Equal(t, old, cached, "else this test shows nothing: cache and medium must differ")

			require.NoError(t, img.Forget())
			require.True(t, img.FromMedium(), img.HowRead())
			got := make([]byte, len(old))
			_, err = img.ReadAt(got, 0)
			require.NoError(t, err)
			assert.Equal(t, changed, got)
		})
	}
}

// Pages that can't be dropped (here: locked into memory) leave the reads
// unproven.
func TestCacheThatStaysIsNoProof(t *testing.T) {
	path, _, _ := imageOnExt4(t, pattern(1<<20))
	img, err := drive.OpenImage(path)
	require.NoError(t, err)
	defer img.Close()
	drive.WithoutDirect(img)
	f, err := os.Open(path)
	require.NoError(t, err)
	defer f.Close()
	pages, err := unix.Mmap(int(f.Fd()), 0, 1<<20, unix.PROT_READ, unix.MAP_SHARED|unix.MAP_POPULATE)
	require.NoError(t, err)
	require.NoError(t, img.Forget())
	assert.False(t, img.FromMedium())
	require.NoError(t, unix.Munmap(pages))
	require.NoError(t, img.Forget())
	assert.True(t, img.FromMedium())
}

func TestImageInMemoryIsItsOwnMedium(t *testing.T) {
	img, err := drive.CreateImage(filepath.Join(mount(t, "-t", "tmpfs", "tmpfs"), "a.img"), 1<<20)
	require.NoError(t, err)
	defer img.Close()
	assert.True(t, img.FromMedium())
	assert.Contains(t, img.HowRead(), "memory")
	_, err = img.WriteAt(pattern(5000), 77)
	require.NoError(t, err)
	require.NoError(t, img.Sync())
	require.NoError(t, img.Forget())
	require.NoError(t, iotest.TestReader(io.NewSectionReader(img, 77, 5000), pattern(5000)))
}

// Reads of any offset and length, into memory of any alignment, give what a
// plain read of the backing file gives.
func TestAnyReadEqualsAPlainRead(t *testing.T) {
	content := pattern(3<<20 + 4096)
	for _, sector := range []string{"512", "4096"} {
		path, _ := loop(t, content, "--sector-size", sector)
		checkReads(t, open(t, path, false), content)
	}
	odd := pattern(3<<20 + 77)
	path, _, _ := imageOnExt4(t, odd)
	img, err := drive.OpenFile(path)
	require.NoError(t, err)
	defer img.Close()
	checkReads(t, img, odd)
}

func checkReads(t *testing.T, r io.ReaderAt, content []byte) {
	t.Helper()
	plain := bytes.NewReader(content)
	rapid.Check(t, func(t *rapid.T) {
		off, length, shift := drawRange(t, len(content))
		got, want := make([]byte, length+shift)[shift:], make([]byte, length)
		n, err := r.ReadAt(got, off)
		wantN, wantErr := plain.ReadAt(want, off)
		require.Equal(t, wantErr, err)
		require.Equal(t, wantN, n)
		require.True(t, bytes.Equal(want, got), "%d bytes at %d", length, off)
	})
}

// drawRange prefers the neighbourhood of boundaries.
func drawRange(t *rapid.T, size int) (off int64, length, shift int) {
	near := rapid.IntRange(-3, 3)
	at := rapid.SampledFrom([]int{0, 512, 4096, 1 << 20, 2 << 20, size - 4096, size}).Draw(t, "at") + near.Draw(t, "near")*rapid.SampledFrom([]int{1, 512, 4096}).Draw(t, "unit")
	length = rapid.SampledFrom([]int{0, 1, 512, 513, 4096, 1 << 20, 2<<20 + 7}).Draw(t, "length") + rapid.IntRange(0, 5).Draw(t, "more")
	return int64(max(at, 0)), length, rapid.SampledFrom([]int{0, 1, 512}).Draw(t, "shift")
}

// Writes of any offset and length leave what the same writes leave in memory.
func TestAnyWriteEqualsAPlainWrite(t *testing.T) {
	for _, sector := range []string{"512", "4096"} {
		content := pattern(3<<20 + 4096)
		path, backing := loop(t, content, "--sector-size", sector)
		d := open(t, path, true)
		rapid.Check(t, func(t *rapid.T) {
			off, length, shift := drawRange(t, len(content))
			p := bytes.Repeat([]byte{rapid.Byte().Draw(t, "fill")}, length+shift)[shift:]
			n, err := d.WriteAt(p, off)
			if int(off)+length > len(content) {
				require.ErrorIs(t, err, drive.ErrOutside)
				return
			}
			require.NoError(t, err)
			require.Equal(t, length, n)
			copy(content[off:], p)
		})
		require.NoError(t, d.Sync())
		require.NoError(t, d.Forget())
		got, err := io.ReadAll(io.NewSectionReader(d, 0, d.Bytes()))
		require.NoError(t, err)
		require.True(t, bytes.Equal(content, got), "what is read differs")
		got, err = os.ReadFile(backing)
		require.NoError(t, err)
		require.True(t, bytes.Equal(content, got), "the backing file differs")
	}
}

func TestVerifyingLeavesTheDriveAsItWas(t *testing.T) {
	path, backing := loop(t, pattern(1<<20))
	before, err := os.Stat(backing)
	require.NoError(t, err)
	d := open(t, path, false)
	_, err = d.WriteAt(make([]byte, 512), 0)
	require.ErrorIs(t, err, drive.ErrReadOnly)
	require.NoError(t, d.Sync())
	require.NoError(t, d.Forget())
	_, err = io.Copy(io.Discard, io.NewSectionReader(d, 0, d.Bytes()))
	require.NoError(t, err)
	require.NoError(t, d.Close())
	after, err := os.Stat(backing)
	require.NoError(t, err)
	assert.Equal(t, before.ModTime(), after.ModTime())
	got, err := os.ReadFile(backing)
	require.NoError(t, err)
	assert.Equal(t, pattern(1<<20), got)
}

func TestDriveThatShrinksIsTold(t *testing.T) {
	path, backing := loop(t, pattern(2<<20))
	d := open(t, path, false)
	require.NoError(t, os.Truncate(backing, 1<<20))
	run(t, "losetup", "-c", path)
	_, err := d.ReadAt(make([]byte, 4096), 1<<20)
	require.ErrorIs(t, err, drive.ErrShrunk)
	assert.ErrorContains(t, err, "holds 1048576 bytes now, and 2097152")
	n, err := d.ReadAt(make([]byte, 8192), 1<<20-4096)
	require.ErrorIs(t, err, drive.ErrShrunk)
	assert.Equal(t, 4096, n)
}

// A drive whose medium fails in its second half: the backing file ends early.
func TestFailingDriveIsTold(t *testing.T) {
	path, backing := loop(t, pattern(2<<20))
	d := open(t, path, false)
	require.NoError(t, os.Truncate(backing, 1<<20))
	_, err := d.ReadAt(make([]byte, 4096), 1<<20+4096)
	require.ErrorIs(t, err, drive.ErrNoAnswer)
	assert.ErrorContains(t, err, fmt.Sprintf("reading %s at byte %d: it doesn't answer: it was pulled out", path, 1<<20+4096))
}

// A card that is pulled out is reported as such, whatever the kernel answers: here
// the loop drive is left with an empty file, as a drive is whose card is out.
func TestPulledOutIsTold(t *testing.T) {
	for _, direct := range []bool{true, false} {
		path, backing := loop(t, pattern(2<<20))
		d := open(t, path, true)
		if !direct {
			drive.WithoutDirect(d)
		}
		_, err := d.WriteAt(pattern(1<<20), 0)
		require.NoError(t, err)
		require.NoError(t, os.Truncate(backing, 0))
		run(t, "losetup", "-c", path)
		_, err = d.WriteAt(pattern(4096), 1<<20)
		require.ErrorIs(t, err, drive.ErrGone)
		assert.ErrorContains(t, err, fmt.Sprintf("writing %s at byte %d: it was pulled out: put it in again", path, 1<<20))
		assert.NotContains(t, err.Error(), "no room")
		_, err = d.ReadAt(make([]byte, 4096), 1<<20)
		require.ErrorIs(t, err, drive.ErrGone)
		assert.NotContains(t, err.Error(), "larger card")
	}
}

// Judge: the kernel's own list of partitions.
func TestTheSystemIsToldOfTheTable(t *testing.T) {
	path, backing := loop(t, make([]byte, 16<<20), "--partscan")
	part := filepath.Join("/sys/class/block", filepath.Base(path)+"p1", "start")
	d := open(t, path, true)
	table := make([]byte, 512)
	copy(table[446:], []byte{0, 0, 0, 0, 0x0C, 0, 0, 0, 0, 0x20, 0, 0, 0, 0x20, 0, 0}) // one part, 8192 sectors from sector 8192
	table[510], table[511] = 0x55, 0xAA
	_, err := d.WriteAt(table, 0)
	require.NoError(t, err)
	require.NoError(t, d.Sync())
	assert.NoFileExists(t, part)
	require.NoError(t, d.TellSystem())
	start, err := os.ReadFile(part)
	require.NoError(t, err)
	assert.Equal(t, "8192\n", string(start))
	require.NoError(t, d.Close())
	now, err := os.ReadFile(backing)
	require.NoError(t, err)
	assert.Equal(t, table, now[:512])
	d = open(t, path, true) // and forgets what isn't true any longer
	_, err = d.WriteAt(make([]byte, 512), 0)
	require.NoError(t, err)
	require.NoError(t, d.TellSystem())
	assert.NoFileExists(t, part)

	plain, _ := loop(t, make([]byte, 16<<20))
	require.NoError(t, open(t, plain, true).TellSystem(), "a loop drive that has no partitions")
}

func TestEjectedDriveIsEmpty(t *testing.T) {
	path, _ := loop(t, make([]byte, 1<<20))
	d := open(t, path, true)
	require.NoError(t, d.Eject())
	require.NoError(t, d.Close())
	_, err := drive.OpenDrive(path, false)
	require.ErrorIs(t, err, drive.ErrNoCard)
}

// A drive that takes no more bytes: its backing file's disk is full.
func TestDriveThatCannotBeWrittenIsTold(t *testing.T) {
	backing := filepath.Join(mount(t, "-t", "tmpfs", "-o", "size=1m", "tmpfs"), "backing")
	require.NoError(t, os.WriteFile(backing, nil, 0o600))
	require.NoError(t, os.Truncate(backing, 4<<20))
	d := open(t, loopOf(t, backing), true)
	_, err := d.WriteAt(pattern(4<<20), 0)
	if err == nil {
		err = d.Sync()
	}
	require.Error(t, err)
	assert.ErrorContains(t, err, "ing "+d.Path())
	assert.True(t, errors.Is(err, drive.ErrNoAnswer) || errors.Is(err, drive.ErrFull), "%v", err)
}

func TestFullDiskUnderAnImage(t *testing.T) {
	folder := mount(t, "-t", "tmpfs", "-o", "size=1m", "tmpfs")
	img, err := drive.CreateImage(filepath.Join(folder, "a.img"), 4<<20)
	require.NoError(t, err)
	_, err = img.WriteAt(pattern(4<<20), 0)
	require.ErrorIs(t, err, drive.ErrFull)
	assert.ErrorContains(t, err, "free some space")
	require.NoError(t, img.Abandon())
	assert.Empty(t, names(t, folder))
}

func TestReadOnlyFolderForAnImage(t *testing.T) {
	_, err := drive.CreateImage(filepath.Join(mount(t, "-t", "tmpfs", "-o", "ro", "tmpfs"), "a.img"), 4096)
	require.ErrorIs(t, err, drive.ErrLocked)
	assert.ErrorContains(t, err, "choose another folder")
}

// A disk that breaks after it had taken the bytes into its cache: here, one
// that promises more room than there is under it.
func TestLateErrorsSurface(t *testing.T) {
	backing := filepath.Join(mount(t, "-t", "tmpfs", "-o", "size=8m", "tmpfs"), "backing")
	require.NoError(t, os.WriteFile(backing, nil, 0o600))
	require.NoError(t, os.Truncate(backing, 64<<20))
	fileSystem := loopOf(t, backing)
	run(t, "mkfs.ext4", "-q", "-O", "^has_journal", "-E", "nodiscard", fileSystem)
	folder := mount(t, fileSystem)
	img, err := drive.CreateImage(filepath.Join(folder, "card.img"), 20<<20)
	require.NoError(t, err)
	_, writing := img.WriteAt(pattern(20<<20), 0)
	committing := img.Commit()
	_ = img.Close() // on a broken disk this may fail too
	require.NoError(t, writing, "else this test shows nothing: the cache must have taken the bytes")
	// The kernel says either, by its version.
	require.True(t, errors.Is(committing, drive.ErrNoAnswer) || errors.Is(committing, drive.ErrFull), "%v", committing)
	assert.NotContains(t, names(t, folder), "card.img")
}

// Drives through the cache, where the system refuses anything else.
func TestDriveThroughTheCache(t *testing.T) {
	content := pattern(2 << 20)
	path, backing := loop(t, make([]byte, 2<<20))
	d := open(t, path, true)
	drive.WithoutDirect(d)
	_, err := d.WriteAt(content[:1000], 0)
	require.NoError(t, err)
	_, err = d.WriteAt(content[1000:], 1000)
	require.NoError(t, err)
	require.NoError(t, d.Sync())
	require.NoError(t, d.Forget())
	assert.True(t, d.FromMedium())
	assert.Equal(t, "read after the system's cache was emptied", d.HowRead())
	got, err := os.ReadFile(backing)
	require.NoError(t, err)
	assert.True(t, bytes.Equal(content, got))
}

func BenchmarkWriteAndSync(b *testing.B) {
	const size = 512 << 20
	block := pattern(1 << 20)
	backing := filepath.Join(b.TempDir(), "backing")
	require.NoError(b, os.WriteFile(backing, nil, 0o600))
	require.NoError(b, os.Truncate(backing, size))
	out, err := exec.CommandContext(b.Context(), "losetup", "-f", "--show", backing).Output()
	require.NoError(b, err)
	path := strings.TrimSpace(string(out))
	b.Cleanup(func() { _ = exec.Command("losetup", "-d", path).Run() })
	for _, way := range []string{"drive past the cache", "drive through the cache"} {
		b.Run(way, func(b *testing.B) {
			b.SetBytes(size)
			d, err := drive.OpenDrive(path, true)
			require.NoError(b, err)
			defer d.Close()
			if way == "drive through the cache" {
				drive.WithoutDirect(d)
			}
			for b.Loop() {
				for off := int64(0); off < size; off += int64(len(block)) {
					_, err := d.WriteAt(block, off)
					require.NoError(b, err)
				}
				require.NoError(b, d.Sync())
			}
		})
	}
}

// What is no image is named in words, never by the letters of a mode.
func TestWhatIsNoImageIsNamed(t *testing.T) {
	pipe := filepath.Join(t.TempDir(), "pipe")
	require.NoError(t, unix.Mkfifo(pipe, 0o600))
	for path, what := range map[string]string{pipe: "but a pipe", "/dev/null": "but a device without blocks", t.TempDir(): "but a folder"} {
		_, err := drive.OpenImage(path)
		require.ErrorIs(t, err, drive.ErrNotImage, path)
		assert.ErrorContains(t, err, what)
	}
}
