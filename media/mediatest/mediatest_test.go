package mediatest_test

import (
	"bytes"
	"errors"
	"io"
	"os"
	"testing"
	"testing/iotest"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"cardwright/media"
	"cardwright/media/mediatest"
)

// Every card here is a media.Medium.
var _ media.Medium = mediatest.Medium(nil)

var errBroken = errors.New("broken")

// A Memory is judged by a file of the operating system: the same calls give
// the same bytes, counts of bytes and end.
func TestMemoryIsLikeAFile(t *testing.T) {
	const size = 300_000 // not a whole page
	rapid.Check(t, func(t *rapid.T) {
		f, err := os.CreateTemp("", "memory")
		require.NoError(t, err)
		defer os.Remove(f.Name())
		defer f.Close()
		require.NoError(t, f.Truncate(size))
		for name, m := range map[string]mediatest.Medium{"memory": mediatest.NewMemory(size), "cached": mediatest.Cached(mediatest.NewMemory(size))} {
			for range rapid.IntRange(1, 12).Draw(t, "calls") {
				off := rapid.Int64Range(0, size).Draw(t, "offset")
				p := bytes.Repeat([]byte{rapid.Byte().Draw(t, "byte")}, rapid.IntRange(0, int(min(150_000, size-off))).Draw(t, "length"))
				n, err := m.WriteAt(p, off)
				require.NoError(t, err, name)
				require.Equal(t, len(p), n)
				_, err = f.WriteAt(p, off)
				require.NoError(t, err)
			}
			same(t, f, m, size)
			require.NoError(t, m.Sync())
			require.NoError(t, m.Forget())
			same(t, f, m, size)
			require.NoError(t, f.Truncate(0))
			require.NoError(t, f.Truncate(size))
		}
	})
}

func same(t *rapid.T, want, got io.ReaderAt, size int64) {
	off := rapid.Int64Range(0, size).Draw(t, "from")
	a, b := make([]byte, 200_000), make([]byte, 200_000)
	n, err := want.ReadAt(a, off)
	m, gotErr := got.ReadAt(b, off)
	require.Equal(t, n, m)
	require.Equal(t, err, gotErr)
	require.True(t, bytes.Equal(a[:n], b[:m]))
}

// testing/iotest judges what a reader may do.
func TestMemoryIsAReader(t *testing.T) {
	m := mediatest.NewMemory(70_000)
	want := bytes.Repeat([]byte("heading "), 70_000/8)
	write(t, m, 0, want)
	require.NoError(t, iotest.TestReader(io.NewSectionReader(m, 0, m.Bytes()), want))
}

func TestMemoryEndsLikeADrive(t *testing.T) {
	m := mediatest.NewMemory(1024)
	n, err := m.WriteAt(make([]byte, 512), 1000)
	assert.Equal(t, 24, n)
	require.ErrorContains(t, err, "past the card's end")
	_, err = m.ReadAt(make([]byte, 1), -1)
	require.Error(t, err)
	_, err = m.WriteAt(make([]byte, 1), -1)
	require.Error(t, err)
}

func TestDurableHasOnlyWhatWasSynced(t *testing.T) {
	m := mediatest.NewJournaled(1 << 20)
	write(t, m, 0, []byte("kept"))
	require.NoError(t, m.Sync())
	before := m.Durable()
	write(t, m, 0, []byte("LOST"))
	write(t, m, 200_000, []byte("torn"))

	assert.Equal(t, "kept", read(t, m.Durable(), 0, 4))
	assert.Equal(t, "LOST", read(t, m, 0, 4))
	torn := m.Durable()
	last := m.Pending()[1]
	write(t, torn, last.Offset, last.Data[:2])
	assert.Equal(t, "to\x00\x00", read(t, torn, 200_000, 4))

	require.NoError(t, m.Sync())
	assert.Empty(t, m.Pending())
	assert.Equal(t, "LOST", read(t, m.Durable(), 0, 4))
	assert.Equal(t, "kept", read(t, before, 0, 4), "a card taken earlier doesn't change")
	write(t, before, 0, []byte("own!"))
	assert.Equal(t, "LOST", read(t, m.Durable(), 0, 4))
}

func TestCounts(t *testing.T) {
	m := mediatest.NewMemory(1 << 20)
	write(t, m, 5, make([]byte, 100))
	read(t, m, 0, 30)
	require.NoError(t, m.Sync())
	require.NoError(t, m.Forget())
	assert.Equal(t, mediatest.Counts{Reads: 1, Writes: 1, Syncs: 1, Forgets: 1, BytesRead: 30, BytesWritten: 100}, m.Counts())
}

func TestWrapping(t *testing.T) {
	under := mediatest.NewMemory(1000)
	m := mediatest.Wrapping(under, 3000, 100)
	assert.EqualValues(t, 3000, m.Bytes())
	write(t, m, 0, bytes.Repeat([]byte("a"), 1000))
	write(t, m, 1000, bytes.Repeat([]byte("b"), 1500))
	assert.Equal(t, "aabb", read(t, under, 98, 4), "the protected start stays")
	assert.Equal(t, "bb", read(t, m, 500, 2), "the rest is overwritten")
	assert.Equal(t, read(t, m, 100, 900), read(t, m, 1100, 900))
	_, err := m.ReadAt(make([]byte, 2), 2999)
	assert.ErrorIs(t, err, io.EOF)
}

