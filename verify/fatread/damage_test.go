package fatread

import (
	"bytes"
	"encoding/binary"
	"hash/crc32"
	"os"
	"path/filepath"
	"sort"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// disk is an image in memory, with what a test must know to damage it. It
// follows the specification's own words, not the reader's code.
type disk struct {
	t       testing.TB
	b       []byte
	start   int64 // of the volume
	bits    int64
	fat     int64 // of the first FAT
	fatSize int64
	fats    int64
	root    int64 // of the fixed root folder, or of its cluster
	data    int64
	cluster int64
}

func newDisk(t testing.TB, b []byte, start int64) *disk {
	t.Helper()
	d := &disk{t: t, b: b, start: start}
	bpb := b[start:]
	u16 := func(at int) int64 { return int64(binary.LittleEndian.Uint16(bpb[at:])) }
	sector := u16(11)
	d.fat = start + u16(14)*sector
	d.fats = int64(bpb[16])
	d.fatSize = u16(22) * sector
	d.bits = 16
	if d.fatSize == 0 {
		d.bits = 32
		d.fatSize = int64(binary.LittleEndian.Uint32(bpb[36:])) * sector
	}
	if string(bpb[54:59]) == "FAT12" {
		d.bits = 12
	}
	d.cluster = int64(bpb[13]) * sector
	d.root = d.fat + d.fats*d.fatSize
	d.data = d.root + u16(17)*32
	return d
}

// entry finds the one entry with a short name, as 11 bytes.
func (d *disk) entry(short string) int64 {
	d.t.Helper()
	require.Len(d.t, short, 11)
	at := int64(bytes.Index(d.b[d.root:], []byte(short)))
	require.GreaterOrEqual(d.t, at, int64(0), short)
	return d.root + at
}

func (d *disk) first(short string) uint32 {
	e := d.b[d.entry(short):]
	return uint32(binary.LittleEndian.Uint16(e[26:])) | uint32(binary.LittleEndian.Uint16(e[20:]))<<16
}

func (d *disk) place(cluster uint32) int64 { return d.data + (int64(cluster)-2)*d.cluster }

// link sets an entry in one FAT.
func (d *disk) link(copy int64, cluster, v uint32) {
	at := d.b[d.fat+copy*d.fatSize+int64(cluster)*d.bits/8:]
	switch d.bits {
	case 32:
		binary.LittleEndian.PutUint32(at, v)
	case 16:
		binary.LittleEndian.PutUint16(at, uint16(v))
	default:
		was := binary.LittleEndian.Uint16(at)
		if cluster%2 == 0 {
			binary.LittleEndian.PutUint16(at, was&0xF000|uint16(v)&0xFFF)
		} else {
			binary.LittleEndian.PutUint16(at, was&0x000F|uint16(v)<<4)
		}
	}
}

// links sets it in every FAT.
func (d *disk) links(cluster, v uint32) {
	for i := range d.fats {
		d.link(i, cluster, v)
	}
}

func (d *disk) put16(at int64, v uint16) { binary.LittleEndian.PutUint16(d.b[at:], v) }
func (d *disk) put32(at int64, v uint32) { binary.LittleEndian.PutUint32(d.b[at:], v) }

// end is an end mark, bad a bad mark.
func (d *disk) end() uint32 { return uint32(1)<<min(d.bits, 28) - 1 }
func (d *disk) bad() uint32 { return d.end() &^ 8 }

func (d *disk) setFirst(short string, cluster uint32) {
	at := d.entry(short)
	d.put16(at+26, uint16(cluster))
	if d.bits == 32 {
		d.put16(at+20, uint16(cluster>>16))
	}
}

func (d *disk) read() *Card { return Read(bytes.NewReader(d.b), int64(len(d.b)), Limits{}) }

// kinds gives the kinds of faults, each once.
func kinds(c *Card) []string {
	list := []string{}
	for k := range c.Counts {
		list = append(list, string(k))
	}
	sort.Strings(list)
	return list
}

// sample makes a small card with mtools: clusters of 512 bytes, so that files
// have chains.
func sample(t testing.TB, bits string) *disk {
	t.Helper()
	var image, where string
	var start int64
	base := []string{"-F", bits, "-s", "1", "-n", "KITTIWAKE", "--invariant"}
	if bits == "12" {
		image = mkfs(t, 2<<20, base...)
		where = image
	} else {
		size, kind, blocks := int64(12<<20), "6", "8000"
		if bits == "32" {
			size, kind, blocks = 44<<20, "c", "40000"
		}
		image, start = blank(t, size), 4<<20
		where = image + "@@4M"
		feed(t, "label: dos\nstart=8192, type="+kind+"\n", "sfdisk", "-q", image)
		run(t, "mkfs.fat", append(base, "-h", "8192", "--offset", "8192", image, blocks)...)
	}
	fillCard(t, where, sampleTree(t))
	b, err := os.ReadFile(image)
	require.NoError(t, err)
	d := newDisk(t, b, start)
	require.Empty(t, d.read().Faults)
	return d
}

func sampleTree(t testing.TB) string {
	t.Helper()
	dir := t.TempDir()
	for name, size := range map[string]int{
		"ALPHA.BIN": 2000, "BETA.BIN": 1500, "EMPTY.BIN": 0, "A long name for the sheet.txt": 100,
		"SUB/GAMMA.BIN": 700, "SUB/INNER/DELTA.BIN": 600, "OTHER/ZETA.BIN": 300,
	} {
		path := filepath.Join(dir, name)
		require.NoError(t, os.MkdirAll(filepath.Dir(path), 0o755))
		require.NoError(t, os.WriteFile(path, bytes.Repeat([]byte{byte(size)}, size), 0o644))
	}
	return dir
}

const (
	alpha = "ALPHA   BIN"
	beta  = "BETA    BIN"
	empty = "EMPTY   BIN"
	gamma = "GAMMA   BIN"
	long  = "ALONGN~1TXT"
	sub   = "SUB        "
	inner = "INNER      "
	other = "OTHER      "
)

// Each damage to one structure is reported by its own kind, with what follows
// from it and nothing else. Where nothing else is named, the rules are those of the
// FAT32 specification.
func TestEachDamage(t *testing.T) {
	for _, c := range []struct {
		name   string
		bits   string // "all": each width
		breaks func(d *disk)
		want   string // kinds, sorted
		path   string // of the first fault
	}{
		// The partition table.
		{"no signature on the table", "32", func(d *disk) { d.b[510] = 0 }, "table-signature", ""},
		{"status neither 0x00 nor 0x80", "32", func(d *disk) { d.b[446] = 0x7F }, "table-entry", ""},
		{"a partition of no sectors", "32", func(d *disk) { d.put32(446+16+12, 0); d.b[446+16+4] = 0x0C }, "table-entry", ""},
		{"a partition past the end", "32", func(d *disk) { d.put32(446+12, 1<<31) }, "partition-outside", ""},
		{"two partitions over one another", "32", func(d *disk) { copy(d.b[446+16:], d.b[446:446+16]) }, "partition-overlap", ""},
		{"announced as another file system", "32", func(d *disk) { d.b[446+4] = 0x07 }, "partition-type", ""},
		{"announced as FAT16", "32", func(d *disk) { d.b[446+4] = 0x06 }, "partition-type", ""},
		{"announced as hidden", "32", func(d *disk) { d.b[446+4] = 0x1C }, "partition-type", ""},
		{"announced as an EFI system's", "32", func(d *disk) { d.b[446+4] = 0xEF }, "partition-type", ""},
		{"FAT16 announced as FAT32", "16", func(d *disk) { d.b[446+4] = 0x0C }, "partition-type", ""},
		{"an extended partition that leads nowhere", "32", func(d *disk) {
			d.b[446+16+4] = 0x0F
			d.put32(446+16+8, 20)
			d.put32(446+16+12, 10)
		}, "table-chain", ""},
		{"logical partitions in a loop", "32", func(d *disk) {
			d.b[446+16+4] = 0x05
			d.put32(446+16+8, 20)
			d.put32(446+16+12, 10)
			d.b[20*512+510], d.b[20*512+511] = 0x55, 0xAA
			d.b[20*512+446+16+4] = 0x05
			d.put32(20*512+446+16+12, 10)
		}, "table-chain", ""},
		{"a GPT left from before", "32", func(d *disk) { copy(d.b[512:], "EFI PART") }, "table-stale", ""},
		{"a GPT's backup left from before", "32", func(d *disk) { copy(d.b[len(d.b)-512:], "EFI PART") }, "table-left", ""},
		{"a boot sector that is a table, too", "12", func(d *disk) { d.b[446+4] = 0x0C; d.put32(446+8, 99); d.put32(446+12, 9) }, "table-ambiguous", ""},

		// The boot sector.
		{"no signature", "32", func(d *disk) { d.b[d.start+510] = 0 }, "boot-backup boot-signature", ""},
		{"no signature", "16", func(d *disk) { d.b[d.start+510] = 0 }, "boot-signature", ""},
		{"no jump", "16", func(d *disk) { d.b[d.start] = 0 }, "boot-field", ""},
		{"500 bytes a sector", "32", func(d *disk) { d.put16(d.start+11, 500) }, "boot-backup boot-backup-used boot-field", ""},
		{"500 bytes a sector", "16", func(d *disk) { d.put16(d.start+11, 500) }, "boot-field", ""},
		{"3 sectors a cluster", "16", func(d *disk) { d.b[d.start+13] = 3 }, "boot-field", ""},
		{"no reserved sector", "16", func(d *disk) { d.put16(d.start+14, 0) }, "boot-field", ""},
		{"no FAT", "16", func(d *disk) { d.b[d.start+16] = 0 }, "boot-field", ""},
		{"no root entries", "16", func(d *disk) { d.put16(d.start+17, 0) }, "boot-field", ""},
		{"no sectors", "32", func(d *disk) { d.put32(d.start+32, 0) }, "boot-backup boot-backup-used boot-field", ""},
		{"FATs that leave no room", "32", func(d *disk) { d.put32(d.start+36, 0xFFFFFFFF) }, "boot-backup boot-backup-used boot-field", ""},
		{"media below 0xf0", "16", func(d *disk) { d.b[d.start+21] = 0x33 }, "boot-field fat-media", ""},
		{"version 1", "32", func(d *disk) { d.put16(d.start+42, 1) }, "boot-backup boot-field", ""},
		{"one FAT of the two kept", "32", func(d *disk) { d.put16(d.start+40, 0x80) }, "boot-backup boot-field", ""},
		{"the boot code altered", "32", func(d *disk) { d.b[d.start+200] ^= 1 }, "boot-code", ""},
		{"the maker's name in the backup altered", "32", func(d *disk) { d.b[d.start+6*512+3] ^= 1 }, "boot-code", ""},
		{"the backup's FAT size altered", "32", func(d *disk) { d.b[d.start+6*512+36] ^= 1 }, "boot-backup", ""},
		{"the backup's FAT size and code altered", "32", func(d *disk) { d.b[d.start+6*512+36] ^= 1; d.b[d.start+6*512+3] ^= 1 }, "boot-backup", ""},
		{"a text in the boot code where a table would stand", "32", func(d *disk) {
			for _, sector := range []int64{0, 6} {
				copy(d.b[d.start+sector*512+430:], "\r\nNo system here.\r\nTake the disk out and press a key.\r\n\x00\x00\xac\xcb\xd8")
			}
		}, "", ""},
		{"no backup", "32", func(d *disk) { d.put16(d.start+50, 0) }, "boot-alone", ""},
		{"a backup among the FATs", "32", func(d *disk) { d.put16(d.start+50, 999) }, "boot-backup boot-field", ""},
		{"hidden sectors", "32", func(d *disk) { d.put32(d.start+28, 63); d.put32(d.start+6*512+28, 63) }, "hidden-sectors", ""},
		{"larger than the card", "16", func(d *disk) { d.put16(d.start+19, 60000) }, "fat-size volume-size", ""},
		{"larger than the partition", "16", func(d *disk) { d.put32(446+12, 15000) }, "volume-size", ""},
		{"as few clusters as a FAT16", "32", func(d *disk) {
			for _, at := range []int64{d.start, d.start + 6*512} {
				d.put32(at+32, 60000)
			}
		}, "fat-type info-free", ""},
		{"dirty in the boot sector", "32", func(d *disk) { d.b[d.start+65] |= 1 }, "dirty-flag", ""},
		{"dirty in the boot sector", "16", func(d *disk) { d.b[d.start+37] |= 1 }, "dirty-flag", ""},
		{"another label in the boot sector", "32", func(d *disk) {
			copy(d.b[d.start+71:], "SKERRY     ")
			copy(d.b[d.start+6*512+71:], "SKERRY     ")
		}, "label-differs", ""},

		// FSInfo.
		{"FSInfo's first mark", "32", func(d *disk) { d.b[d.start+512] ^= 1 }, "info-signature", ""},
		{"FSInfo's second mark", "32", func(d *disk) { d.b[d.start+512+484] ^= 1 }, "info-signature", ""},
		{"FSInfo's last mark", "32", func(d *disk) { d.b[d.start+512+510] ^= 1 }, "info-signature", ""},
		{"the count of free clusters", "32", func(d *disk) { d.b[d.start+512+488] ^= 1 }, "info-free", ""},
		{"the next free cluster", "32", func(d *disk) { d.put32(d.start+512+492, 1<<30) }, "info-next", ""},
		{"no FSInfo", "32", func(d *disk) { d.put16(d.start+48, 0); d.put16(d.start+6*512+48, 0) }, "info-signature", ""},

		// The FATs.
		{"FAT[0]", "all", func(d *disk) { d.links(0, d.end()-0xF) }, "fat-media", ""},
		{"dirty", "32", func(d *disk) { d.links(1, 0x07FFFFFF) }, "dirty-flag", ""},
		{"dirty", "16", func(d *disk) { d.links(1, 0x7FFF) }, "dirty-flag", ""},
		{"met read errors", "32", func(d *disk) { d.links(1, 0x0BFFFFFF) }, "error-flag", ""},
		{"met read errors", "16", func(d *disk) { d.links(1, 0xBFFF) }, "error-flag", ""},
		{"the second FAT altered", "all", func(d *disk) { d.link(1, d.first(alpha), d.end()) }, "fats-differ", ""},
		{"the second FAT altered where nothing is", "all", func(d *disk) { d.link(1, 3000, 3001) }, "fats-differ", ""},
		{"a loop of one", "all", func(d *disk) { d.links(d.first(alpha), d.first(alpha)) }, "chain-loop clusters-lost", "ALPHA.BIN"},
		{"a loop back to the start", "all", func(d *disk) { d.links(d.first(alpha)+3, d.first(alpha)) }, "chain-loop", "ALPHA.BIN"},
		{"two files on one chain", "all", func(d *disk) { d.setFirst(beta, d.first(alpha)) }, "chain-cross clusters-lost", "BETA.BIN"},
		{"a file that runs into another", "all", func(d *disk) { d.links(d.first(beta), d.first(alpha)+1) }, "chain-cross clusters-lost", "*"},
		{"a file on a folder's cluster", "all", func(d *disk) { d.setFirst(beta, d.first(sub)) }, "chain-cross clusters-lost", "BETA.BIN"},
		{"a link past the last cluster", "all", func(d *disk) { d.links(d.first(alpha), d.bad()-1) }, "chain-range clusters-lost", "ALPHA.BIN"},
		{"a link to cluster 1", "all", func(d *disk) { d.links(d.first(alpha), 1) }, "chain-range clusters-lost", "ALPHA.BIN"},
		{"a first cluster past the last", "all", func(d *disk) { d.setFirst(alpha, d.bad()-1) }, "chain-range clusters-lost", "ALPHA.BIN"},
		{"a link to a free cluster", "all", func(d *disk) { d.links(d.first(alpha)+1, 3000) }, "chain-free clusters-lost", "ALPHA.BIN"},
		{"a link to a bad cluster", "all", func(d *disk) { d.links(3000, d.bad()); d.links(d.first(alpha)+1, 3000) }, "chain-bad clusters-lost INFO", "ALPHA.BIN"},
		{"a chain cut short", "all", func(d *disk) { d.links(d.first(alpha)+1, d.end()) }, "chain-short clusters-lost", "ALPHA.BIN"},
		{"a size past the chain", "all", func(d *disk) { d.put32(d.entry(alpha)+28, 2049) }, "chain-short", "ALPHA.BIN"},
		{"the largest size", "all", func(d *disk) { d.put32(d.entry(alpha)+28, 0xFFFFFFFF) }, "chain-short", "ALPHA.BIN"},
		{"a chain past the size", "all", func(d *disk) { d.put32(d.entry(alpha)+28, 1536) }, "chain-long", "ALPHA.BIN"},
		{"clusters in use by nothing", "all", func(d *disk) { d.links(3000, d.end()) }, "clusters-lost INFO", ""},

		// Directories.
		{"a character no short name has", "all", func(d *disk) { d.b[d.entry(alpha)+2] = '*' }, "name-bad", "AL*HA.BIN"},
		{"a control character", "all", func(d *disk) { d.b[d.entry(alpha)+2] = 7 }, "name-bad", "AL\x07HA.BIN"},
		{"lower case in a short name", "all", func(d *disk) { d.b[d.entry(alpha)+2] = 'p' }, "name-bad", "ALpHA.BIN"},
		{"a slash in a short name", "all", func(d *disk) { d.b[d.entry(alpha)+2] = '/' }, "name-bad", "AL\xafHA.BIN"},
		{"a short name that begins with a space", "all", func(d *disk) { d.b[d.entry(alpha)] = ' ' }, "name-bad", " LPHA.BIN"},
		{"a slash in a long name", "all", func(d *disk) { d.b[d.entry(long)-32+3] = '/' }, "name-bad", "A\xaflong name for the sheet.txt"},
		{"a NUL first in a long name", "all", func(d *disk) { d.b[d.entry(long)-32+1] = 0 }, "long-entry name-bad", "*"},
		{"half a surrogate pair", "all", func(d *disk) { d.put16(d.entry(long)-32+3, 0xD800) }, "name-bad", "A\xed\xa0\x80long name for the sheet.txt"},
		{"a dot last in a long name", "all", func(d *disk) { d.put16(d.entry(long)-96+5, '.') }, "name-bad", "A long name for the sheet.tx."},
		{"two names that differ in case", "all", func(d *disk) {
			copy(d.b[d.entry(beta):], alpha)
		}, "name-twice", "*"},
		{"a long name that is another's short name", "all", func(d *disk) {
			copy(d.b[d.entry(alpha):], "SHORT   BIN")
			at := d.entry(long)
			sum := checksumOf(d.b[at : at+11])
			copy(d.b[at-96:at], make([]byte, 96))
			for i := range 96 {
				d.b[at-96+int64(i)] = 0xFF
			}
			d.b[at-96], d.b[at-64] = 0xE5, 0xE5
			e := d.b[at-32 : at]
			e[0], e[11], e[12], e[13], e[26], e[27] = 0x41, 0x0F, 0, sum, 0, 0
			for i, r := range "short.bin" {
				e[unitAt(i)], e[unitAt(i)+1] = byte(r), 0
			}
			e[unitAt(9)], e[unitAt(9)+1] = 0, 0
		}, "name-twice", "*"},
		{"a long name with nothing to name", "all", func(d *disk) { d.b[d.entry(long)] = 0xE5 }, "clusters-lost long-orphan", "/"},
		{"a long name without its last part", "all", func(d *disk) { d.b[d.entry(long)-32] = 0xE5 }, "long-orphan", "/"},
		{"a long name without its first part", "all", func(d *disk) { d.b[d.entry(long)-96] = 0xE5 }, "long-order", "/"},
		{"parts of a long name out of order", "all", func(d *disk) { d.b[d.entry(long)-64] = 1 }, "long-order", "/"},
		{"a part numbered 0", "all", func(d *disk) { d.b[d.entry(long)-96] = 0x40 }, "long-order", "/"},
		{"a part numbered 21", "all", func(d *disk) { d.b[d.entry(long)-96] = 0x40 | 21 }, "long-order", "/"},
		{"a long name for another short name", "all", func(d *disk) { d.b[d.entry(long)+5] ^= 1 }, "long-checksum", "/"},
		{"parts with two checksums", "all", func(d *disk) { d.b[d.entry(long)-32+13] ^= 1 }, "long-order", "/"},
		{"a long-name part with a cluster", "all", func(d *disk) { d.b[d.entry(long)-32+26] = 9 }, "long-entry", "/"},
		{"a long-name part of another type", "all", func(d *disk) { d.b[d.entry(long)-32+12] = 1 }, "long-entry", "/"},
		{"a size without a cluster", "all", func(d *disk) { d.put32(d.entry(empty)+28, 5) }, "size-no-cluster", "EMPTY.BIN"},
		{"a cluster without a size", "all", func(d *disk) { d.put32(d.entry(alpha)+28, 0) }, "cluster-no-size", "ALPHA.BIN"},
		{"a folder with a size", "all", func(d *disk) { d.put32(d.entry(sub)+28, 512) }, "directory-size", "SUB"},
		{"a folder without a cluster", "all", func(d *disk) { d.setFirst(other, 0) }, "clusters-lost directory-none", "OTHER"},
		{"a folder within itself", "all", func(d *disk) { d.setFirst(inner, d.first(sub)) }, "clusters-lost directory-loop", "SUB/INNER"},
		{"two folders on one chain", "all", func(d *disk) { d.setFirst(other, d.first(sub)) }, "chain-cross clusters-lost", "*"},
		{"the root within a folder", "32", func(d *disk) { d.setFirst(inner, 2) }, "clusters-lost directory-loop", "SUB/INNER"},
		{". leading elsewhere", "all", func(d *disk) { d.put16(d.place(d.first(sub))+26, 3) }, "dot-entry", "SUB"},
		{".. leading elsewhere", "all", func(d *disk) { d.put16(d.place(d.first(inner))+32+26, 3) }, "dot-entry", "SUB/INNER"},
		{".. of a folder in the root leading to a cluster", "all", func(d *disk) { d.put16(d.place(d.first(sub))+32+26, 2) }, "dot-entry", "SUB"},
		{"no .", "all", func(d *disk) { d.b[d.place(d.first(sub))] = 0xE5 }, "dot-entry", "SUB"},
		{"no ..", "all", func(d *disk) { d.b[d.place(d.first(sub))+32] = 0xE5 }, "dot-entry", "SUB"},
		{"a . that is no folder", "all", func(d *disk) { d.b[d.place(d.first(sub))+11] = 0x20 }, "dot-entry", "SUB"},
		{".. in the root", "all", func(d *disk) { copy(d.b[d.entry(empty):], "..         ") }, "dot-entry", "/"},
		{"a folder that begins with the end mark", "all", func(d *disk) { d.b[d.place(d.first(other))] = 0 }, "clusters-lost dot-entry entry-behind", "OTHER"},
		{"an entry behind the end mark", "all", func(d *disk) { copy(d.b[d.place(d.first(sub))+480:], d.b[d.entry(alpha):][:32]) }, "entry-behind", "SUB"},
		{"a deleted entry behind the end mark", "all", func(d *disk) {
			copy(d.b[d.place(d.first(sub))+480:], d.b[d.entry(alpha):][:32])
			d.b[d.place(d.first(sub))+480] = 0xE5
		}, "", "*"},
		{"two volume labels", "all", func(d *disk) { d.b[d.entry(empty)+11] = 8 }, "label-extra", "/"},
		{"a volume label in a folder", "all", func(d *disk) { d.b[d.entry(gamma)+11] = 8 }, "clusters-lost entry-attributes label-extra", "SUB"},
		{"a label that is a folder", "all", func(d *disk) { d.b[d.entry("KITTIWAKE  ")+11] |= 0x10 }, "entry-attributes", "/"},
		{"no label in the root folder", "all", func(d *disk) { d.b[d.entry("KITTIWAKE  ")] = 0xE5 }, "label-differs", ""},
		{"month 13", "all", func(d *disk) { d.put16(d.entry(alpha)+24, 44<<9|13<<5|1) }, "entry-time", "ALPHA.BIN"},
		{"30 February", "all", func(d *disk) { d.put16(d.entry(alpha)+24, 44<<9|2<<5|30) }, "entry-time", "ALPHA.BIN"},
		{"24 o'clock", "all", func(d *disk) { d.put16(d.entry(alpha)+22, 24<<11) }, "entry-time", "ALPHA.BIN"},
	} {
		widths := []string{c.bits}
		if c.bits == "all" {
			widths = []string{"12", "16", "32"}
		}
		for _, bits := range widths {
			t.Run(bits+"/"+c.name, func(t *testing.T) {
				d := samples(t, bits)
				c.breaks(d)
				card := d.read()
				assert.Equal(t, expand(c.want, bits), strings.Join(kinds(card), " "), "%+v", card.Faults)
				if c.path != "*" && c.want != "" && assert.NotEmpty(t, card.Faults) {
					assert.Equal(t, c.path, card.Faults[0].Path)
				}
			})
		}
	}
}

// expand puts in what FSInfo, which FAT32 alone has, makes of a changed count.
func expand(want, bits string) string {
	list := strings.Fields(want)
	for i, k := range list {
		if k == "INFO" {
			list[i] = "info-free"
			if bits != "32" {
				list = append(list[:i], list[i+1:]...)
			}
		}
	}
	sort.Strings(list)
	return strings.Join(list, " ")
}

// live is the part of a sample that a test may alter, besides its last MiB.
const live = 6 << 20

var made = map[string][2][]byte{} // as made, and as the tests have it

// samples lends each test the same card, and takes its damage back.
func samples(t testing.TB, bits string) *disk {
	if made[bits][0] == nil {
		d := sample(t, bits)
		made[bits] = [2][]byte{d.b, bytes.Clone(d.b)}
	}
	whole, lent := made[bits][0], made[bits][1]
	t.Cleanup(func() {
		copy(lent[:min(live, len(lent))], whole)
		copy(lent[len(lent)-1<<20:], whole[len(whole)-1<<20:])
	})
	start := int64(4 << 20)
	if bits == "12" {
		start = 0
	}
	return newDisk(t, lent, start)
}

// checksumOf is the specification's ChkSum, by its own words: rotate right,
// add the next byte.
func checksumOf(short []byte) (sum byte) {
	for _, b := range short {
		carry := sum & 1
		sum = sum>>1 + carry*0x80 + b
	}
	return sum
}

// unitAt is where the i-th character of a part stands.
func unitAt(i int) int {
	return []int{1, 3, 5, 7, 9, 14, 16, 18, 20, 22, 24, 28, 30}[i]
}

// The checksum's values are worked from the published algorithm.
func TestChecksum(t *testing.T) {
	for name, want := range map[string]byte{
		"FOO     BAR": 0x53, "README  TXT": 0x73, "THEQUI~1FOX": 0x07, "NO NAME    ": 0xB3, "LETTER~1DOC": 0xDA,
	} {
		assert.Equal(t, want, checksum([]byte(name)), name)
	}
}

// 2024-02-29 12:34:57 reads :56, in steps of two seconds (worked by hand).
func TestTime(t *testing.T) {
	got, ok := fatTime(0x585D, 0x645C)
	assert.True(t, ok)
	assert.Equal(t, "2024-02-29 12:34:56", got.Format("2006-01-02 15:04:05"))
	got, ok = fatTime(0x0021, 0)
	assert.True(t, ok)
	assert.Equal(t, "1980-01-01 00:00:00", got.Format("2006-01-02 15:04:05"))
	got, ok = fatTime(0, 0)
	assert.True(t, ok && got.IsZero())
}

// A GPT made by sgdisk is read from either copy, and each damage to it told.
func TestGPT(t *testing.T) {
	image := blank(t, 8<<20)
	run(t, "sgdisk", "-n", "1:2048:+4M", "-t", "1:0700", "-n", "3:0:+1M", "-t", "3:8300", image)
	run(t, "mkfs.fat", "-F", "16", "-s", "1", "-h", "2048", "--offset", "2048", image, "4096")
	whole, err := os.ReadFile(image)
	require.NoError(t, err)
	last := int64(len(whole) - 512)
	for _, c := range []struct {
		name   string
		breaks func(b []byte)
		want   string
		found  bool
	}{
		{"none", func([]byte) {}, "", true},
		{"a hybrid MBR", func(b []byte) {
			copy(b[446+16:], "\x00\x00\x00\x00\x0c\x00\x00\x00\x00\x08\x00\x00\x00\x20\x00\x00")
		}, "table-ambiguous", true},
		{"main header", func(b []byte) { b[512+40] ^= 1 }, "gpt-header", true},
		{"main header's mark", func(b []byte) { b[512] ^= 1 }, "gpt-header", true},
		{"main header's size", func(b []byte) { binary.LittleEndian.PutUint32(b[512+12:], 1<<31) }, "gpt-header", true},
		{"main entries", func(b []byte) { b[1024+50] ^= 1 }, "gpt-backup gpt-entries", true},
		{"backup header", func(b []byte) { b[last+40] ^= 1 }, "gpt-backup", true},
		{"backup entries", func(b []byte) { b[last-32*512+50] ^= 1 }, "gpt-backup gpt-entries", true},
		{"both headers", func(b []byte) { b[512] ^= 1; b[last] ^= 1 }, "gpt-backup gpt-header", false},
		{"2^32-1 entries", func(b []byte) { reGPT(b, func(h []byte) { binary.LittleEndian.PutUint32(h[80:], 0xFFFFFFFF) }) }, "gpt-header", true},
		{"entries of 2^32-1 bytes", func(b []byte) { reGPT(b, func(h []byte) { binary.LittleEndian.PutUint32(h[84:], 0xFFFFFFFF) }) }, "gpt-header", true},
		{"entries of 0 bytes", func(b []byte) { reGPT(b, func(h []byte) { binary.LittleEndian.PutUint32(h[84:], 0) }) }, "gpt-header", true},
		{"entries past the card", func(b []byte) { reGPT(b, func(h []byte) { binary.LittleEndian.PutUint64(h[72:], 1<<63) }) }, "gpt-backup gpt-entries", false},
		{"a partition past the card", func(b []byte) { binary.LittleEndian.PutUint64(b[1024+128*2+40:], 1<<62) }, "gpt-backup gpt-entries partition-outside table-entry", true},
	} {
		t.Run(c.name, func(t *testing.T) {
			b := bytes.Clone(whole)
			c.breaks(b)
			card := Read(bytes.NewReader(b), int64(len(b)), Limits{})
			assert.Equal(t, c.want, strings.Join(kinds(card), " "), "%+v", card.Faults)
			if !c.found {
				assert.Empty(t, card.Volumes)
				return
			}
			assert.Equal(t, GPT, card.Table)
			require.NotEmpty(t, card.Partitions)
			p := card.Partitions[0]
			assert.Equal(t, Partition{1, "ebd0a0a2-b9e5-4433-87c0-68b6b72699c7", 1 << 20, 4 << 20, GPT, FAT16}, p)
			assert.Equal(t, 3, card.Partitions[1].Number)
			require.Len(t, card.Volumes, 1)
		})
	}
}

// reGPT alters the main header and gives it a right checksum.
func reGPT(b []byte, alter func(h []byte)) {
	h := b[512 : 512+92]
	alter(h)
	clear(h[16:20])
	binary.LittleEndian.PutUint32(h[16:], crc32.ChecksumIEEE(h))
}

// Logical partitions, by sfdisk.
func TestLogicalPartitions(t *testing.T) {
	image := blank(t, 64<<20)
	feed(t, "label: dos\nstart=2048, size=20480, type=6\nstart=22528, type=f\nstart=24576, size=20480, type=6\nstart=47104, size=20480, type=6\nstart=69632, size=10240, type=1\n", "sfdisk", "-q", image)
	for _, at := range []string{"2048", "24576", "47104"} {
		run(t, "mkfs.fat", "-F", "16", "-s", "1", "-h", at, "--offset", at, image, "10240")
	}
	card := readImage(t, image)
	assert.Empty(t, card.Faults)
	var got []int
	for _, p := range card.Partitions {
		got = append(got, p.Number, int(p.Start/512), int(p.Length/512))
	}
	assert.Equal(t, []int{1, 2048, 20480, 5, 24576, 20480, 6, 47104, 20480, 7, 69632, 10240}, got)
	assert.Len(t, card.Volumes, 3)
}
