package fat32

import (
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"path"
	"path/filepath"
	"regexp"
	"sort"
	"strings"
	"testing"
	"time"

	"github.com/diskfs/go-diskfs"
	"github.com/diskfs/go-diskfs/backend/file"
	"github.com/diskfs/go-diskfs/filesystem"
	"github.com/diskfs/go-diskfs/partition/mbr"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"cardwright/manifest/samename"
	"cardwright/media/mediatest"
)

const volumeID = 0x1234ABCD

// demoFiles are a card's files for a boat, with the names that go wrong most
// easily.
func demoFiles() []File {
	return []File{
		aFile("_card/record.json", 4321),
		aFile("_card/SHA256SUMS", 900),
		aFile("_card/install-order.txt", 2048),
		aFile("01-flybridge/plot12-4.0-12.upd", 3*mib+17),
		aFile("01-flybridge/a/b.bin", 512),
		aFile("02-radar/foo.html", 100),
		aFile("02-radar/foo.htm", 101),
		aFile("02-radar/empty.bin", 0),
		aFile("02-radar/whole.bin", 65536),
		aFile("02-radar/it's [but] = +fine; really.txt", 70000),
		aFile("03-deep/a/b/c/d/e/f/g/h/README.TXT", 5),
	}
}

func spec(bytes int64, files ...File) Spec {
	return Spec{Bytes: bytes, Label: "KITTIWAKE", VolumeID: volumeID, Made: made, Files: files}
}

// Outside judges: fsck.fat, mtools, sfdisk and go-diskfs, on cards as they are
// sold and as they are measured.
func TestCardsByOutsideJudges(t *testing.T) {
	for name, size := range map[string]int64{
		"nominal 4 GB":                  nominal(4),
		"nominal 8 GB":                  nominal(8),
		"nominal 16 GB":                 nominal(16),
		"nominal 32 GB":                 nominal(32),
		"an 8 GB card as measured":      7_948_206_080,
		"a 32 GB card as measured":      31_914_983_424,
		"another 32 GB card":            31_439_454_208,
		"a third 32 GB card":            32_023_511_040,
		"32 GiB":                        32 << 30,
		"64 GB":                         nominal(64),
		"the least":                     leastCardBytes,
		"the largest of 512-byte units": 264 << 20,
		"the next":                      268 << 20,
		"odd":                           nominal(4) + 7*sectorSize,
		"nearly a boundary unit more":   nominal(4) + boundary - sectorSize,
	} {
		t.Run(name, func(t *testing.T) {
			card, l := image(t, spec(size, demoFiles()...))
			judgeFsck(t, card, l)
			judgeMtools(t, card, l)
			judgeSfdisk(t, card, l)
			judgeDiskfs(t, card, l)
		})
	}
}

func TestEmptyCard(t *testing.T) {
	card, l := image(t, spec(nominal(4)))
	judgeFsck(t, card, l)
	assert.Contains(t, run(t, mdir, "-i", mtoolsImage(card), "::/"), "KITTIWAKE")
	card, l = image(t, Spec{Bytes: nominal(4)})
	judgeFsck(t, card, l)
	assert.Contains(t, run(t, mdir, "-i", mtoolsImage(card), "::/"), "has no label")
}

// A card without one cluster to spare has no next free one; its last file begins
// past cluster 65,535, which takes both halves of the number.
func TestFullCard(t *testing.T) {
	g, err := geometry(leastCardBytes)
	require.NoError(t, err)
	room := g.roomBytes() - 3*sectorSize // the root, the folder and one file of a byte
	full := spec(leastCardBytes, aFile("A/most", room), aFile("A/one", 1))
	card, l := image(t, full)
	assert.Equal(t, l.geo.Clusters, l.geo.UsedClusters)
	assert.Equal(t, uint32(0xFFFFFFFF), binary.LittleEndian.Uint32(l.fsInfo()[492:]), "the specification's unknown")
	judgeFsck(t, card, l)
	judgeMtools(t, card, l)

	full.Files[0].Size++
	_, err = Lay(full)
	var short *RoomError
	require.ErrorAs(t, err, &short)
	assert.Equal(t, RoomError{Needed: g.roomBytes() + sectorSize, Room: g.roomBytes()}, *short)
}

