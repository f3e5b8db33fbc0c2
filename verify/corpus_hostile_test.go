package verify_test

import (
	"archive/zip"
	"bytes"
	"compress/flate"
	"encoding/binary"
	"io"
	"os"
	"runtime"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"cardwright/manifest/digest"
	"cardwright/media"
	"cardwright/verify"
)

// overlapping is an archive whose members all unpack the same stream. Its
// records are by PKWARE's APPNOTE.TXT, 4.3.12 and 4.3.16.
func overlapping(t testing.TB, members int, content []byte) []byte {
	var one bytes.Buffer
	w := zip.NewWriter(&one)
	f, err := w.CreateHeader(&zip.FileHeader{Name: "a", Method: zip.Deflate})
	require.NoError(t, err)
	_, err = f.Write(content)
	require.NoError(t, err)
	require.NoError(t, w.Close())
	b := one.Bytes()
	end := bytes.Clone(b[len(b)-22:])
	size, at := binary.LittleEndian.Uint32(end[12:]), binary.LittleEndian.Uint32(end[16:])
	out := append(bytes.Clone(b[:at]), bytes.Repeat(b[at:at+size], members)...)
	binary.LittleEndian.PutUint16(end[8:], uint16(members))
	binary.LittleEndian.PutUint16(end[10:], uint16(members))
	binary.LittleEndian.PutUint32(end[12:], size*uint32(members))
	return append(out, end...)
}

// claiming is an archive whose one member is that many zeros, and claims size bytes.
func claiming(t testing.TB, zeros int, size uint64) []byte {
	var packed bytes.Buffer
	d, err := flate.NewWriter(&packed, flate.BestCompression)
	require.NoError(t, err)
	_, err = d.Write(make([]byte, zeros))
	require.NoError(t, err)
	require.NoError(t, d.Close())
	var out bytes.Buffer
	w := zip.NewWriter(&out)
	f, err := w.CreateRaw(&zip.FileHeader{
		Name: beacon, Method: zip.Deflate, CompressedSize64: uint64(packed.Len()), UncompressedSize64: size,
	})
	require.NoError(t, err)
	_, err = f.Write(packed.Bytes())
	require.NoError(t, err)
	require.NoError(t, w.Close())
	return out.Bytes()
}

// Archives that expand to terabytes are reported and never good; what is unpacked
// of them is bounded, which is seen by how little of them is read.
func TestCorpusZipBombs(t *testing.T) {
	large := make([]byte, 4<<20)
	for i := 0; i < len(large); i += 600 { // just below the largest ratio that is followed
		large[i] = byte(i >> 8)
	}
	bombs := map[string][]byte{
		"4,000 members of 4 MiB":               overlapping(t, 4000, large),
		"4,000 members of a known size":        overlapping(t, 4000, make([]byte, 4096)),
		"more members than are looked at":      overlapping(t, 5000, make([]byte, 4096)),
		"a list that is longer than is held":   overlapping(t, 65000, nil),
		"128 MiB that claims a known size":     claiming(t, 128<<20, 4096),
		"a known size that it never comes to":  claiming(t, 10, 4096),
		"an archive within an archive, thrice": overlapping(t, 1, overlapping(t, 1, overlapping(t, 100, large))),
	}
	for name, bomb := range bombs {
		t.Run(name, func(t *testing.T) {
			s := newStranger(t, corpusShopWith(t, nil), "kittiwake", corpusCard)
			s.good()
			s.put("bomb.zip", bomb)
			image, err := os.Open(s.path)
			require.NoError(t, err)
			defer image.Close()
			o := &overlay{ReaderAt: image, fails: -1}
			e := asked(t, s.shop, "kittiwake", corpusCard, verify.Listing{})
			var before, after runtime.MemStats
			runtime.ReadMemStats(&before)
			r := verify.Card(t.Context(), o, corpusCard, e, nil)
			runtime.ReadMemStats(&after)
			assert.Equal(t, verify.Bad, r.Verdict)
			assert.Len(t, found(r, verify.StillZipped), 1, told(r))
			assert.Len(t, r.Findings, 2, told(r)) // and that there is no record
			assert.Less(t, o.asked, int64(64<<20+4*len(bomb)))
			assert.EqualValues(t, o.asked, r.Counts.BytesRead, "what is read of archives is counted, too")
			assert.Less(t, after.TotalAlloc-before.TotalAlloc, uint64(512<<20))
		})
	}
}

