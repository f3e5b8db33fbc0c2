package verify_test

import (
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"fmt"
	"io"
	"sort"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"cardwright/media"
	"cardwright/media/mediatest/shoptest"
	"cardwright/verify"
)

// digestByHand is the card's digest, from its description in package fat32 and
// the FAT32 specification alone: size and a line feed, the card to the end of
// the second FAT, the folders' clusters and the files' digests, each by place.
func digestByHand(t testing.TB, card io.ReaderAt, bytes int64) string {
	le := binary.LittleEndian
	read := func(at, n int64) []byte {
		b := make([]byte, n)
		_, err := card.ReadAt(b, at)
		require.NoError(t, err)
		return b
	}
	start := int64(le.Uint32(read(446+8, 4))) * 512
	boot := read(start, 512)
	cluster := int64(boot[13]) * 512
	fat := start + int64(le.Uint16(boot[14:]))*512
	data := fat + 2*int64(le.Uint32(boot[36:]))*512
	chain := func(first uint32) (content []byte) {
		for n := first; n >= 2 && n < 0x0FFFFFF8; n = le.Uint32(read(fat+int64(n)*4, 4)) & 0x0FFFFFFF {
			content = append(content, read(data+int64(n-2)*cluster, cluster)...)
		}
		return content
	}
	folders, files := map[uint32][]byte{}, map[uint32][]byte{}
	var walk func(first uint32)
	walk = func(first uint32) {
		folders[first] = chain(first)
		for e := folders[first]; len(e) > 0 && e[0] != 0; e = e[32:] {
			at := uint32(le.Uint16(e[20:]))<<16 | uint32(le.Uint16(e[26:]))
			switch size := le.Uint32(e[28:]); {
			case e[0] == 0xE5 || e[0] == '.' || e[11]&0x08 != 0: // deleted, dots, long names and the label
			case e[11]&0x10 != 0:
				walk(at)
			case size > 0:
				sum := sha256.Sum256(chain(at)[:size])
				files[at] = sum[:]
			}
		}
	}
	walk(le.Uint32(boot[44:]))
	h := sha256.New()
	fmt.Fprintf(h, "%d\n", bytes)
	h.Write(read(0, data))
	for _, parts := range []map[uint32][]byte{folders, files} {
		var places []uint32
		for at := range parts {
			places = append(places, at)
		}
		sort.Slice(places, func(i, j int) bool { return places[i] < places[j] })
		for _, at := range places {
			h.Write(parts[at])
		}
	}
	return hex.EncodeToString(h.Sum(nil))
}

// The writer's digest, the reader's and the one by hand are the same, for
// cards as they are sold, as they were measured, and at the edges of the
// specification's table of cluster sizes (by which the partition is that much
// smaller than the card).
func TestWriterAndReaderAgreeOnTheDigest(t *testing.T) {
	shop := shoptest.Kittiwake(t, t.TempDir())
	sizes := []int64{
		44 << 20, shoptest.Small, 100_000_256, 264 << 20, 268 << 20, 512 << 20,
		8<<30 + 4<<20, 8<<30 + 8<<20, 7_948_206_080, 31_914_983_424,
	}
	for _, nominal := range []string{"1GB", "4GB", "8GB", "16GB", "32GB", "4GiB"} {
		bytes, err := media.ImageBytes(nominal)
		require.NoError(t, err)
		sizes = append(sizes, bytes)
	}
	seen := map[string]int64{}
	for _, bytes := range sizes {
		s := sceneOf(t, shop, 1, bytes)
		r := judge(s.card, s.written())
		require.Equal(t, verify.Good, r.Verdict, "%d: %s", bytes, told(r))
		assert.Equal(t, s.outcome.Digest, r.Digest, "%d", bytes)
		assert.Equal(t, digestByHand(t, s.card, bytes), r.Digest, "%d", bytes)
		assert.Zero(t, seen[r.Digest], "the size is part of it")
		seen[r.Digest] = bytes
	}
}