func TestCardOf5000Files(t *testing.T) {
	var files []File
	for i := range 5000 {
		files = append(files, aFile(fmt.Sprintf("01-chart/cells/region %d/cell number %d.dat", i%7, i), int64(i%40)*900))
	}
	card, l := image(t, spec(nominal(4), files...))
	judgeFsck(t, card, l)
	judgeMtools(t, card, l)
}

// The specification's limit of a folder, met to the entry: `.`, `..`, names of
// 255 units with 21 entries each, and short names for the rest.
func TestFullFolder(t *testing.T) {
	const own, each = 2, 21
	var files []File
	for i := range (mostEntries - own) / each {
		files = append(files, aFile(fmt.Sprintf("d/%0255d", i), 0))
	}
	for i := range (mostEntries - own) % each {
		files = append(files, aFile(fmt.Sprintf("d/X%d", i), 0))
	}
	card, l := image(t, spec(nominal(4), files...))
	assert.EqualValues(t, mostEntries*entrySize, l.folders[1].count*uint32(l.geo.clusterBytes()))
	judgeFsck(t, card, l)
	judgeMtools(t, card, l)

	_, err := Lay(spec(nominal(4), append(files, aFile("d/MORE", 0))...))
	var bad *nameError
	require.ErrorAs(t, err, &bad)
	assert.Contains(t, bad.Found, "folder is full")
}

func TestFilesThatAreTooLarge(t *testing.T) {
	_, err := Lay(spec(nominal(8), aFile("a", mostFileBytes)))
	require.NoError(t, err)
	for _, size := range []int64{mostFileBytes + 1, 1 << 62, -1} {
		_, err := Lay(spec(nominal(8), aFile("a", size)))
		var large *sizeError
		require.ErrorAs(t, err, &large)
		assert.Equal(t, sizeError{Path: "a", Size: size}, *large)
		_, err = Least([]File{aFile("a", size)})
		require.ErrorAs(t, err, &large)
	}
}

// mtools tells the times, and keeps them when it copies (to 2100, which it
// takes for a leap year).
func TestTimesByMtools(t *testing.T) {
	files := []File{
		{"leap.bin", 1, time.Date(2024, 2, 29, 12, 34, 57, 0, time.UTC)},
		{"first.bin", 1, time.Time{}},
		{"zone.bin", 1, time.Date(2026, 7, 1, 1, 0, 4, 0, time.FixedZone("", 2*3600))},
		{"last.bin", 1, time.Date(2200, 1, 1, 0, 0, 0, 0, time.UTC)},
	}
	card, _ := image(t, spec(nominal(4), files...))
	assert.Regexp(t, `LAST +BIN +1 2107-12-31  23:59`, run(t, mdir, "-i", mtoolsImage(card), "::/"))

	dir := t.TempDir()
	run(t, mcopy, "-m", "-s", "-i", mtoolsImage(card), "::/", dir)
	for name, want := range map[string]string{
		"leap.bin":  "2024-02-29T12:34:56Z",
		"first.bin": "1980-01-01T00:00:00Z",
		"zone.bin":  "2026-06-30T23:00:04Z",
	} {
		info, err := os.Stat(filepath.Join(dir, name))
		require.NoError(t, err)
		assert.Equal(t, want, info.ModTime().UTC().Format(time.RFC3339), name)
	}
}

// FSInfo by the specification: the free count is exact (fsck.fat says so too),
// the next free cluster is the first with an empty FAT entry.
func TestFSInfoPointsAtTheFirstFreeCluster(t *testing.T) {
	card, l := image(t, spec(nominal(4), demoFiles()...))
	f, err := os.Open(card)
	require.NoError(t, err)
	defer f.Close()
	number := func(off int64) uint32 {
		var b [4]byte
		_, err := f.ReadAt(b[:], off)
		require.NoError(t, err)
		return binary.LittleEndian.Uint32(b[:])
	}
	for _, at := range []int64{1, 7} {
		info := l.geo.PartitionOffset() + at*sectorSize
		next := number(info + 492)
		assert.Zero(t, number(l.geo.FATOffset(0)+int64(next)*4))
		assert.NotZero(t, number(l.geo.FATOffset(0)+int64(next-1)*4))
		assert.Equal(t, l.geo.Clusters+2-next, number(info+488))
	}
}

