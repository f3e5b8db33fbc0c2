package fatread

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"math/rand"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// Other file systems are named and not read. Made by their own tools where
// these are at hand, else by their marks as published: NTFS boot sector
// (Microsoft, "NTFS Technical Reference"), HFS Plus volume header (Apple
// TN1150), APFS container superblock (Apple File System Reference), LUKS1
// On-Disk Format Specification, ECMA-119 volume descriptor; the rest from memory.
func TestNamesOtherFileSystems(t *testing.T) {
	const size = 16 << 20
	mark := func(at int, text string) func(testing.TB, string) {
		return func(t testing.TB, image string) {
			f, err := os.OpenFile(image, os.O_RDWR, 0)
			require.NoError(t, err)
			defer f.Close()
			_, err = f.WriteAt([]byte(text), int64(at))
			require.NoError(t, err)
		}
	}
	made := func(name string, args ...string) func(testing.TB, string) {
		return func(t testing.TB, image string) { run(t, name, append(args, image)...) }
	}
	noise := make([]byte, size)
	rand.New(rand.NewSource(1)).Read(noise)
	for _, c := range []struct {
		name   string
		make   func(testing.TB, string)
		volume bool
	}{
		{ExFAT, made("mkfs.exfat"), true},
		{"ext", made("mkfs.ext4", "-q", "-F"), true},
		{"ext", made("mkfs.ext2", "-q", "-F", "-b", "1024"), true},
		{"Linux swap", made("mkswap"), true},
		{NTFS, mark(0, "\xeb\x52\x90NTFS    \x00\x02\x08"), true},
		{"BitLocker", mark(0, "\xeb\x58\x90-FVE-FS-\x00\x02\x08"), true},
		{"HFS+", mark(1024, "H+\x00\x04"), true},
		{"HFS+", mark(1024, "HX\x00\x05"), true},
		{"APFS", mark(32, "NXSB\x00\x10\x00\x00"), true},
		{"LUKS", mark(0, "LUKS\xba\xbe\x00\x01"), true},
		{"ISO 9660", mark(32768, "\x01CD001\x01"), true},
		{"Btrfs", mark(65536+64, "_BHRfS_M"), true},
		{"XFS", mark(0, "XFSB\x00\x00\x10\x00"), true},
		{"F2FS", mark(1024, "\x10\x20\xf5\xf2"), true},
		{Scrambled, mark(0, string(noise)), false},
		{Unknown, mark(3000, "something"), false},
		{Blank, func(testing.TB, string) {}, false},
	} {
		t.Run(c.name, func(t *testing.T) {
			image := blank(t, size)
			c.make(t, image)
			card := readImage(t, image)
			assert.Empty(t, card.Faults)
			assert.Equal(t, noTable, card.Table)
			require.Len(t, card.Partitions, 1)
			assert.Equal(t, c.name, card.Partitions[0].FileSystem)
			if !c.volume {
				assert.Empty(t, card.Volumes)
				return
			}
			require.Len(t, card.Volumes, 1)
			assert.Equal(t, c.name, card.Volumes[0].FileSystem)
			assert.Empty(t, card.Volumes[0].Entries)
		})
	}
}

// The same in partitions, several on one card, each by its place.
func TestSeveralPartitions(t *testing.T) {
	image := blank(t, 64<<20)
	feed(t, "label: dos\nstart=2048, size=32768, type=6\nstart=34816, size=32768, type=7\nstart=67584, size=32768, type=83\nstart=100352, size=20480, type=c\n", "sfdisk", "-q", image)
	run(t, "mkfs.fat", "-F", "16", "-n", "ONE", "-h", "2048", "--offset", "2048", image, "16384")
	part := blank(t, 16<<20)
	run(t, "mkfs.exfat", part)
	paste(t, image, 34816*512, part)
	run(t, "mkfs.ext4", "-q", "-F", part)
	paste(t, image, 67584*512, part)
	c := readImage(t, image)
	assert.Empty(t, c.Faults)
	got := []string{}
	for _, p := range c.Partitions {
		got = append(got, p.Type+" "+p.FileSystem)
	}
	assert.Equal(t, []string{"0x06 FAT16", "0x07 exFAT", "0x83 ext", "0x0c none"}, got)
	require.Len(t, c.Volumes, 3)
	assert.Equal(t, "ONE", c.Volumes[0].Label)
	assert.Equal(t, []int{1, 2, 3}, []int{c.Volumes[0].Partition, c.Volumes[1].Partition, c.Volumes[2].Partition})
}

func paste(t testing.TB, image string, at int64, from string) {
	t.Helper()
	b, err := os.ReadFile(from)
	require.NoError(t, err)
	f, err := os.OpenFile(image, os.O_RDWR, 0)
	require.NoError(t, err)
	defer f.Close()
	_, err = f.WriteAt(b, at)
	require.NoError(t, err)
}