func TestDropping(t *testing.T) {
	m := mediatest.Dropping(mediatest.NewMemory(1000), 3000)
	write(t, m, 998, []byte("abcd"))
	assert.Equal(t, "ab\x00\x00", read(t, m, 998, 4))
}

func TestProtecting(t *testing.T) {
	m := mediatest.Protecting(mediatest.NewMemory(1000), 10)
	write(t, m, 8, []byte("abcd"))
	assert.Equal(t, "\x00\x00cd", read(t, m, 8, 4))
}

func TestRot(t *testing.T) {
	m := mediatest.RotOnFirstRead(mediatest.NewMemory(1000), 10, 0x80)
	assert.Equal(t, "\x00", read(t, m, 9, 1))
	assert.Equal(t, "\x00\x80\x00", read(t, m, 9, 3))
	assert.Equal(t, "\x00\x00\x00", read(t, m, 9, 3))

	m = mediatest.Decay(mediatest.NewMemory(1000), 10, 1, 2)
	for _, want := range []string{"\x00", "\x00", "\x01", "\x01"} {
		assert.Equal(t, want, read(t, m, 10, 1))
	}
}

func TestTornAndMisdirectedWrites(t *testing.T) {
	m := mediatest.TornWrite(mediatest.NewMemory(1000), 2, 1)
	write(t, m, 0, []byte("ab"))
	write(t, m, 2, []byte("cd"))
	write(t, m, 4, []byte("ef"))
	assert.Equal(t, "abc\x00ef", read(t, m, 0, 6))

	m = mediatest.MisdirectedWrite(mediatest.NewMemory(1000), 1, 3)
	write(t, m, 0, []byte("ab"))
	write(t, m, 1, []byte("c"))
	assert.Equal(t, "\x00c\x00ab", read(t, m, 0, 5))
}

func TestErrors(t *testing.T) {
	p := make([]byte, 10)
	n, err := mediatest.ShortRead(mediatest.NewMemory(1000), 1, 4, io.ErrUnexpectedEOF).ReadAt(p, 0)
	assert.Equal(t, 4, n)
	assert.ErrorIs(t, err, io.ErrUnexpectedEOF)
	n, err = mediatest.ShortRead(mediatest.NewMemory(1000), 1, 4, nil).ReadAt(p, 0)
	assert.Equal(t, 4, n)
	assert.NoError(t, err)
	n, err = mediatest.ReadError(mediatest.NewMemory(1000), 7, errBroken).ReadAt(p, 0)
	assert.Equal(t, 7, n)
	assert.ErrorIs(t, err, errBroken)
	n, err = mediatest.WriteError(mediatest.NewMemory(1000), 7, errBroken).WriteAt(p, 0)
	assert.Equal(t, 7, n)
	assert.ErrorIs(t, err, errBroken)
	_, err = mediatest.ReadOnly(mediatest.NewMemory(1000)).WriteAt(p, 0)
	assert.ErrorIs(t, err, mediatest.ErrReadOnly)
}

func TestPowerCut(t *testing.T) {
	under := mediatest.NewMemory(1000)
	m := mediatest.PowerCut(under, 4)
	write(t, m, 0, []byte("ab"))
	require.NoError(t, m.Sync())
	write(t, m, 2, []byte("cd"))
	require.ErrorIs(t, m.Sync(), mediatest.ErrPower)
	_, err := m.WriteAt([]byte("ef"), 4)
	require.ErrorIs(t, err, mediatest.ErrPower)
	_, err = m.ReadAt(make([]byte, 1), 0)
	require.ErrorIs(t, err, mediatest.ErrPower)
	require.ErrorIs(t, m.Forget(), mediatest.ErrPower)
	assert.Equal(t, "ab\x00\x00", read(t, under.Durable(), 0, 4))
}

func TestShrinking(t *testing.T) {
	m := mediatest.Shrinking(mediatest.NewMemory(1000), 2, 500)
	write(t, m, 600, []byte("ab"))
	assert.EqualValues(t, 1000, m.Bytes())
	n, err := m.WriteAt([]byte("cdef"), 498)
	assert.Equal(t, 2, n)
	assert.ErrorIs(t, err, io.ErrShortWrite)
	assert.EqualValues(t, 500, m.Bytes())
	_, err = m.ReadAt(make([]byte, 2), 600)
	assert.ErrorIs(t, err, io.EOF)
}

// The cache hides what the card made of a write until it is forgotten.
func TestCachedHidesTheCard(t *testing.T) {
	m := mediatest.Cached(mediatest.TornWrite(mediatest.NewMemory(1000), 1, 1))
	write(t, m, 10, []byte("abc"))
	require.NoError(t, m.Sync())
	assert.Equal(t, "abc", read(t, m, 10, 3))
	require.NoError(t, m.Forget())
	assert.Equal(t, "a\x00\x00", read(t, m, 10, 3))
}

func TestThrottledMovesTheSameBytes(t *testing.T) {
	m := mediatest.Throttled(mediatest.NewMemory(1000), 1<<30)
	write(t, m, 10, []byte("abc"))
	assert.Equal(t, "abc", read(t, m, 10, 3))
}

func write(t require.TestingT, m io.WriterAt, off int64, p []byte) {
	n, err := m.WriteAt(p, off)
	require.NoError(t, err)
	require.Equal(t, len(p), n)
}

func read(t require.TestingT, m io.ReaderAt, off int64, length int) string {
	p := make([]byte, length)
	n, err := m.ReadAt(p, off)
	require.NoError(t, err)
	require.Equal(t, length, n)
	return string(p)
}