// mattrib tells attributes: files wait to be archived, folders don't.
func TestAttributesByMtools(t *testing.T) {
	card, _ := image(t, spec(nominal(4), aFile("FOLDER/FILE", 1)))
	assert.Regexp(t, `^ +A +::/FOLDER/FILE\n$`, run(t, mattrib, "-i", mtoolsImage(card), "::/FOLDER/FILE"))
	assert.Regexp(t, `^ +::/FOLDER\n$`, run(t, mattrib, "-i", mtoolsImage(card), "::/FOLDER"))
}

// sfdisk makes the same partition table, to the byte, from the words alone;
// go-diskfs reads it.
func judgeSfdisk(t testing.TB, card string, l *Layout) {
	dump := run(t, sfdisk, "-d", card)
	assert.Regexp(t, regexp.MustCompile(`label: dos\nlabel-id: 0x1234abcd\n`), dump)
	assert.Equal(t, 1, strings.Count(dump, "start="), dump)
	assert.Regexp(t, regexp.MustCompile(fmt.Sprintf(`start= +8192, size= +%d, type=c\n`, l.geo.PartitionSectors)), dump)

	theirs := filepath.Join(t.TempDir(), "sfdisk.img")
	require.NoError(t, os.WriteFile(theirs, nil, 0o600))
	require.NoError(t, os.Truncate(theirs, l.geo.CardBytes))
	script := filepath.Join(t.TempDir(), "script")
	require.NoError(t, os.WriteFile(script, []byte(dump), 0o600))
	run(t, "sh", "-c", sfdisk+` -q "$1" <"$2"`, "sh", theirs, script)
	assert.Equal(t, firstBytes(t, theirs, sectorSize), firstBytes(t, card, sectorSize))
}

func firstBytes(t testing.TB, name string, n int) []byte {
	f, err := os.Open(name)
	require.NoError(t, err)
	defer f.Close()
	b := make([]byte, n)
	_, err = f.ReadAt(b, 0)
	require.NoError(t, err)
	return b
}

// judgeDiskfs lists the card with a reader from outside.
func judgeDiskfs(t testing.TB, card string, l *Layout) {
	f, err := os.Open(card)
	require.NoError(t, err)
	defer f.Close()
	table, err := mbr.Read(file.New(f, true), sectorSize, sectorSize)
	require.NoError(t, err)
	assert.True(t, table.Equal(&mbr.Table{
		LogicalSectorSize: sectorSize, PhysicalSectorSize: sectorSize,
		Partitions: []*mbr.Partition{{Type: mbr.Fat32LBA, Start: 8192, Size: l.geo.PartitionSectors}, {}, {}, {}},
	}))

	disk, err := diskfs.OpenBackend(file.New(f, true), diskfs.WithOpenMode(diskfs.ReadOnly))
	require.NoError(t, err)
	fat, err := disk.GetFilesystem(1)
	require.NoError(t, err)
	var have []string
	listDiskfs(t, fat, ".", &have)
	var want []string
	for _, f := range l.spec.Files {
		want = append(want, fmt.Sprintf("%s %d", f.Path, f.Size))
	}
	sort.Strings(have)
	sort.Strings(want)
	assert.Equal(t, want, have)
	assert.Equal(t, l.spec.Label, strings.TrimSpace(fat.Label()))
}

func listDiskfs(t testing.TB, fat filesystem.FileSystem, dir string, have *[]string) {
	entries, err := fat.ReadDir(dir)
	require.NoError(t, err)
	for _, e := range entries {
		name := path.Join(dir, e.Name())
		if e.IsDir() {
			if e.Name() != "." && e.Name() != ".." {
				listDiskfs(t, fat, name, have)
			}
			continue
		}
		info, err := e.Info()
		require.NoError(t, err)
		*have = append(*have, fmt.Sprintf("%s %d", name, info.Size()))
	}
}

