package media_test

import (
	"bytes"
	"errors"
	"io"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"cardwright/media"
	"cardwright/media/fat32"
	"cardwright/media/mediatest"
	"cardwright/media/mediatest/shoptest"
)

// liar makes a card lie, and gives what a device would read from it.
type liar func(under *mediatest.Memory, c chances) (lying mediatest.Medium, truth io.ReaderAt)

// chances choose what a card lies about.
type chances struct {
	*rand.Rand
	fat32.Geometry
	writes int // that the whole card takes
}

// used is an offset that the card's files or structures take.
func (c chances) used() int64 {
	if c.IntN(3) == 0 {
		return c.Int64N(c.DataOffset())
	}
	return c.DataOffset() + c.Int64N(c.UsedBytes())
}

func (c chances) mask() byte { return 1 << c.IntN(8) }

func (c chances) write() int { return 1 + c.IntN(c.writes) }

// smaller is a card of which less is there than it claims: the first so many
// bytes of the one under it.
type smaller struct {
	mediatest.Medium
	bytes int64
}

func (s smaller) Bytes() int64 { return s.bytes }

func (c chances) fake(under mediatest.Medium) mediatest.Medium {
	return smaller{under, (c.DataOffset() + c.Int64N(2*c.UsedBytes())) / 512 * 512}
}

var liars = map[string]liar{
	"bit rot on the first read": func(m *mediatest.Memory, c chances) (mediatest.Medium, io.ReaderAt) {
		return mediatest.RotOnFirstRead(m, c.used(), c.mask()), m
	},
	"bit rot for ever": func(m *mediatest.Memory, c chances) (mediatest.Medium, io.ReaderAt) {
		rotten := mediatest.Decay(m, c.used(), c.mask(), 0)
		return rotten, rotten
	},
	"bit rot after some reads": func(m *mediatest.Memory, c chances) (mediatest.Medium, io.ReaderAt) {
		return mediatest.Decay(m, c.used(), c.mask(), 1+c.IntN(3)), m
	},
	"a torn write": func(m *mediatest.Memory, c chances) (mediatest.Medium, io.ReaderAt) {
		return mediatest.TornWrite(m, c.write(), 512*c.IntN(2000)), m
	},
	"a lost write": func(m *mediatest.Memory, c chances) (mediatest.Medium, io.ReaderAt) {
		return mediatest.TornWrite(m, c.write(), 0), m
	},
	"a misdirected write": func(m *mediatest.Memory, c chances) (mediatest.Medium, io.ReaderAt) {
		by := []int64{512, -512, 4096, -4096, 1 << 20, 4 << 20, -4 << 20, 8 << 20}[c.IntN(8)]
		return mediatest.MisdirectedWrite(floored{m}, c.write(), by), m
	},
	"dropping what is past its true size": func(m *mediatest.Memory, c chances) (mediatest.Medium, io.ReaderAt) {
		lying := mediatest.Dropping(c.fake(m), m.Bytes())
		return lying, lying
	},
	"wrapping at its true size": func(m *mediatest.Memory, c chances) (mediatest.Medium, io.ReaderAt) {
		lying := mediatest.Wrapping(c.fake(m), m.Bytes(), 0)
		return lying, lying
	},
	"wrapping, its start protected": func(m *mediatest.Memory, c chances) (mediatest.Medium, io.ReaderAt) {
		lying := mediatest.Wrapping(c.fake(m), m.Bytes(), c.DataOffset()+c.Int64N(1<<20)/512*512)
		return lying, lying
	},
	"keeping its first bytes": func(m *mediatest.Memory, c chances) (mediatest.Medium, io.ReaderAt) {
		return mediatest.Protecting(m, c.used()), m
	},
	"short reads": func(m *mediatest.Memory, c chances) (mediatest.Medium, io.ReaderAt) {
		return mediatest.ShortRead(m, c.write(), c.IntN(1<<20), []error{nil, io.EOF, errors.New("broken")}[c.IntN(3)]), m
	},
	"a sector that can't be read": func(m *mediatest.Memory, c chances) (mediatest.Medium, io.ReaderAt) {
		lying := mediatest.ReadError(m, c.used(), errors.New("broken"))
		return lying, lying
	},
	"a sector that can't be written": func(m *mediatest.Memory, c chances) (mediatest.Medium, io.ReaderAt) {
		return mediatest.WriteError(m, c.used(), errors.New("broken")), m
	},
	"shrinking": func(m *mediatest.Memory, c chances) (mediatest.Medium, io.ReaderAt) {
		// what it does once it was read back, nobody can know
		lying := mediatest.Shrinking(m, 1+c.IntN(c.writes-3), c.used())
		return lying, lying
	},
}

