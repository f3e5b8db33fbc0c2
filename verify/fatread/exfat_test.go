package fatread

import (
	"bytes"
	"crypto/sha256"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"math/rand"
	"os"
	"os/exec"
	"sort"
	"strings"
	"syscall"
	"testing"
	"time"
	"unicode/utf16"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// exfatCard puts files onto an image that mkfs.exfat made, by Microsoft's
// exFAT specification and not by the reader's code; fsck.exfat judges the
// outcome. (There is no tool at hand that writes files without a driver.)
type exfatCard struct {
	t                         testing.TB
	b                         []byte
	start                     int64 // of the volume
	fat, heap, cluster, total int64
	root, bitmap, table       uint32
	next                      uint32 // first cluster not yet given away
	upcase                    [65536]uint16
	sets                      map[string]int64 // path → place of its set of entries
	first                     map[string]uint32
}

// node is a file or folder to be put on a card.
type node struct {
	name      string
	data      []byte
	kids      []node // not nil: a folder
	scattered bool   // every other cluster, and so with a chain
	written   int    // bytes; -1: all
}

func aFile(name string, size int) node {
	b := make([]byte, size)
	rand.New(rand.NewSource(int64(size))).Read(b)
	return node{name: name, data: b, written: -1}
}

func aFolder(name string, kids ...node) node {
	return node{name: name, kids: append([]node{}, kids...)}
}

func exfatTree() []node {
	scattered := aFile("scattered.bin", 50_000)
	scattered.scattered = true
	half := aFile("half written.bin", 20_000)
	half.written = 9_001
	clear(half.data[half.written:])
	unwritten := aFile("unwritten.bin", 5_000)
	unwritten.written = 0
	clear(unwritten.data)
	spread := aFolder("spread", many(200)...)
	spread.scattered = true
	return []node{
		aFile("A.TXT", 1), aFile("empty.bin", 0), aFile("plot12-4.0-12.upd", 700_001), scattered, half, unwritten,
		aFile("Grüße aus Übersee.txt", 512), aFile("日本語の名前.bin", 513), aFile("smile 😀.dat", 4096),
		aFile(strings.Repeat("n", 251)+".bin", 2), aFile("fifteen letters", 3), aFile("a.b.c+d=e;f,[g].x y", 3),
		aFolder("01-flybridge", aFile("plot12-4.0-12.upd", 65_536), aFolder("empty folder")),
		aFolder("deep", aFolder("er", aFolder("and", aFolder("deeper", aFile("x.bin", 1025))))), spread,
	}
}

func many(n int) (list []node) {
	for i := range n {
		list = append(list, aFile(fmt.Sprintf("file number %03d of a big folder.bin", i), i%7))
	}
	return list
}

// exfatImage makes a card and puts files on it.
func exfatImage(t testing.TB, size int64, start int64, tree []node, args ...string) *exfatCard {
	t.Helper()
	image := blank(t, size)
	run(t, "mkfs.exfat", append(append([]string{}, args...), image)...)
	b, err := os.ReadFile(image)
	require.NoError(t, err)
	x := &exfatCard{t: t, b: append(make([]byte, start), b...), start: start, sets: map[string]int64{}, first: map[string]uint32{}}
	x.open()
	x.plant(tree)
	return x
}

func (x *exfatCard) u32(at int64) uint32 { return binary.LittleEndian.Uint32(x.b[at:]) }

func (x *exfatCard) open() {
	boot := x.b[x.start:]
	sector := int64(1) << boot[108]
	x.cluster = sector << boot[109]
	x.fat = x.start + int64(x.u32(x.start+80))*sector
	x.heap = x.start + int64(x.u32(x.start+88))*sector
	x.total = int64(x.u32(x.start + 92))
	x.root = x.u32(x.start + 96)
	for at := x.place(x.root); x.b[at] != 0; at += 32 {
		switch x.b[at] {
		case 0x81:
			x.bitmap = x.u32(at + 20)
		case 0x82:
			x.table = x.u32(at + 20)
			x.readTable(x.b[x.place(x.table):][:x.u32(at+24)])
		}
	}
	for x.next = 2; x.used(x.next); x.next++ {
	}
}

// readTable expands the table that mkfs.exfat wrote.
func (x *exfatCard) readTable(b []byte) {
	for i := range x.upcase {
		x.upcase[i] = uint16(i)
	}
	for c := 0; len(b) >= 2; b = b[2:] {
		v := binary.LittleEndian.Uint16(b)
		if v == 0xFFFF && len(b) >= 4 {
			b = b[2:]
			c += int(binary.LittleEndian.Uint16(b))
			continue
		}
		x.upcase[c] = v
		c++
	}
}

func (x *exfatCard) place(c uint32) int64 { return x.heap + (int64(c)-2)*x.cluster }

func (x *exfatCard) bit(c uint32) (at int64, mask byte) {
	return x.place(x.bitmap) + int64(c-2)/8, 1 << ((c - 2) % 8)
}

func (x *exfatCard) used(c uint32) bool {
	at, mask := x.bit(c)
	return x.b[at]&mask != 0
}

func (x *exfatCard) mark(c uint32, used bool) {
	at, mask := x.bit(c)
	x.b[at] &^= mask
	if used {
		x.b[at] |= mask
	}
}

func (x *exfatCard) link(c, to uint32) { binary.LittleEndian.PutUint32(x.b[x.fat+4*int64(c):], to) }

const exfatEnd = 0xFFFFFFFF

// give takes n clusters; a scattered allocation leaves gaps and has a chain.
func (x *exfatCard) give(n int, scattered bool) (list []uint32) {
	for range n {
		list = append(list, x.next)
		x.mark(x.next, true)
		x.next++
		if scattered {
			x.next++
		}
	}
	if scattered {
		for i, c := range list {
			if i+1 < n {
				x.link(c, list[i+1])
			} else {
				x.link(c, exfatEnd)
			}
		}
	}
	return list
}

// store puts bytes into clusters.
func (x *exfatCard) store(list []uint32, b []byte) {
	for _, c := range list {
		n := copy(x.b[x.place(c):][:x.cluster], b)
		b = b[n:]
	}
}

func (x *exfatCard) clusters(size int) int { return int((int64(size) + x.cluster - 1) / x.cluster) }

// plant adds a tree to the root folder.
func (x *exfatCard) plant(tree []node) {
	entries := x.b[x.place(x.root):]
	end := 0
	for entries[end] != 0 {
		end += 32
	}
	all := bytes.Clone(entries[:end])
	places := map[string]int{}
	for _, n := range tree {
		places[n.name] = len(all)
		all = append(all, x.put("", n)...)
	}
	list := []uint32{x.root}
	for last := x.root; len(list) < x.clusters(len(all)); last = list[len(list)-1] {
		more := x.give(1, true)
		x.link(last, more[0])
		list = append(list, more...)
	}
	x.store(list, all)
	x.find(list, "", places)
}

// find notes where the sets of a folder stand.
func (x *exfatCard) find(list []uint32, folder string, places map[string]int) {
	for name, at := range places {
		x.sets[folder+name] = x.place(list[int64(at)/x.cluster]) + int64(at)%x.cluster
	}
}

// put stores a node and gives its set of entries.
func (x *exfatCard) put(folder string, n node) []byte {
	data, dir := n.data, n.kids != nil
	places := map[string]int{}
	if dir {
		for _, kid := range n.kids {
			places[kid.name] = len(data)
			data = append(data, x.put(folder+n.name+"/", kid)...)
		}
		if len(n.kids) > 0 {
			data = append(data, make([]byte, int64(x.clusters(len(data)))*x.cluster-int64(len(data)))...)
		}
	}
	list := x.give(x.clusters(len(data)), n.scattered)
	x.store(list, data)
	x.find(list, folder+n.name+"/", places)
	if len(list) > 0 {
		x.first[folder+n.name] = list[0]
	}
	return x.set(n, list, len(data), dir)
}

// set makes the entries of a file or folder (tables 27, 33 and 34).
func (x *exfatCard) set(n node, list []uint32, size int, dir bool) []byte {
	units := utf16.Encode([]rune(n.name))
	parts := (len(units) + 14) / 15
	b := make([]byte, (2+parts)*32)
	b[0], b[1] = 0x85, byte(1+parts)
	binary.LittleEndian.PutUint16(b[4:], 0x20)
	if dir {
		binary.LittleEndian.PutUint16(b[4:], 0x10)
	}
	stamp := uint32(44<<25 | 2<<21 | 29<<16 | 12<<11 | 34<<5 | 56/2) // 2024-02-29 12:34:56
	for _, at := range []int{8, 12, 16} {
		binary.LittleEndian.PutUint32(b[at:], stamp)
	}
	b[21] = 150                            // and 1.5 seconds
	b[22], b[23], b[24] = 0x84, 0x84, 0x84 // an hour ahead of UTC
	s := b[32:]
	s[0], s[1], s[3] = 0xC0, 1, byte(len(units))
	written := size
	if n.written >= 0 && !dir {
		written = n.written
	}
	if len(list) > 0 {
		binary.LittleEndian.PutUint32(s[20:], list[0])
		if !n.scattered {
			s[1] |= 2
		}
	}
	binary.LittleEndian.PutUint64(s[8:], uint64(written))
	binary.LittleEndian.PutUint64(s[24:], uint64(size))
	for i, u := range units {
		part := b[64+i/15*32:]
		part[0] = 0xC1
		binary.LittleEndian.PutUint16(part[2+i%15*2:], u)
	}
	binary.LittleEndian.PutUint16(s[4:], x.hash(units))
	x.seal(b)
	return b
}

// hash is NameHash, figure 4 of the specification.
func (x *exfatCard) hash(units []uint16) (hash uint16) {
	for _, u := range units {
		var b [2]byte
		binary.LittleEndian.PutUint16(b[:], x.upcase[u])
		for _, v := range b {
			high := uint16(0)
			if hash&1 != 0 {
				high = 0x8000
			}
			hash = high + hash>>1 + uint16(v)
		}
	}
	return hash
}

// seal writes EntrySetChecksum, figure 2.
func (x *exfatCard) seal(set []byte) {
	sum := uint16(0)
	for i, v := range set {
		if i == 2 || i == 3 {
			continue
		}
		high := uint16(0)
		if sum&1 != 0 {
			high = 0x8000
		}
		sum = high + sum>>1 + uint16(v)
	}
	binary.LittleEndian.PutUint16(set[2:], sum)
}

// alter changes a set and gives it a right checksum again.
func (x *exfatCard) alter(path string, change func(set []byte)) {
	at, ok := x.sets[path]
	require.True(x.t, ok, path)
	set := x.b[at:][:(1+int64(x.b[at+1]))*32]
	change(set)
	x.seal(set)
}

// reboot changes the boot sector, and gives both regions right checksums
// (figure 1).
func (x *exfatCard) reboot(change func(sector []byte)) {
	sector := int64(1) << x.b[x.start+108]
	change(x.b[x.start:])
	copy(x.b[x.start+12*sector:], x.b[x.start:][:sector])
	sum := uint32(0)
	for i, v := range x.b[x.start:][:11*sector] {
		if i == 106 || i == 107 || i == 112 {
			continue
		}
		high := uint32(0)
		if sum&1 != 0 {
			high = 0x80000000
		}
		sum = high + sum>>1 + uint32(v)
	}
	for at := 11 * sector; at < 12*sector; at += 4 {
		binary.LittleEndian.PutUint32(x.b[x.start+at:], sum)
		binary.LittleEndian.PutUint32(x.b[x.start+12*sector+at:], sum)
	}
}

func (x *exfatCard) read() *Card { return Read(bytes.NewReader(x.b), int64(len(x.b)), Limits{}) }

// fsck asks fsck.exfat about the volume: what it says, and whether it finds
// fault. (Of some faults it only prints a line and ends well.)
func (x *exfatCard) fsck() (string, bool) {
	image := blank(x.t, 0)
	require.NoError(x.t, os.WriteFile(image, x.b[x.start:], 0o644))
	out, err := exec.Command(tool(x.t, "fsck.exfat"), "-n", image).CombinedOutput()
	return string(out), err != nil || bytes.Contains(out, []byte("ERROR"))
}

func treeSums(folder string, tree []node, all map[string]string) map[string]string {
	for _, n := range tree {
		all[folder+n.name] = fmt.Sprintf("%d %x", len(n.data), sha256.Sum256(n.data))
		if n.kids != nil {
			all[folder+n.name] = "folder"
			treeSums(folder+n.name+"/", n.kids, all)
		}
	}
	return all
}

// Files that fsck.exfat finds nothing wrong with are read, and nothing is
// found wrong with them here.
func TestReadsExFAT(t *testing.T) {
	for _, c := range []struct {
		name  string
		size  int64
		start int64
		args  []string
	}{
		{"as made", 64 << 20, 0, nil},
		{"clusters of 512", 16 << 20, 0, []string{"-c", "512"}},
		{"clusters of 128K, labelled", 64 << 20, 0, []string{"-c", "128K", "-L", "KITTIWAKE"}},
		{"in a partition", 32 << 20, 4 << 20, []string{"-c", "4K"}},
		{"32 GB", 0, 0, nil},
	} {
		t.Run(c.name, func(t *testing.T) {
			if c.size == 0 {
				largeExFAT(t)
				return
			}
			x := exfatImage(t, c.size, c.start, exfatTree(), c.args...)
			out, fault := x.fsck()
			require.False(t, fault, out)
			if c.start > 0 { // a table by hand: type 7
				e := x.b[446:]
				e[4] = 7
				binary.LittleEndian.PutUint32(e[8:], uint32(c.start/512))
				binary.LittleEndian.PutUint32(e[12:], uint32(c.size/512))
				x.b[510], x.b[511] = 0x55, 0xAA
			}
			w := &watched{b: x.b}
			card := Read(w, int64(len(x.b)), Limits{})
			assert.Empty(t, card.Faults)
			bounded(t, card, w.asked)
			require.Len(t, card.Volumes, 1)
			v := &card.Volumes[0]
			assert.Equal(t, ExFAT, v.FileSystem)
			assert.Equal(t, int(x.cluster), v.ClusterBytes)
			assert.Equal(t, strings.Contains(c.name, "labelled"), v.Label == "KITTIWAKE")
			assert.Equal(t, x.total, v.Clusters)
			sameTree(t, treeSums("", exfatTree(), map[string]string{}), cardSums(t, v))
			for _, e := range v.Entries {
				assert.Equal(t, time.Date(2024, 2, 29, 11, 34, 57, 500_000_000, time.UTC), e.Modified, e.Path)
			}
		})
	}
}

// Of a nominal 32 GB card made by mkfs.exfat, little is read.
func largeExFAT(t *testing.T) {
	image := blank(t, card32)
	run(t, "mkfs.exfat", image)
	o := inChild(t, "FATREAD_IMAGE="+image)
	assert.Empty(t, o.Counts)
	assert.Less(t, o.Asked, int64(1<<20))
}

// The values of the specification: the checksum of its recommended up-case
// table (7.2.5.1), which mkfs.exfat writes, and its example of a compressed one.
func TestUpcaseTable(t *testing.T) {
	x := exfatImage(t, 16<<20, 0, nil)
	at := x.place(x.table)
	entry := int64(bytes.Index(x.b[x.place(x.root):], []byte{0x82})) + x.place(x.root)
	b := x.b[at:][:x.u32(entry+24)]
	assert.Equal(t, uint32(0xE619D30D), exfatSum32(b))
	table := expandUpcase(b)
	require.Len(t, table, 65536)
	assert.Equal(t, x.upcase[:], table)
	assert.Equal(t, uint16('Ü'), table['ü'])
	assert.Equal(t, uint16('Я'), table['я'])

	assert.Nil(t, expandUpcase([]byte{0xFF, 0xFF, 0x61, 0, 0x41, 0, 0x42, 0, 0x43, 0}), "only a to c")
	assert.Nil(t, expandUpcase(bytes.Repeat([]byte{1, 0}, 70_000)), "too long")
}

// Each damage to one structure is reported by its own kind, with what follows
// from it and nothing else, and fsck.exfat finds fault as well where it says so.
func TestEachDamageToExFAT(t *testing.T) {
	tree := []node{
		aFile("alpha.bin", 5000), aFile("beta.bin", 3000), aFile("empty.bin", 0),
		aFolder("sub", aFile("gamma.bin", 700), aFolder("inner", aFile("delta.bin", 600))),
	}
	chained := aFile("chain.bin", 2000)
	chained.scattered = true
	tree = append(tree, chained)
	whole := exfatImage(t, 4<<20, 0, tree, "-c", "1024", "-L", "KITTIWAKE")
	require.Empty(t, whole.read().Faults)
	out, fault := whole.fsck()
	require.False(t, fault, out)
	u16 := binary.LittleEndian.PutUint16
	u32 := binary.LittleEndian.PutUint32
	u64 := binary.LittleEndian.PutUint64
	rootEntry := func(x *exfatCard, kind byte) int64 {
		at := x.place(x.root)
		for x.b[at] != kind {
			at += 32
		}
		return at
	}
	for _, c := range []struct {
		name   string
		breaks func(x *exfatCard)
		want   string
		path   string
		fsck   bool // finds fault, too
	}{
		{"no signature", func(x *exfatCard) { x.b[510] = 0 }, "boot-backup-used boot-checksum boot-signature", "", true},
		{"a boot code altered", func(x *exfatCard) { x.b[200] ^= 1 }, "boot-backup-used boot-checksum", "", true},
		{"the boot sector gone", func(x *exfatCard) { clear(x.b[100:512]) }, "boot-backup-used boot-field boot-signature", "", true},
		{"both gone", func(x *exfatCard) { clear(x.b[100:512]); clear(x.b[12*512+100 : 13*512]) }, "boot-field boot-signature", "", true},
		{"an extended boot sector", func(x *exfatCard) { x.b[3*512-1] = 0 }, "boot-backup-used boot-checksum", "", true},
		{"the backup altered", func(x *exfatCard) { x.b[12*512+200] ^= 1 }, "boot-code", "", false},
		{"a field of the backup altered", func(x *exfatCard) { x.b[12*512+72] ^= 1 }, "boot-backup", "", false},
		{"another jump", func(x *exfatCard) { x.reboot(func(s []byte) { s[1] = 0x58 }) }, "boot-field", "", false},
		{"FAT's fields", func(x *exfatCard) { x.reboot(func(s []byte) { s[13] = 8 }) }, "boot-field", "", false},
		{"another partition's offset", func(x *exfatCard) { x.reboot(func(s []byte) { s[64] = 63 }) }, "hidden-sectors", "", false},
		{"larger than the card", func(x *exfatCard) { x.reboot(func(s []byte) { u64(s[72:], 1<<50) }) }, "volume-size", "", true},
		{"2^64-1 sectors", func(x *exfatCard) { x.reboot(func(s []byte) { u64(s[72:], 1<<64-1) }) }, "volume-size", "", true},
		{"a FAT too small", func(x *exfatCard) { x.reboot(func(s []byte) { u32(s[84:], 2) }) }, "fat-size", "", false},
		{"revision 2", func(x *exfatCard) { x.reboot(func(s []byte) { s[105] = 2 }) }, "boot-field", "", true},
		{"a sector of 2^13", func(x *exfatCard) { x.reboot(func(s []byte) { s[108] = 13 }) }, "boot-field", "", true},
		{"a cluster of 2^30", func(x *exfatCard) { x.b[109] = 21 }, "boot-backup-used boot-field", "", true},
		{"3 FATs", func(x *exfatCard) { x.b[110] = 3 }, "boot-backup-used boot-field", "", true},
		{"the root past the last cluster", func(x *exfatCard) { x.reboot(func(s []byte) { u32(s[96:], 1<<30) }) }, "boot-field", "", true},
		{"dirty", func(x *exfatCard) { x.b[106] |= 2 }, "dirty-flag", "", false},
		{"met errors", func(x *exfatCard) { x.b[106] |= 4 }, "error-flag", "", false},
		{"FAT[0]", func(x *exfatCard) { x.link(0, 0) }, "fat-media", "", false},

		{"no bitmap", func(x *exfatCard) { x.b[rootEntry(x, 0x81)] = 1 }, "bitmap-wrong", "", true},
		{"a bitmap too short", func(x *exfatCard) { u64(x.b[rootEntry(x, 0x81)+24:], 5) }, "bitmap-wrong", "", true},
		{"a bitmap that leads nowhere", func(x *exfatCard) { u32(x.b[rootEntry(x, 0x81)+20:], 1<<31) }, "bitmap-wrong", "", true},
		{"no up-case table", func(x *exfatCard) { x.b[rootEntry(x, 0x82)] = 2 }, "upcase-wrong", "", true},
		{"an up-case table altered", func(x *exfatCard) { x.b[x.place(x.table)+1] ^= 1 }, "upcase-wrong", "", true},
		{"an up-case table of 2^63 bytes", func(x *exfatCard) { u64(x.b[rootEntry(x, 0x82)+24:], 1<<63) }, "upcase-wrong", "", true},
		{"a label of 200 characters", func(x *exfatCard) { x.b[rootEntry(x, 0x83)+1] = 200 }, "label-extra", "/", false},
		{"in use, marked free", func(x *exfatCard) { x.mark(x.first["beta.bin"]+1, false) }, "chain-free", "beta.bin", true},
		{"marked in use by nothing", func(x *exfatCard) { x.mark(1500, true) }, "", "", false},
		{"a bad cluster", func(x *exfatCard) { x.mark(1500, true); x.link(1500, 0xFFFFFFF7) }, "", "", false},

		{"a set's checksum", func(x *exfatCard) { x.b[x.sets["alpha.bin"]+2] ^= 1 }, "set-checksum", "/", true},
		{"a set cut short", func(x *exfatCard) { x.b[x.sets["alpha.bin"]+32] = 0x05 }, "set-order", "/", true},
		{"a set of one", func(x *exfatCard) { x.alter("alpha.bin", func(s []byte) { s[1] = 0 }) }, "set-order", "/", true},
		{"a name before its place", func(x *exfatCard) {
			x.alter("alpha.bin", func(s []byte) { s[32], s[64] = 0xC1, 0xC0 })
		}, "set-order", "/", true},
		{"a name that is too long for its set", func(x *exfatCard) { x.alter("alpha.bin", func(s []byte) { s[32+3] = 200 }) }, "set-order", "/", true},
		{"an entry that isn't known", func(x *exfatCard) { x.b[rootEntry(x, 0x83)] = 0x84 }, "entry-unknown", "/", true},
		{"an entry of type 0x80", func(x *exfatCard) { x.b[rootEntry(x, 0x83)] = 0x80 }, "entry-unknown", "/", true},
		{"a label in a folder", func(x *exfatCard) {
			x.alter("sub/gamma.bin", func(s []byte) { s[0], s[32], s[64] = 0x83, 0x40, 0x41 })
		}, "entry-unknown", "sub", true},
		{"a name's hash", func(x *exfatCard) { x.alter("alpha.bin", func(s []byte) { s[32+4] ^= 1 }) }, "name-hash", "alpha.bin", true},
		{"the same name in capitals", func(x *exfatCard) {
			x.alter("alpha.bin", func(s []byte) {
				copy(s[64:], "\xc1\x00B\x00E\x00T\x00A\x00.\x00B\x00I\x00N\x00")
				s[35] = 8
				copy(s[36:38], x.b[x.sets["beta.bin"]+36:])
			})
		}, "name-twice", "beta.bin", true},
		{"a slash in a name", func(x *exfatCard) {
			x.alter("alpha.bin", func(s []byte) { s[66] = '/'; u16(s[36:], x.hash(utf16.Encode([]rune("/lpha.bin")))) })
		}, "name-bad", "\xaflpha.bin", false},
		{"a name of two dots", func(x *exfatCard) {
			x.alter("alpha.bin", func(s []byte) { copy(s[66:], ".\x00.\x00"); s[35] = 2; u16(s[36:], x.hash([]uint16{'.', '.'})) })
		}, "name-bad", "\xae\xae", true},
		{"reserved attributes", func(x *exfatCard) { x.alter("alpha.bin", func(s []byte) { s[4] |= 0x80 }) }, "entry-attributes", "alpha.bin", false},
		{"no clusters allowed", func(x *exfatCard) { x.alter("alpha.bin", func(s []byte) { s[33] &^= 1 }) }, "entry-attributes", "alpha.bin", false},
		{"more written than the size", func(x *exfatCard) { x.alter("alpha.bin", func(s []byte) { u64(s[40:], 5001) }) }, "written-size", "alpha.bin", true},
		{"a size without a cluster", func(x *exfatCard) { x.alter("empty.bin", func(s []byte) { u64(s[32+24:], 9) }) }, "size-no-cluster", "empty.bin", true},
		{"a cluster without a size", func(x *exfatCard) {
			x.alter("chain.bin", func(s []byte) { u64(s[32+24:], 0); u64(s[40:], 0) })
		}, "cluster-no-size", "chain.bin", true},
		{"a size past the clusters", func(x *exfatCard) { x.alter("alpha.bin", func(s []byte) { u64(s[32+24:], 6000) }) }, "chain-cross", "*", true},
		{"a size of 2^64-1", func(x *exfatCard) { x.alter("alpha.bin", func(s []byte) { u64(s[32+24:], 1<<64-1) }) }, "chain-cross", "*", true},
		{"a size past the chain", func(x *exfatCard) { x.alter("chain.bin", func(s []byte) { u64(s[32+24:], 2049) }) }, "chain-short", "chain.bin", true},
		{"a chain past the size", func(x *exfatCard) {
			x.alter("chain.bin", func(s []byte) { u64(s[32+24:], 1000); u64(s[40:], 1000) })
		}, "chain-long", "chain.bin", true},
		{"a first cluster past the last", func(x *exfatCard) { x.alter("beta.bin", func(s []byte) { u32(s[32+20:], 0xFFFFFFF0) }) }, "chain-range", "beta.bin", true},
		{"a chain in a loop", func(x *exfatCard) { x.link(x.first["chain.bin"]+2, x.first["chain.bin"]) }, "chain-loop", "chain.bin", true},
		{"a chain into a bad cluster", func(x *exfatCard) { x.link(x.first["chain.bin"], 0xFFFFFFF7) }, "chain-bad", "chain.bin", true},
		{"a chain out of range", func(x *exfatCard) { x.link(x.first["chain.bin"], 0xFFFFFFF8) }, "chain-range", "chain.bin", true},
		{"two files on the same clusters", func(x *exfatCard) {
			x.alter("beta.bin", func(s []byte) { u32(s[32+20:], x.first["alpha.bin"]) })
		}, "chain-cross", "beta.bin", true},
		{"a folder within itself", func(x *exfatCard) {
			x.alter("sub/inner", func(s []byte) { u32(s[32+20:], x.first["sub"]) })
		}, "directory-loop", "sub/inner", true},
		{"a folder with another size", func(x *exfatCard) {
			x.alter("sub", func(s []byte) { u64(s[32+24:], 500); u64(s[40:], 500) })
		}, "directory-size", "sub", true},
		{"a folder without a cluster", func(x *exfatCard) {
			x.alter("sub/inner", func(s []byte) { u32(s[32+20:], 0); s[33] = 1 })
		}, "directory-none", "sub/inner", true},
		{"month 15", func(x *exfatCard) { x.alter("alpha.bin", func(s []byte) { s[14] = 0xFF; s[15] = 0xFF }) }, "entry-time", "alpha.bin", false},
	} {
		t.Run(c.name, func(t *testing.T) {
			x := *whole
			x.t = t
			x.b = bytes.Clone(whole.b)
			c.breaks(&x)
			w := &watched{b: x.b}
			card := Read(w, int64(len(x.b)), Limits{})
			bounded(t, card, w.asked)
			swallow(t, card)
			assert.Equal(t, c.want, strings.Join(kinds(card), " "), "%+v", card.Faults)
			if c.path != "*" && len(card.Faults) > 0 {
				assert.Equal(t, c.path, card.Faults[0].Path)
			}
			out, fault := x.fsck()
			assert.Equal(t, c.fsck, fault, out)
		})
	}
}

// Every sector that matters fails once, and is reported with its place.
func TestEveryReadErrorOnExFAT(t *testing.T) {
	chained := aFile("chain.bin", 2000)
	chained.scattered = true
	tree := []node{aFile("alpha.bin", 5000), aFolder("sub", aFile("beta.bin", 700)), chained}
	x := exfatImage(t, 4<<20, 0, tree, "-c", "512")
	want := treeSums("", tree, map[string]string{})
	sectors := []int64{0, 1, 11, 12, 23, x.fat / 512, x.place(x.bitmap) / 512, x.place(x.table) / 512, x.place(x.root) / 512}
	for _, first := range x.first {
		sectors = append(sectors, x.place(first)/512)
	}
	sort.Slice(sectors, func(i, j int) bool { return sectors[i] < sectors[j] })
	for _, sector := range sectors {
		w := &watched{b: x.b, bad: map[int64]bool{sector: true}}
		c := Read(w, int64(len(x.b)), Limits{})
		told := unreadAt(c, sector)
		require.NotEmpty(t, c.Volumes, sector)
		v := &c.Volumes[0]
		for _, e := range v.Entries {
			b, err := io.ReadAll(v.Open(e))
			var re *ReadError
			if errors.As(err, &re) && re.Offset/512 == sector {
				told = true
				assert.ErrorIs(t, err, syscall.EIO)
			} else if !e.Dir && err == nil && want[e.Path] != "" {
				assert.Equal(t, want[e.Path], fmt.Sprintf("%d %x", len(b), sha256.Sum256(b)))
			}
		}
		assert.Truef(t, told, "sector %d: %v", sector, c.Faults)
		for k := range c.Counts {
			if sector >= 24 {
				assert.Contains(t, []FaultKind{ReadFailed}, k, "sector %d: %v", sector, c.Faults)
			}
		}
	}
}

// A type 7 partition whose boot sector is gone is read by its backup.
func TestExFATBackupAlone(t *testing.T) {
	x := exfatImage(t, 4<<20, 1<<20, []node{aFile("alpha.bin", 5000)})
	e := x.b[446:]
	e[4] = 7
	binary.LittleEndian.PutUint32(e[8:], 2048)
	binary.LittleEndian.PutUint32(e[12:], 8192)
	x.b[510], x.b[511] = 0x55, 0xAA
	x.b[x.start] = 1
	clear(x.b[x.start+1:][:511])
	c := x.read()
	assert.Equal(t, "boot-backup-used", strings.Join(kinds(c), " "))
	require.Len(t, c.Volumes, 1)
	assert.Len(t, c.Volumes[0].Entries, 1)
}

// Random damages: no panic, bounded reads, and where fsck.exfat finds fault,
// so does this package.
func TestExFATAgreesWithFsck(t *testing.T) {
	chained := aFile("chain.bin", 4000)
	chained.scattered = true
	tree := []node{
		aFile("alpha.bin", 5000), aFile("beta.bin", 3000), chained,
		aFolder("sub", aFile("gamma.bin", 700), aFolder("inner", aFile("delta.bin", 600))),
	}
	whole := exfatImage(t, 4<<20, 0, tree, "-c", "1024", "-L", "KITTIWAKE")
	rng := rand.New(rand.NewSource(5))
	for i := range some(2000) {
		x := *whole
		x.b = bytes.Clone(whole.b)
		what := exfatDamage(rng, &x)
		w := &watched{b: x.b}
		c := Read(w, int64(len(x.b)), Limits{})
		bounded(t, c, w.asked)
		swallow(t, c)
		if i%20 == 0 {
			out, fault := x.fsck()
			if fault {
				assert.NotEmptyf(t, c.Faults, "damage %d: %s\n%s", i, what, out)
			} else {
				for k := range c.Counts {
					assert.Containsf(t, passedExFAT, k, "damage %d: %s\n%s%v", i, what, out, c.Faults)
				}
			}
		}
	}
}

// passedExFAT are the kinds that fsck.exfat 1.2.0 lets pass without an error,
// and why this package reports them.
var passedExFAT = map[FaultKind]string{
	ChainFree:       "it doesn't ask whether the bitmap's and the up-case table's own clusters are marked",
	BitmapWrong:     "it reads the bitmap as one piece, whatever its chain says",
	UpcaseWrong:     "the same of the up-case table",
	DirtyFlag:       "it only clears the flag",
	ErrorFlag:       "it doesn't look at the flag",
	EntryAttributes: "it accepts reserved bits, and a contiguous file without a cluster",
	EntryTime:       "it doesn't look at times",
	FATMedia:        "it doesn't look at FAT[0]",
	NameBad:         "it accepts characters that the specification forbids",
	BootField:       "it accepts another jump",
	BootBackup:      "it looks at the backup only where the main boot region is bad",
	HiddenSectors:   "it sees the volume, not the partition",
	FATSize:         "it doesn't compare the FAT's size with the clusters",
}

// exfatDamage draws a random change to what describes the files.
func exfatDamage(rng *rand.Rand, x *exfatCard) string {
	at := int64(0)
	switch rng.Intn(5) {
	case 0:
		at = rng.Int63n(120)
	case 1:
		at = x.fat + rng.Int63n(200)*4 + rng.Int63n(4)
	case 2:
		at = x.place(x.bitmap) + rng.Int63n(20)
	default:
		sets := make([]int64, 0, len(x.sets))
		for _, s := range x.sets {
			sets = append(sets, s)
		}
		sort.Slice(sets, func(i, j int) bool { return sets[i] < sets[j] })
		set := sets[rng.Intn(len(sets))]
		at = set + rng.Int63n(96)
		if rng.Intn(2) == 0 {
			x.b[at] = byte(rng.Intn(256))
			if n := (1 + int64(x.b[set+1])) * 32; set+n < int64(len(x.b)) {
				x.seal(x.b[set:][:n])
			}
			return fmt.Sprintf("byte %d of the set at %d, sealed", at-set, set)
		}
	}
	x.b[at] ^= byte(1 + rng.Intn(255))
	return fmt.Sprintf("byte %d (FAT at %d, root at %d)", at, x.fat, x.place(x.root))
}