// What lies deeper than is followed is unchecked, and never good.
func TestCorpusDeepFolders(t *testing.T) {
	s := newStranger(t, corpusShopWith(t, nil), "kittiwake", corpusCard)
	s.good()
	s.put(strings.Repeat("d/", 45)+"deep.txt", []byte("x"))
	r := judgeStranger(t, s, "kittiwake")
	assert.NotEqual(t, verify.Good, r.Verdict)
	assert.NotEmpty(t, found(r, verify.Unreadable), told(r))
}

// A chain of every cluster of the card: read no further than the file is said
// to be long, and not called good.
func TestCorpusEndlessChain(t *testing.T) {
	v := newVictim(t)
	p := v.places
	all := []overlaid{}
	last := uint32((v.size-p.data)/p.cluster) + 1
	chain := make([]byte, 0, int64(last)*4)
	for c := uint32(2); c < last; c++ {
		chain = binary.LittleEndian.AppendUint32(chain, c+1)
	}
	chain = binary.LittleEndian.AppendUint32(chain, 2)
	for fat := range int64(2) {
		all = append(all, overlaid{p.fat + fat*p.fatBytes + 8, chain})
	}
	image := readAll(t, v.path)
	for _, c := range all {
		copy(image[c.at:], c.with)
	}
	o := &overlay{ReaderAt: bytes.NewReader(image), fails: -1}
	r := v.judge(o)
	assert.Equal(t, verify.Bad, r.Verdict)
	assert.NotEmpty(t, found(r, verify.Structure))
	assert.LessOrEqual(t, o.asked, 4*v.size)
}

// blocks notes which blocks of 512 bytes were read.
type blocks struct {
	io.ReaderAt
	asked int64
	seen  []uint64
}

func (b *blocks) ReadAt(p []byte, off int64) (int, error) {
	b.asked += int64(len(p))
	for at := off / 512; at*512 < off+int64(len(p)); at++ {
		b.seen[at/64] |= 1 << (at % 64)
	}
	return b.ReaderAt.ReadAt(p, off)
}

// A card of 32 GB (32,023,511,040 bytes, as measured on one) with 100 MB of
// payload, in the drill 1 GB: only what is in use is read, and all of it.
func TestCorpusReadsWhatIsInUse(t *testing.T) {
	const size = 32_023_511_040
	payload := int64(100_000 * drillCards(t, 1000))
	s := newStranger(t, corpusShopWith(t, nil), "kittiwake", size)
	s.good()
	big := s.path + ".big"
	require.NoError(t, os.WriteFile(big, nil, 0o600))
	require.NoError(t, os.Truncate(big, payload))
	s.mtool("", "mcopy", big, "::big.bin")
	image, err := os.Open(s.path)
	require.NoError(t, err)
	defer image.Close()
	e := asked(t, s.shop, "kittiwake", size, verify.Listing{})
	sum := strings.Fields(outside(t, "", "sha256sum", big))[0]
	e.Record.Files = append(e.Record.Files, media.RecordFile{Path: "big.bin", Size: payload, SHA256: digest.SHA256(sum)})
	b := &blocks{ReaderAt: image, seen: make([]uint64, size/512/64+1)}
	r := verify.Card(t.Context(), b, size, e, nil)
	require.Equal(t, verify.Good, r.Verdict, told(r))
	p := s.places()
	inUse := p.data
	for _, name := range []string{"big.bin", beacon, "01-helm/4.0-7/" + plot40, "01-helm/3.5/" + plot35, sweepAt, "01-helm", "01-helm/3.5", "01-helm/4.0-7", sweepFolder} {
		content := payload
		if name != "big.bin" {
			content = 512 // of small files and folders at least the beginning
		}
		for i, c := range s.clusters(name) {
			inUse += p.cluster
			for at := int64(0); at < min(p.cluster, content-int64(i)*p.cluster); at += 512 {
				block := (p.of(c) + at) / 512
				require.NotZero(t, b.seen[block/64]&(1<<(block%64)), "%s: byte %d of the card was not read", name, block*512)
			}
		}
	}
	for block := p.fat / 512; block < p.data/512; block++ {
		require.NotZero(t, b.seen[block/64]&(1<<(block%64)), "byte %d of a FAT was not read", block*512)
	}
	assert.EqualValues(t, b.asked, r.Counts.BytesRead)
	t.Logf("%d bytes read of a card of %d; %d in use", b.asked, int64(size), inUse)
	assert.GreaterOrEqual(t, b.asked, payload)
	assert.Less(t, b.asked, inUse+2*p.data+4<<20, "files once, the FATs and folders twice")
}
