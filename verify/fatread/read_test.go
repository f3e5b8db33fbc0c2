package fatread

import (
	"bytes"
	"crypto/sha256"
	"fmt"
	"io"
	"math/rand"
	"os"
	"path/filepath"
	"sort"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// plant writes a folder of files: long names, names beyond ASCII, names that
// clash when shortened, empty files, a deep path, a folder of many entries.
func plant(t testing.TB) string {
	t.Helper()
	dir := t.TempDir()
	rng := rand.New(rand.NewSource(1))
	files := map[string]int{
		"A.TXT":                            1,
		"empty.bin":                        0,
		"plot12-4.0-12.upd":                700_001,
		"01-flybridge/plot12-4.0-12.upd":   65_536,
		"01-flybridge/foo.html":            10,
		"01-flybridge/foo.htm":             11,
		"Grüße aus Übersee.txt":            512,
		"日本語の名前.bin":                       513,
		"four thousand.dat":                4096,
		"a.b.c+d=e;f,[g].x y":              3,
		strings.Repeat("n", 251) + ".bin":  2,
		"deep/er/and/deeper/still/x.bin":   1025,
		"MiXeD/UPPER.BIN":                  7,
		"MiXeD/lower.bin":                  8,
		"Thirteen.char":                    9,
		"twenty-six-characters.file":       9,
		"_card/SHA256SUMS":                 100,
		"spaces   inside  and ~ tilde.t~x": 5,
	}
	for i := range 300 {
		files[fmt.Sprintf("many/file number %03d of a big folder.bin", i)] = i % 7
	}
	names := make([]string, 0, len(files))
	for name := range files {
		names = append(names, name)
	}
	sort.Strings(names)
	for _, name := range names {
		path := filepath.Join(dir, filepath.FromSlash(name))
		require.NoError(t, os.MkdirAll(filepath.Dir(path), 0o755))
		b := make([]byte, files[name])
		rng.Read(b)
		require.NoError(t, os.WriteFile(path, b, 0o644))
	}
	return dir
}

// fillCard copies a planted folder onto an image with mtools.
func fillCard(t testing.TB, image, dir string) {
	t.Helper()
	args := []string{"-s", "-m", "-i", image}
	tops, err := os.ReadDir(dir)
	require.NoError(t, err)
	for _, e := range tops {
		args = append(args, filepath.Join(dir, e.Name()))
	}
	run(t, "mcopy", append(args, "::/")...)
}

// sums gives path → size and SHA-256 of a folder on the host.
func sums(t testing.TB, dir string) map[string]string {
	t.Helper()
	all := map[string]string{}
	require.NoError(t, filepath.Walk(dir, func(path string, info os.FileInfo, err error) error {
		if err != nil || path == dir {
			return err
		}
		name, _ := filepath.Rel(dir, path)
		if info.IsDir() {
			all[name] = "folder"
			return nil
		}
		b, err := os.ReadFile(path)
		all[name] = fmt.Sprintf("%d %x", len(b), sha256.Sum256(b))
		return err
	}))
	return all
}

// cardSums gives the same of a volume, through Open.
func cardSums(t testing.TB, v *Volume) map[string]string {
	t.Helper()
	all := map[string]string{}
	for _, e := range v.Entries {
		if e.Dir {
			all[e.Path] = "folder"
			continue
		}
		h := sha256.New()
		n, err := io.Copy(h, v.Open(e))
		require.NoError(t, err, e.Path)
		all[e.Path] = fmt.Sprintf("%d %x", n, h.Sum(nil))
	}
	return all
}

// sameTree tells only what differs.
func sameTree(t testing.TB, want, got map[string]string) {
	t.Helper()
	for name, w := range want {
		assert.Equalf(t, w, got[name], "%q", name)
	}
	for name := range got {
		if _, ok := want[name]; !ok {
			t.Errorf("%q is nowhere else", name)
		}
	}
}

// What mtools wrote is read back the same, in every width and behind every
// kind of table, and nothing is found wrong with it.
func TestReadsWhatMtoolsWrote(t *testing.T) {
	dir := plant(t)
	want := sums(t, dir)
	for _, c := range []struct {
		name  string
		size  int64
		mkfs  []string
		where string // of the volume, for mtools
		table []string
		fs    string
		kind  string
	}{
		{"FAT12", 8 << 20, []string{"-F", "12"}, "", nil, FAT12, noTable},
		{"FAT12, clusters of 512", 2 << 20, []string{"-F", "12", "-s", "1", "-r", "1024"}, "", nil, FAT12, noTable},
		{"FAT16", 64 << 20, []string{"-F", "16"}, "", nil, FAT16, noTable},
		{"FAT16, one FAT", 64 << 20, []string{"-F", "16", "-f", "1"}, "", nil, FAT16, noTable},
		{"FAT16, largest clusters", 512 << 20, []string{"-F", "16", "-s", "128"}, "", nil, FAT16, noTable},
		{"FAT32", 64 << 20, []string{"-F", "32", "-s", "1"}, "", nil, FAT32, noTable},
		{"FAT32, labelled", 512 << 20, []string{"-F", "32", "-n", "KITTIWAKE"}, "", nil, FAT32, noTable},
		{"FAT32, sectors of 4096", 512 << 20, []string{"-F", "32", "-S", "4096", "-s", "1"}, "", nil, FAT32, noTable},
		{"FAT32, sectors of 1024", 512 << 20, []string{"-F", "32", "-S", "1024", "-s", "2"}, "", nil, FAT32, noTable},
		{"FAT32, many reserved", 64 << 20, []string{"-F", "32", "-s", "1", "-R", "300", "-b", "200"}, "", nil, FAT32, noTable},
		{"FAT32 in an MBR", 512 << 20, []string{"-F", "32", "-h", "8192", "--offset", "8192"}, "@@4M", []string{"label: dos\nstart=8192, type=c\n"}, FAT32, MBR},
		{"FAT16 in an MBR", 64 << 20, []string{"-F", "16", "-h", "2048", "--offset", "2048"}, "@@1M", []string{"label: dos\nstart=2048, type=6\n"}, FAT16, MBR},
		{"FAT32 in a GPT", 512 << 20, []string{"-F", "32", "-h", "2048", "--offset", "2048"}, "@@1M", []string{"label: gpt\nstart=2048, type=EBD0A0A2-B9E5-4433-87C0-68B6B72699C7\n"}, FAT32, GPT},
	} {
		t.Run(c.name, func(t *testing.T) {
			image := blank(t, c.size)
			for _, table := range c.table {
				feed(t, table, "sfdisk", "-q", image)
			}
			args := append(append([]string{}, c.mkfs...), image)
			if c.table != nil {
				const tables = 6 << 20 // more than any of them takes at both ends
				args = append(args, fmt.Sprint((c.size-tables)/1024))
			}
			run(t, "mkfs.fat", args...)
			fillCard(t, image+c.where, dir)

			card := readImage(t, image)
			assert.Empty(t, card.Faults)
			assert.Equal(t, c.kind, card.Table)
			require.Len(t, card.Volumes, 1)
			v := &card.Volumes[0]
			assert.Equal(t, c.fs, v.FileSystem)
			assert.Equal(t, c.fs, card.Partitions[0].FileSystem)
			assert.Zero(t, v.Lost)
			sameTree(t, want, cardSums(t, v))

			out := t.TempDir()
			run(t, "mcopy", "-s", "-m", "-i", image+c.where, "::*", out)
			sameTree(t, sums(t, out), cardSums(t, v))
		})
	}
}

// A blank card holds nothing, and says so.
func TestBlank(t *testing.T) {
	for _, size := range []int64{0, 1, 511, 512, 513, 1024, 4096, 1 << 20} {
		c := Read(bytes.NewReader(make([]byte, size)), size, Limits{})
		assert.Empty(t, c.Volumes, size)
		assert.Empty(t, c.Faults, size)
		assert.Equal(t, noTable, c.Table)
		require.Len(t, c.Partitions, 1)
		assert.Equal(t, Blank, c.Partitions[0].FileSystem, size)
	}
}
