package fat32

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"io"
	"io/fs"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"sort"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// The tests' outside judges. Each is called by its own name, so that a missing
// one fails the test that needs it.
const (
	fsck     = "fsck.fat" // dosfstools
	mkfs     = "mkfs.fat"
	mattrib  = "mattrib" // mtools
	mcopy    = "mcopy"
	mdir     = "mdir"
	mshowfat = "mshowfat"
	sfdisk   = "sfdisk" // util-linux
)

const (
	mib = int64(1) << 20
	gb  = int64(1_000_000_000)
)

var made = time.Date(2026, 3, 2, 9, 30, 14, 0, time.UTC)

// nominal is the size of an image for a card sold as so many GB.
func nominal(gigabytes int64) int64 { return gigabytes * gb * 96 / 100 / boundary * boundary }

// content is file i's bytes: unlike any other file's, the same every time.
func content(i int, size int64) io.Reader {
	return io.LimitReader(rand.NewChaCha8([32]byte{byte(i), byte(i >> 8), byte(i >> 16), 0xC0}), size)
}

func sumOf(t require.TestingT, i int, size int64) (sum [sha256.Size]byte) {
	h := sha256.New()
	_, err := io.Copy(h, content(i, size))
	require.NoError(t, err)
	return [sha256.Size]byte(h.Sum(nil))
}

// writeCard does what the package's documentation asks of a caller.
func writeCard(t require.TestingT, l *Layout, w io.WriterAt) {
	for _, e := range l.Blank() {
		require.NoError(t, zeros(&offsetWriter{w, e.Offset}, e.Length))
	}
	require.NoError(t, l.WriteStructures(w))
	buf := make([]byte, mib)
	for i, f := range l.Files() {
		out := &offsetWriter{w, f.Offset}
		_, err := io.CopyBuffer(struct{ io.Writer }{out}, content(i, f.Size), buf)
		require.NoError(t, err)
		require.NoError(t, zeros(out, f.Padded()-f.Size))
	}
	for _, b := range l.Boot() {
		_, err := w.WriteAt(b.Data, b.Offset)
		require.NoError(t, err)
	}
}

type offsetWriter struct {
	w   io.WriterAt
	off int64
}

func (o *offsetWriter) Write(p []byte) (int, error) {
	n, err := o.w.WriteAt(p, o.off)
	o.off += int64(n)
	return n, err
}

// image lays out and writes a sparse image file.
func image(t testing.TB, spec Spec) (path string, l *Layout) {
	l, err := Lay(spec)
	require.NoError(t, err)
	path = filepath.Join(t.TempDir(), "card.img")
	f, err := os.Create(path)
	require.NoError(t, err)
	require.NoError(t, f.Truncate(spec.Bytes))
	writeCard(t, l, f)
	require.NoError(t, f.Close())
	return path, l
}

func run(t require.TestingT, name string, args ...string) string {
	cmd := exec.Command(name, args...)
	cmd.Env = append(os.Environ(), "LC_ALL=C.UTF-8", "MTOOLSRC=/dev/null", "TZ=UTC")
	out, err := cmd.CombinedOutput()
	require.NoError(t, err, "%s %s\n%s\n(make test installs what it needs)", name, strings.Join(args, " "), out)
	return string(out)
}

// partition copies the partition into a sparse file of its own, as fsck.fat
// can't take an offset. Holes are skipped, not read.
func partition(t require.TestingT, card string, g Geometry) string {
	const seekData, seekHole = 3, 4 // lseek(2) on Linux
	in, err := os.Open(card)
	require.NoError(t, err)
	defer in.Close()
	path := card + ".partition"
	out, err := os.Create(path)
	require.NoError(t, err)
	defer out.Close()
	base := g.PartitionOffset()
	length := int64(g.PartitionSectors) * sectorSize
	require.NoError(t, out.Truncate(length))
	for at := base; ; {
		from, err := in.Seek(at, seekData)
		if err != nil { // ENXIO: nothing but a hole is left
			return path
		}
		at, err = in.Seek(from, seekHole)
		require.NoError(t, err)
		to := min(at, base+length)
		_, err = io.Copy(&offsetWriter{out, from - base}, io.NewSectionReader(in, from, to-from))
		require.NoError(t, err)
	}
}

// judgeFsck asks fsck.fat, which must find nothing at all: besides its version
// it may print the one line of counts.
func judgeFsck(t require.TestingT, card string, l *Layout) {
	path := partition(t, card, l.geo)
	defer os.Remove(path)
	out := strings.Split(strings.TrimSpace(run(t, fsck, "-n", path)), "\n")
	require.Len(t, out, 2, "fsck.fat: %q", out)
	files := len(l.folders) - 1 + len(l.spec.Files)
	if l.spec.Label != "" {
		files++ // fsck.fat counts the label as a file
	}
	require.Equal(t, fmt.Sprintf("%s: %d files, %d/%d clusters", path, files, l.geo.UsedClusters, l.geo.Clusters), out[1])
}

func mtoolsImage(card string) string { return fmt.Sprintf("%s@@%d", card, boundary) }

// judgeMtools extracts the card with mcopy: the same tree of names, every file
// with its SHA-256.
func judgeMtools(t require.TestingT, card string, l *Layout) {
	dir, err := os.MkdirTemp(filepath.Dir(card), "tree")
	require.NoError(t, err)
	defer os.RemoveAll(dir)
	if len(l.spec.Files) > 0 {
		run(t, mcopy, "-s", "-n", "-i", mtoolsImage(card), "::/", dir)
	}
	require.Equal(t, wanted(t, l), found(t, dir))
}

// wanted is every path with its file's SHA-256; folders end in a slash.
func wanted(t require.TestingT, l *Layout) []string {
	var want []string
	for _, d := range l.folders[1:] {
		want = append(want, d.path+"/")
	}
	for i, f := range l.spec.Files {
		sum := sumOf(t, i, f.Size)
		want = append(want, f.Path+" "+hex.EncodeToString(sum[:]))
	}
	sort.Strings(want)
	return want
}

func found(t require.TestingT, dir string) []string {
	var have []string
	require.NoError(t, fs.WalkDir(os.DirFS(dir), ".", func(path string, d fs.DirEntry, err error) error {
		switch {
		case err != nil || path == ".":
			return err
		case d.IsDir():
			have = append(have, path+"/")
			return nil
		}
		sum, err := sumFile(filepath.Join(dir, path))
		have = append(have, path+" "+sum)
		return err
	}))
	sort.Strings(have)
	return have
}

func sumFile(path string) (string, error) {
	f, err := os.Open(path)
	if err != nil {
		return "", err
	}
	defer f.Close()
	h := sha256.New()
	_, err = io.Copy(h, f)
	return hex.EncodeToString(h.Sum(nil)), err
}

func aFile(path string, size int64) File { return File{Path: path, Size: size, Modified: made} }