// A table without any partition holds nothing; more partitions than the limit
// are not looked at.
func TestTableWithoutPartitions(t *testing.T) {
	b := make([]byte, 1<<20)
	b[510], b[511] = 0x55, 0xAA
	c := Read(bytes.NewReader(b), int64(len(b)), Limits{})
	assert.Equal(t, MBR, c.Table)
	assert.Empty(t, c.Partitions)
	assert.Empty(t, c.Faults)

	for i := range 4 {
		e := b[446+16*i:]
		e[4] = 0x0C
		binary.LittleEndian.PutUint32(e[8:], uint32(10+10*i))
		binary.LittleEndian.PutUint32(e[12:], 10)
	}
	c = Read(bytes.NewReader(b), int64(len(b)), Limits{Partitions: 3})
	assert.Len(t, c.Partitions, 3)
	assert.Equal(t, 1, c.Counts[LimitReached])
}

// The table that mkfs.fat puts into a boot sector announces the volume
// itself, and misleads nobody.
func TestTableThatIsTheVolumeItself(t *testing.T) {
	c := readImage(t, mkfs(t, 64<<20, "-F", "32", "-s", "1", "--mbr=y"))
	assert.Empty(t, c.Faults)
	assert.Equal(t, noTable, c.Table)
	require.Len(t, c.Volumes, 1)
}

// What a limit leaves out is reported, and what is read stays right.
func TestLimits(t *testing.T) {
	d := samples(t, "32")
	for name, l := range map[string]Limits{
		"entries": {Entries: 3}, "depth": {Depth: 1}, "listing": {Listing: 1000},
	} {
		c := Read(bytes.NewReader(d.b), int64(len(d.b)), l)
		assert.Equal(t, 1, c.Counts[LimitReached], name)
		assert.True(t, c.Faults[len(c.Faults)-1].Unread(), name)
		assert.Equal(t, int64(-1), c.Volumes[0].Lost, name)
		assert.NotEmpty(t, c.Volumes[0].Entries, name)
	}
	d.b[d.start+512] ^= 1
	d.b[d.start+512+484] ^= 1
	d.links(3000, d.end())
	c := Read(bytes.NewReader(d.b), int64(len(d.b)), Limits{Faults: 2})
	assert.Len(t, c.Faults, 3)
	assert.Equal(t, 1, c.FaultsLeftOut)
	assert.Equal(t, LimitReached, c.Faults[2].Kind)
	assert.Equal(t, 1, c.Counts[ClustersLost], "counted, though not kept")
	c = Read(bytes.NewReader(d.b), int64(len(d.b)), Limits{Runs: 1, DigestHead: 512})
	_, err := c.Digest(func(Entry) ([32]byte, bool) { return [32]byte{}, true })
	assert.ErrorIs(t, err, ErrNoDigest)
}

// Each kind of fault is brought about by a test of this package: one that no card
// has is none.
func TestEveryKindHasATest(t *testing.T) {
	text, err := os.ReadFile("fault.go")
	require.NoError(t, err)
	declared := regexp.MustCompile(`(?m)^\t(\w+) +FaultKind = "([a-z-]+)"`).FindAllStringSubmatch(string(text), -1)
	require.Len(t, declared, bytes.Count(text, []byte(" FaultKind = \"")))
	names, err := filepath.Glob("*_test.go")
	require.NoError(t, err)
	var tests strings.Builder
	for _, name := range names {
		content, err := os.ReadFile(name)
		require.NoError(t, err)
		tests.Write(content)
	}
	for _, d := range declared {
		assert.Regexp(t, `\b(`+d[1]+`|`+d[2]+`)\b`, tests.String())
	}
}

// What is left of a FAT32 volume whose beginning is overwritten is named, and
// not read: no device finds it.
func TestRemains(t *testing.T) {
	whole := func(start int64, args ...string) []byte {
		sector := fmt.Sprint(start / 512)
		b, err := os.ReadFile(mkfs(t, 64<<20, append([]string{"-F", "32", "-s", "1", "-h", sector}, args...)...))
		require.NoError(t, err)
		return append(make([]byte, start), b...)
	}
	noise := make([]byte, 512)
	rand.New(rand.NewSource(1)).Read(noise)
	for name, c := range map[string]struct {
		want string
		b    func() []byte
	}{
		"zeros":                {Headless, func() []byte { b := whole(0); clear(b[:512]); return b }},
		"noise":                {Headless, func() []byte { b := whole(0); copy(b, noise); return b }},
		"sectors of 4 KiB":     {Headless, func() []byte { b := whole(0, "-S", "4096"); clear(b[:512]); return b }},
		"all reserved sectors": {Blank, func() []byte { b := whole(0); clear(b[:128<<10]); return b }},
		"no table":             {Tableless, func() []byte { return whole(4 << 20) }},
		"no table, 1 MiB":      {Tableless, func() []byte { return whole(1 << 20) }},
		"another's place":      {Blank, func() []byte { b := whole(4 << 20); b[4<<20+28]++; return b }},
	} {
		t.Run(name, func(t *testing.T) {
			b := c.b()
			card := Read(bytes.NewReader(b), int64(len(b)), Limits{})
			require.Len(t, card.Partitions, 1)
			assert.Equal(t, c.want, card.Partitions[0].FileSystem)
			assert.Empty(t, card.Volumes)
			assert.Empty(t, card.Faults)
		})
	}
}