// floored takes writes that begin before the card to its start.
type floored struct{ *mediatest.Memory }

func (f floored) WriteAt(p []byte, at int64) (int, error) {
	if at < 0 || at+int64(len(p)) > f.Bytes() {
		return len(p), nil // lost
	}
	return f.Memory.WriteAt(p, at)
}

// No card that lies is called good unless what a device would read from it is
// right: over a blank card and over an older one, and with a cache before the
// lie that shows what was written until it is dropped.
func TestLyingCardsAreNeverGoodUnlessTheyAre(t *testing.T) {
	job := shoptest.Kittiwake(t, t.TempDir()).Job(1)
	right, _ := written(t, job, shoptest.Small)
	writes := right.Counts().Writes
	older, _ := written(t, olderJob(t), shoptest.Small)
	layout, err := job.Prepare(shoptest.Small)
	require.NoError(t, err)
	trials := uint64(24)
	if testing.Short() {
		trials = 6
	}
	for name, lie := range liars {
		caught := 0
		for seed := range trials {
			c := chances{rand.New(rand.NewPCG(seed, 11)), layout.Geometry(), writes}
			m := mediatest.NewMemory(shoptest.Small)
			if seed%3 == 0 {
				copyOnto(t, m, older)
			}
			lying, truth := lie(m, c)
			if seed%2 == 0 {
				lying = mediatest.Cached(lying)
			}
			if o := write(t, job, lying); o.Err != nil {
				caught++
				continue
			}
			assert.Empty(t, differences(t, layout, right, truth), "%s, trial %d", name, seed)
		}
		assert.True(t, caught > 0 || testing.Short(), name)
		t.Logf("%s: %d of %d caught, the others were right", name, caught, trials)
	}
}

func copyOnto(t testing.TB, to, from *mediatest.Memory) {
	from.Stretches(func(off int64, data []byte) {
		_, err := to.WriteAt(data, off)
		require.NoError(t, err)
	})
}

// differences are where two cards differ in what counts: everything before the
// data area, the folders, and the files to their last byte.
func differences(t testing.TB, l *fat32.Layout, want, got io.ReaderAt) (at []int64) {
	firstFile := l.Geometry().DataOffset() + l.Geometry().UsedBytes()
	compare := func(from, length int64) {
		a, b := make([]byte, length), make([]byte, length)
		_, err := want.ReadAt(a, from)
		require.NoError(t, err)
		if n, err := got.ReadAt(b, from); err != nil && n < len(b) || !bytes.Equal(a, b) {
			at = append(at, from)
		}
	}
	for _, f := range l.Files() {
		if f.Size > 0 {
			firstFile = min(firstFile, f.Offset)
			compare(f.Offset, f.Size)
		}
	}
	compare(0, firstFile)
	return at
}

// A card whose cache shows what was written and whose medium lost it isn't
// good: the judge reads the medium.
func TestJudgeReadsPastTheCache(t *testing.T) {
	job := shoptest.Kittiwake(t, t.TempDir()).Job(1)
	const lost = 25
	for _, forgets := range []bool{true, false} {
		m := mediatest.NewMemory(shoptest.Small)
		var card media.Medium = mediatest.Cached(mediatest.TornWrite(m, lost, 0))
		if !forgets {
			card = stubborn{card}
		}
		o := job.Write(t.Context(), []media.Target{judged(job, card)})[0]
		assert.Equal(t, forgets, o.Err != nil, "the same card, whose cache is dropped: %v", forgets)
	}
}

// stubborn keeps its cache, against the contract.
type stubborn struct{ media.Medium }

func (stubborn) Forget() error { return nil }