// mkfs.fat makes the same boot sectors from the same figures: only its name
// and its boot code differ, and a FAT that is sometimes smaller.
func TestBootSectorByMkfs(t *testing.T) {
	for _, size := range []int64{nominal(4), nominal(16), nominal(32)} {
		l, err := Lay(spec(size))
		require.NoError(t, err)
		theirs := filepath.Join(t.TempDir(), "mkfs.img")
		require.NoError(t, os.WriteFile(theirs, nil, 0o600))
		require.NoError(t, os.Truncate(theirs, int64(l.geo.PartitionSectors)*sectorSize))
		run(t, mkfs, "-a", "-F", "32", "-s", fmt.Sprint(l.geo.SectorsPerCluster), "-R", fmt.Sprint(l.geo.Reserved),
			"-h", "8192", "-g", "255/63", "-i", fmt.Sprintf("%08x", volumeID), "-n", "KITTIWAKE", theirs)
		boot := firstBytes(t, theirs, 9*sectorSize)
		ours := l.bootSector()
		const bpb, fat, code, sig = 11, 36, 90, 510
		assert.Equal(t, boot[bpb:fat], ours[bpb:fat])
		assert.Equal(t, boot[fat+4:code], ours[fat+4:code])
		assert.Equal(t, boot[sig:sectorSize], ours[sig:])
		assert.GreaterOrEqual(t, l.geo.FATSectors, binary.LittleEndian.Uint32(boot[fat:]))

		const counts, countsEnd = 488, 496
		info := l.fsInfo()
		assert.Equal(t, boot[sectorSize:][:counts], info[:counts])
		assert.Equal(t, boot[sectorSize:][countsEnd:sectorSize], info[countsEnd:sectorSize])
	}
}

// Random trees, judged by fsck.fat and mtools.
func TestRandomTrees(t *testing.T) {
	dir := t.TempDir()
	rapid.Check(t, func(rt *rapid.T) {
		files := randomFiles(rt)
		least, err := Least(files)
		require.NoError(rt, err)
		size := least + rapid.Int64Range(0, 600<<20/sectorSize).Draw(rt, "more sectors")*sectorSize
		label := labelOf(rapid.String().Draw(rt, "label"))
		l, err := Lay(Spec{Bytes: size, Label: label, VolumeID: rapid.Uint32().Draw(rt, "id"), Made: made, Files: files})
		if err != nil {
			var short *RoomError // past a cut of the specification's table
			require.ErrorAs(rt, err, &short)
			return
		}
		card := filepath.Join(dir, "card.img")
		require.NoError(rt, os.WriteFile(card, nil, 0o600))
		writeImage(rt, card, l)
		judgeFsck(rt, card, l)
		judgeMtools(rt, card, l)
		require.NoError(rt, os.Remove(card))
	})
}

// nameRunes leaves out what mtools 4.0.32 can't show: characters beyond the
// first plane.
var nameRunes = []rune("abcXYZ019 .-_~+,;=[]{}()!#$%&'@^`éßжΩ日本ﬁ\u202e")

func randomName(rt *rapid.T) string {
	name := rapid.OneOf(
		rapid.SampledFrom([]string{"foo.htm", "foo.html", "FOO~1.HTM", "FOO~2.HTM", "foo.htmx", "README.TXT", "update package.upd", "a", ".a", "..a"}),
		rapid.Map(rapid.IntRange(1, 3000), func(n int) string { return fmt.Sprintf("plotter update %d.upd", n) }),
		rapid.StringOfN(rapid.SampledFrom(nameRunes), 1, 60, -1),
		rapid.StringOfN(rapid.SampledFrom(nameRunes[:9]), 80, 120, -1),
	).Draw(rt, "name")
	name = strings.TrimRight(strings.TrimSpace(name), ". ")
	if name == "" {
		return "x"
	}
	return name
}

