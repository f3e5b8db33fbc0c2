package fatread

import (
	"bytes"
	"encoding/binary"
	"hash/crc32"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"
)

// FuzzRead: whatever the bytes, reading them takes a bounded number of reads,
// lists a bounded number of entries, and reads no cluster for two files.
//
// An input is the number of a seed and changes to it, three bytes each: where
// (two bytes) and what. Past the last seed it is the card itself.
func FuzzRead(f *testing.F) {
	cards := seeds(f)
	for i := range cards {
		f.Add(uint8(i), []byte{})
		f.Add(uint8(i), []byte{0, 13, 3, 2, 0, 0xFF, 6, 43, 0x10})
	}
	f.Add(uint8(len(cards)), cards[0][:512])
	f.Fuzz(func(t *testing.T, number uint8, changes []byte) {
		b := changes
		if int(number) < len(cards) {
			b = bytes.Clone(cards[number])
			for ; len(changes) >= 3; changes = changes[3:] {
				b[int(binary.BigEndian.Uint16(changes))%len(b)] = changes[2]
			}
		}
		w := &watched{b: b}
		c := Read(w, int64(len(b)), Limits{})
		bounded(t, c, w.asked)
		swallow(t, c)
		c.Digest(func(Entry) ([32]byte, bool) { return [32]byte{}, true })
	})
}

// seeds are cards so small that a fuzzer gets about on them.
func seeds(t testing.TB) [][]byte {
	dir := t.TempDir()
	require.NoError(t, os.MkdirAll(filepath.Join(dir, "SUB/INNER"), 0o755))
	for name, text := range map[string]string{"A.BIN": "alpha", "A long name.bin": "long", "SUB/B.BIN": "beta", "SUB/INNER/C.BIN": ""} {
		require.NoError(t, os.WriteFile(filepath.Join(dir, name), []byte(text), 0o644))
	}
	image := mkfs(t, 64<<10, "-F", "12", "-s", "1", "-r", "16", "-a", "--invariant", "-n", "SEED")
	fillCard(t, image, dir)
	fat12, err := os.ReadFile(image)
	require.NoError(t, err)
	list := [][]byte{fat12, tinyFAT32()}
	inTable := append(make([]byte, 8*512), fat12...)
	inTable[446+4], inTable[446+8], inTable[446+12], inTable[510], inTable[511] = 1, 8, 128, 0x55, 0xAA
	return append(list, inTable, withGPT(fat12), tinyExFAT(t))
}

// tinyExFAT is the start of a card that mkfs.exfat made, of 1 MiB with its
// smallest clusters, as far as anything stands on it.
func tinyExFAT(t testing.TB) []byte {
	chained := aFile("chain.bin", 1000)
	chained.scattered = true
	x := exfatImage(t, 1<<20, 0, []node{aFile("a.bin", 700), chained, aFolder("sub", aFile("b.bin", 0))}, "-c", "512", "-b", "4K")
	return x.b[:x.place(x.next+4)]
}

// tinyFAT32 has far fewer clusters than FAT32 may: no tool makes it, but
// readers must bear it, and a fuzzer finds its way about on it.
func tinyFAT32() []byte {
	b := make([]byte, 128*512)
	boot := bootSector(128, 1, 1)
	copy(b, boot)
	copy(b[6*512:], boot)
	copy(b[512:], "RRaA")
	copy(b[512+484:], "rrAa\xff\xff\xff\xff\xff\xff\xff\xff")
	b[1022], b[1023] = 0x55, 0xAA
	for fat := range 2 {
		for c, v := range []uint32{0x0FFFFFF8, 0x0FFFFFFF, 0x0FFFFFFF, 4, 0x0FFFFFFF, 0x0FFFFFFF} {
			binary.LittleEndian.PutUint32(b[(32+fat)*512+4*c:], v)
		}
	}
	entry := func(at int, name string, attr byte, first uint16, size uint32) {
		copy(b[at:], name)
		b[at+11] = attr
		binary.LittleEndian.PutUint16(b[at+26:], first)
		binary.LittleEndian.PutUint32(b[at+28:], size)
	}
	root, sub := 34*512, 37*512
	entry(root, "A       BIN", 0x20, 3, 1000)
	entry(root+32, "SUB        ", 0x10, 5, 0)
	entry(sub, ".          ", 0x10, 5, 0)
	entry(sub+32, "..         ", 0x10, 0, 0)
	entry(sub+64, "B       BIN", 0x20, 0, 0)
	return b
}

// withGPT puts a volume behind a GPT of one entry, by the UEFI
// Specification's tables.
func withGPT(volume []byte) []byte {
	b := append(make([]byte, 40*512), volume...)
	b = append(b, make([]byte, 512)...)
	b[446+4], b[446+8], b[446+12], b[510], b[511] = 0xEE, 1, 255, 0x55, 0xAA
	entry := b[1024:1152]
	copy(entry, "\xa2\xa0\xd0\xeb\xe5\xb9\x33\x44\x87\xc0\x68\xb6\xb7\x26\x99\xc7 its own id    ")
	binary.LittleEndian.PutUint64(entry[32:], 40)
	binary.LittleEndian.PutUint64(entry[40:], uint64(40+len(volume)/512-1))
	last := len(b)/512 - 1
	header := func(at, other int) {
		h := b[at*512:]
		copy(h, "EFI PART\x00\x00\x01\x00\x5c\x00\x00\x00")
		binary.LittleEndian.PutUint64(h[24:], uint64(at))
		binary.LittleEndian.PutUint64(h[32:], uint64(other))
		binary.LittleEndian.PutUint64(h[40:], 34)
		binary.LittleEndian.PutUint64(h[48:], uint64(last-1))
		binary.LittleEndian.PutUint64(h[72:], 2)
		binary.LittleEndian.PutUint32(h[80:], 1)
		binary.LittleEndian.PutUint32(h[84:], 128)
		binary.LittleEndian.PutUint32(h[88:], crc32.ChecksumIEEE(entry))
		binary.LittleEndian.PutUint32(h[16:], crc32.ChecksumIEEE(h[:92]))
	}
	header(1, last)
	header(last, 1)
	return b
}

// The seeds are cards as they should be, so that the fuzzer starts from all
// that is read.
func TestSeeds(t *testing.T) {
	for i, b := range seeds(t) {
		c := Read(bytes.NewReader(b), int64(len(b)), Limits{})
		require.Len(t, c.Volumes, 1, i)
		require.GreaterOrEqual(t, len(c.Volumes[0].Entries), 3, i)
		delete(c.Counts, FATType)       // the tiny FAT32
		delete(c.Counts, HiddenSectors) // the volume that was put into a table
		delete(c.Counts, VolumeSize)    // exFAT, cut short
		require.Empty(t, c.Counts, i)
	}
}