func randomFiles(rt *rapid.T) []File {
	folders := []string{""}
	taken := map[string]bool{}
	fresh := func() (string, bool) {
		p := path.Join(rapid.SampledFrom(folders).Draw(rt, "folder"), randomName(rt))
		ok := units(p) <= mostPathUnits && !taken[samename.Key(p)]
		taken[samename.Key(p)] = true
		return p, ok
	}
	for range rapid.IntRange(0, 8).Draw(rt, "folders") {
		if p, ok := fresh(); ok && units(p) < 150 {
			folders = append(folders, p)
		}
	}
	var files []File
	for range rapid.IntRange(0, 60).Draw(rt, "files") {
		if p, ok := fresh(); ok {
			size := rapid.OneOf(rapid.Just(int64(0)), rapid.Int64Range(0, 20_000), rapid.Map(rapid.Int64Range(1, 40), func(n int64) int64 { return n * 4096 })).Draw(rt, "size")
			files = append(files, File{p, size, made.Add(time.Duration(rapid.Int64().Draw(rt, "age")))})
		}
	}
	return files
}

func writeImage(t require.TestingT, card string, l *Layout) {
	f, err := os.OpenFile(card, os.O_RDWR, 0)
	require.NoError(t, err)
	require.NoError(t, f.Truncate(l.geo.CardBytes))
	writeCard(t, l, f)
	require.NoError(t, f.Close())
}

func TestLeastIsTheLeast(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var files []File
		for i := range rapid.IntRange(0, 40).Draw(t, "files") {
			files = append(files, aFile(fmt.Sprintf("folder %d/file %d", i%5, i), rapid.Int64Range(0, 1<<rapid.IntRange(0, 32).Draw(t, "up to 2^")-1).Draw(t, "size")))
		}
		least, err := Least(files)
		require.NoError(t, err)
		require.Zero(t, least%boundary)
		_, err = Lay(spec(least, files...))
		require.NoError(t, err)
		for size := least - boundary; size >= max(leastCardBytes, least-64*boundary); size -= boundary {
			_, err = Lay(spec(size, files...))
			require.Error(t, err)
		}
	})
}

// Many small files fit a card of 512-byte clusters, and none that is a little
// larger: the row of the table is what is searched.
func TestLeastAtACut(t *testing.T) {
	var files []File
	for i := range 60_000 {
		files = append(files, aFile(fmt.Sprintf("%d/%d", i%10, i), 4000))
	}
	least, err := Least(files)
	require.NoError(t, err)
	assert.Less(t, least, int64(264<<20))
	_, err = Lay(spec(268<<20, append(files, aFile("more", 30<<20))...))
	var short *RoomError
	assert.ErrorAs(t, err, &short)
}

func TestLeastWhenNoCardIsLargeEnough(t *testing.T) {
	var files []File
	for i := range 520 {
		files = append(files, aFile(fmt.Sprint(i), mostFileBytes))
	}
	_, err := Least(files)
	var short *RoomError
	require.ErrorAs(t, err, &short)
	assert.Less(t, short.Room, short.Needed)
}

func TestSameSpecSameBytes(t *testing.T) {
	var sums [2]string
	for i := range sums {
		l, err := Lay(spec(leastCardBytes, demoFiles()...))
		require.NoError(t, err)
		card := mediatest.NewMemory(leastCardBytes)
		writeCard(t, l, card)
		h := sha256.New()
		_, err = io.Copy(h, io.NewSectionReader(card, 0, card.Bytes()))
		require.NoError(t, err)
		sums[i] = hex.EncodeToString(h.Sum(nil))
	}
	assert.Equal(t, sums[0], sums[1])
}

// A card that held something else ends up the same, but for what is not in
// use.
func TestOldCardsAreCovered(t *testing.T) {
	old := filepath.Join(t.TempDir(), "old.img")
	noise := make([]byte, 48<<20)
	_, err := rand.NewChaCha8([32]byte{}).Read(noise)
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(old, noise, 0o600))
	l, err := Lay(spec(48<<20, demoFiles()...))
	require.NoError(t, err)
	writeImage(t, old, l)
	judgeFsck(t, old, l)
	judgeMtools(t, old, l)
	judgeSfdisk(t, old, l)
}
