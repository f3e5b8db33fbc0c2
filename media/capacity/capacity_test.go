package capacity_test

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"cardwright/media"
	"cardwright/media/capacity"
	"cardwright/media/drive"
	"cardwright/media/mediatest"
)

const (
	mib = 1 << 20
	gib = 1 << 30
)

// seeded makes a failing test fail again in the same way.
var seeded = capacity.Options{Seed: [32]byte{1}}

func full(t testing.TB, card media.Medium) capacity.Result {
	t.Helper()
	r, err := capacity.Prove(context.Background(), card, seeded)
	require.NoError(t, err)
	return r
}

func quick(t testing.TB, card media.Medium) capacity.Result {
	t.Helper()
	r, err := capacity.Probe(context.Background(), card, seeded)
	require.NoError(t, err)
	return r
}

func TestHonestCardIsProven(t *testing.T) {
	for _, size := range []int64{512, 4*mib - 512, 4 * mib, 4*mib + 512, 33*mib + 1024} {
		card := mediatest.NewMemory(size)
		r := full(t, card)
		assert.Equal(t, capacity.Result{
			Form: capacity.Full, Verdict: capacity.Holds, Proven: true, Claimed: size, Size: size, FirstBad: -1, Tried: size, Places: []capacity.Place{},
		}, r)
		counts := card.Counts()
		assert.Equal(t, []int64{size, size, 1, 1}, []int64{counts.BytesWritten, counts.BytesRead, int64(counts.Syncs), int64(counts.Forgets)})
	}
}

func TestProgressCoversWritingAndReading(t *testing.T) {
	var phases []capacity.Phase
	var last, total int64
	_, err := capacity.Prove(t.Context(), mediatest.NewMemory(9*mib), capacity.Options{Reads: 2, Progress: func(p capacity.Phase, done, of int64) {
		if len(phases) == 0 || phases[len(phases)-1] != p {
			phases = append(phases, p)
		}
		require.GreaterOrEqual(t, done, last)
		last, total = done, of
	}})
	require.NoError(t, err)
	assert.Equal(t, []capacity.Phase{capacity.Writing, capacity.Syncing, capacity.Reading, capacity.Syncing, capacity.Reading}, phases)
	assert.EqualValues(t, 27*mib, total)
	assert.Equal(t, total, last)
}

func jsonOf(t *testing.T, v any) string {
	t.Helper()
	text, err := json.Marshal(v)
	require.NoError(t, err)
	return string(text)
}

// Every card that wraps or drops, whatever its true size from 4 MiB (one write)
// up and however much of its start it protects, is reported with its true size to
// the byte.
func TestTrueSizeIsFound(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		size := 4*mib + 512*rapid.Int64Range(0, 3*mib/512).Draw(rt, "more")
		claimed := size + 512*rapid.Int64Range(1, 2*size/512).Draw(rt, "over")
		protect := 512 * rapid.Int64Range(0, size/512).Draw(rt, "protect")
		wraps := rapid.Bool().Draw(rt, "wraps")

		under, want := mediatest.NewMemory(size), capacity.Drops
		card := mediatest.Dropping(under, claimed)
		if wraps {
			card, want = mediatest.Wrapping(under, claimed, protect), capacity.Wraps
		}
		r := full(t, mediatest.Cached(card))
		require.Equal(rt, want, r.Verdict)
		require.False(rt, r.Proven)
		require.Equal(rt, []int64{claimed, size, size}, []int64{r.Claimed, r.Size, r.FirstBad})
		lost := r.Bad.Blank
		if wraps {
			lost = r.Bad.Elsewhere
			require.Zero(rt, r.Places[0].From, "what stands first past the end was written at the start")
		}
		require.Equal(rt, claimed-size, lost)
	})
}

// staleCard drops what is written past its true size, and gives older content
// there.
type staleCard struct {
	*mediatest.Memory
	size int64
}

func (c staleCard) WriteAt(p []byte, off int64) (int, error) {
	if kept := max(0, min(int64(len(p)), c.size-off)); kept > 0 {
		if n, err := c.Memory.WriteAt(p[:kept], off); err != nil {
			return n, err
		}
	}
	return len(p), nil
}

func TestOlderContentIsToldFromOurs(t *testing.T) {
	card := staleCard{mediatest.NewMemory(24 * mib), 24 * mib}
	_, err := capacity.Prove(t.Context(), card, capacity.Options{Seed: [32]byte{9}})
	require.NoError(t, err)
	card.size = 10*mib + 512
	r := full(t, card)
	assert.Equal(t, capacity.Drops, r.Verdict)
	assert.EqualValues(t, 10*mib+512, r.Size)
	assert.Equal(t, capacity.Counts{Other: 14*mib - 512}, r.Bad, "the content of an earlier proof is no proof")
}

// Without dropping the caches a card that drops would look good: the cache in
// front of it answers.
func TestCachesAreDropped(t *testing.T) {
	lying := mediatest.Cached(mediatest.Dropping(mediatest.NewMemory(8*mib), 16*mib))
	require.Equal(t, capacity.Holds, full(t, forgetful{lying}).Verdict, "else this test shows nothing")
	assert.Equal(t, capacity.Drops, full(t, lying).Verdict)
}

type forgetful struct{ mediatest.Medium }

func (forgetful) Forget() error { return nil }

// A fake whose last bytes are real, where a second partition table would be.
func TestRealEndDoesNotHelpAFake(t *testing.T) {
	card := hole{mediatest.NewMemory(32 * mib), 12 * mib, 31 * mib}
	r := full(t, card)
	assert.Equal(t, capacity.Drops, r.Verdict)
	assert.EqualValues(t, 12*mib, r.Size)
}

// hole is a card that loses what is written between two offsets.
type hole struct {
	*mediatest.Memory
	from, to int64
}

func (c hole) WriteAt(p []byte, off int64) (int, error) {
	for at := 0; at < len(p); at += 512 {
		if o := off + int64(at); o < c.from || o >= c.to {
			if n, err := c.Memory.WriteAt(p[at:at+512], o); err != nil {
				return at + n, err
			}
		}
	}
	return len(p), nil
}

// Cards that have their size, but don't keep everything that is written.
func TestFaultsInPlaces(t *testing.T) {
	broken := errors.New("broken")
	const size = 40 * mib
	for name, c := range map[string]struct {
		lie      func(mediatest.Medium) mediatest.Medium
		reads    int
		verdict  capacity.Verdict
		firstBad int64
		bad      capacity.Counts
	}{
		"protects its first blocks": {
			lie:     func(m mediatest.Medium) mediatest.Medium { return mediatest.Protecting(m, mib+512) },
			verdict: capacity.Faulty, firstBad: 0, bad: capacity.Counts{Blank: mib + 512},
		},
		"bit rot on the first read only": {
			lie:     func(m mediatest.Medium) mediatest.Medium { return mediatest.RotOnFirstRead(m, 5*mib+700, 0x10) },
			verdict: capacity.Faulty, firstBad: 5*mib + 512, bad: capacity.Counts{Corrupted: 512},
		},
		"bit rot in an offset": {
			lie:     func(m mediatest.Medium) mediatest.Medium { return mediatest.RotOnFirstRead(m, 5*mib, 0x80) },
			verdict: capacity.Faulty, firstBad: 5 * mib, bad: capacity.Counts{Corrupted: 512},
		},
		"decay, at once": {
			lie:     func(m mediatest.Medium) mediatest.Medium { return mediatest.Decay(m, size-1, 1, 0) },
			verdict: capacity.Faulty, firstBad: size - 512, bad: capacity.Counts{Corrupted: 512},
		},
		"slow decay, read once": {
			lie:     func(m mediatest.Medium) mediatest.Medium { return mediatest.Decay(m, 7*mib, 1, 1) },
			verdict: capacity.Holds, firstBad: -1,
		},
		"slow decay, read twice": {
			lie:   func(m mediatest.Medium) mediatest.Medium { return mediatest.Decay(m, 7*mib, 1, 1) },
			reads: 2, verdict: capacity.Faulty, firstBad: 7 * mib, bad: capacity.Counts{Corrupted: 512},
		},
		"torn write": { // the sixth from the end: 16 to 20 MiB
			lie:     func(m mediatest.Medium) mediatest.Medium { return mediatest.TornWrite(m, 6, 512*1001) },
			verdict: capacity.Faulty, firstBad: 16*mib + 512*1001, bad: capacity.Counts{Blank: 4*mib - 512*1001},
		},
		"lost write": {
			lie:     func(m mediatest.Medium) mediatest.Medium { return mediatest.TornWrite(m, 6, 0) },
			verdict: capacity.Faulty, firstBad: 16 * mib, bad: capacity.Counts{Blank: 4 * mib},
		},
		"misdirected write": { // 16 to 20 MiB onto 18 to 22 MiB, of which the latter half was there already
			lie:     func(m mediatest.Medium) mediatest.Medium { return mediatest.MisdirectedWrite(m, 6, 2*mib) },
			verdict: capacity.Faulty, firstBad: 16 * mib, bad: capacity.Counts{Blank: 2 * mib, Elsewhere: 4 * mib},
		},
		"short read without an error": {
			lie:     func(m mediatest.Medium) mediatest.Medium { return mediatest.ShortRead(m, 3, 1000, nil) },
			verdict: capacity.Faulty, firstBad: 8*mib + 512, bad: capacity.Counts{Unreadable: 64 << 10},
		},
		"short read": {
			lie:     func(m mediatest.Medium) mediatest.Medium { return mediatest.ShortRead(m, 1, 0, io.ErrUnexpectedEOF) },
			verdict: capacity.Faulty, firstBad: 0, bad: capacity.Counts{Unreadable: 64 << 10},
		},
		"full read with an error": {
			lie:     func(m mediatest.Medium) mediatest.Medium { return mediatest.ShortRead(m, 1, 4*mib, broken) },
			verdict: capacity.Faulty, firstBad: 4*mib - 512, bad: capacity.Counts{Unreadable: 512},
		},
		"one bad sector": {
			lie:     func(m mediatest.Medium) mediatest.Medium { return mediatest.ReadError(m, 9*mib+5, broken) },
			verdict: capacity.Faulty, firstBad: 9 * mib, bad: capacity.Counts{Unreadable: 64 << 10},
		},
	} {
		t.Run(name, func(t *testing.T) {
			options := seeded
			options.Reads = c.reads
			r, err := capacity.Prove(t.Context(), c.lie(mediatest.NewMemory(size)), options)
			require.NoError(t, err)
			assert.Equal(t, c.verdict, r.Verdict)
			assert.Equal(t, c.verdict == capacity.Holds, r.Proven)
			assert.Equal(t, c.firstBad, r.FirstBad)
			assert.Equal(t, c.bad, r.Bad)
			assert.EqualValues(t, size, r.Size)
		})
	}
}

func TestErrorsSurface(t *testing.T) {
	broken := errors.New("broken")
	for name, c := range map[string]struct {
		card mediatest.Medium
		want error
		says string
	}{
		"write":         {mediatest.WriteError(mediatest.NewMemory(16*mib), 5*mib, broken), broken, "proving capacity: writing the card at byte 5242880: broken"},
		"locked":        {mediatest.ReadOnly(mediatest.NewMemory(16 * mib)), mediatest.ErrReadOnly, "writing the card at byte 12582912"},
		"sync":          {mediatest.Fail(mediatest.NewMemory(16*mib), 5, broken), broken, "syncing the card: broken"},
		"pulled":        {pulled{mediatest.NewMemory(16 * mib), broken}, broken, "more than 32 places of the card can't be read, the last at byte 2097152: broken"},
		"shrinks":       {mediatest.Shrinking(mediatest.NewMemory(16*mib), 2, 8*mib), io.ErrShortWrite, "writing the card"},
		"shrinks later": {&shrinksLater{Memory: mediatest.NewMemory(16 * mib)}, nil, "claims 8388608 bytes now, and 16777216 before"},
		"forget":        {unforgetting{mediatest.NewMemory(mib), broken}, broken, "dropping the caches of the card: broken"},
		"nothing":       {mediatest.NewMemory(0), nil, "claims 0 bytes"},
		"odd size":      {mediatest.NewMemory(1000), nil, "claims 1000 bytes"},
	} {
		r, err := capacity.Prove(t.Context(), c.card, seeded)
		require.Error(t, err, name)
		assert.Equal(t, capacity.Result{}, r, name)
		if c.want != nil {
			require.ErrorIs(t, err, c.want, name)
		}
		assert.ErrorContains(t, err, c.says, name)
	}
}

// pulled can't be read any more.
type pulled struct {
	*mediatest.Memory
	err error
}

func (p pulled) ReadAt([]byte, int64) (int, error) { return 0, p.err }

type unforgetting struct {
	*mediatest.Memory
	err error
}

func (u unforgetting) Forget() error { return u.err }

// shrinksLater has another size after the first time that it was asked.
type shrinksLater struct {
	*mediatest.Memory
	asked int
}

func (s *shrinksLater) Bytes() int64 {
	if s.asked++; s.asked > 2 {
		return s.Memory.Bytes() / 2
	}
	return s.Memory.Bytes()
}

func TestInterruptStopsAtOnce(t *testing.T) {
	card := mediatest.NewMemory(64 * mib)
	ctx, stop := context.WithCancel(t.Context())
	_, err := capacity.Prove(ctx, card, capacity.Options{Progress: func(capacity.Phase, int64, int64) { stop() }})
	require.ErrorIs(t, err, context.Canceled)
	assert.Equal(t, 1, card.Counts().Writes)
}

func TestQuickFormOnAnHonestCard(t *testing.T) {
	card := mediatest.NewMemory(31_914_983_424)
	r := quick(t, card)
	assert.Equal(t, capacity.Holds, r.Verdict)
	assert.False(t, r.Proven)
	assert.Contains(t, r.Conclusion(), "This proves nothing about the rest: only the full form proves a card's capacity.")
	assert.Equal(t, r.Tried, card.Counts().BytesWritten)
	assert.Less(t, r.Tried, int64(16*mib))
	last := make([]byte, 512)
	_, err := card.ReadAt(last, card.Bytes()-512)
	require.NoError(t, err)
	assert.NotEqual(t, make([]byte, 512), last, "the card's last sector was tried")

	small := quick(t, mediatest.NewMemory(100<<10))
	assert.EqualValues(t, 100<<10, small.Tried)
	assert.False(t, small.Proven)
}

func TestQuickFormFindsFakes(t *testing.T) {
	for name, c := range map[string]struct {
		card    mediatest.Medium
		verdict capacity.Verdict
		size    int64
	}{
		"wraps at 4 GiB":              {mediatest.Wrapping(mediatest.NewMemory(4*gib), 31_914_983_424, 0), capacity.Wraps, 4 * gib},
		"wraps, its start protected":  {mediatest.Wrapping(mediatest.NewMemory(4*gib), 31_914_983_424, mib), capacity.Wraps, 4 * gib},
		"drops":                       {mediatest.Dropping(mediatest.NewMemory(7_948_206_080), 31_914_983_424), capacity.Drops, 7_948_206_080},
		"drops just before its end":   {mediatest.Dropping(mediatest.NewMemory(31_914_983_424-64<<10), 31_914_983_424), capacity.Drops, 31_914_983_424 - 64<<10},
		"drops, end real, past a GiB": {hole{mediatest.NewMemory(8 * gib), gib, 8*gib - mib}, capacity.Drops, gib},
	} {
		r := quick(t, mediatest.Cached(c.card))
		assert.Equal(t, c.verdict, r.Verdict, name)
		assert.GreaterOrEqual(t, r.Size, c.size, name)
		assert.Less(t, r.Size, 2*c.size, name)
		assert.Contains(t, r.Conclusion(), "no more than", name)
	}
}

func TestConclusions(t *testing.T) {
	for _, c := range []struct {
		card mediatest.Medium
		want string
	}{
		{mediatest.NewMemory(8 * mib), "the card holds all of the 8.4 MB (8,388,608 bytes) that it claims."},
		{mediatest.Wrapping(mediatest.NewMemory(8*mib), 16*mib, 0), "the card claims 16.8 MB (16,777,216 bytes) but holds 8.4 MB (8,388,608 bytes): what is written past that overwrites what is there already. Don't use it."},
		{mediatest.Dropping(mediatest.NewMemory(8*mib), 16*mib), "the card claims 16.8 MB (16,777,216 bytes) but holds 8.4 MB (8,388,608 bytes): what is written past that is lost. Don't use it."},
		{mediatest.Protecting(mediatest.NewMemory(8*mib), 512), "the card doesn't keep what is written to it: byte 0 holds something else, as if nothing had been written. Don't use it."},
		{mediatest.RotOnFirstRead(mediatest.NewMemory(8*mib), 600, 1), "the card doesn't keep what is written to it: byte 512 has changed bits. Don't use it."},
		{mediatest.ReadError(mediatest.NewMemory(8*mib), 600, io.ErrClosedPipe), "the card doesn't keep what is written to it: byte 512 can't be read. Don't use it."},
	} {
		assert.Equal(t, c.want, full(t, c.card).Conclusion())
	}
}

func TestResultHasAJSONForm(t *testing.T) {
	assert.JSONEq(t, `{"form":"full","verdict":"wraps","proven":false,"claimed":12582912,"size":8388608,"first_bad":8388608,"tried":12582912,
		"bad":{"elsewhere":4194304,"blank":0,"other":0,"corrupted":0,"unreadable":0},
		"places":[{"kind":"elsewhere","offset":8388608,"bytes":4194304,"from":0}]}`,
		jsonOf(t, full(t, mediatest.Wrapping(mediatest.NewMemory(8*mib), 12*mib, 0))))
}

// However bad the card, memory stays within a few MiB.
func TestMemoryIsBounded(t *testing.T) {
	card := mediatest.Dropping(mediatest.NewMemory(512), 128*mib)
	var before, after runtime.MemStats
	runtime.ReadMemStats(&before)
	r := full(t, card)
	runtime.ReadMemStats(&after)
	assert.Equal(t, capacity.Drops, r.Verdict)
	assert.LessOrEqual(t, len(r.Places), 32)
	assert.Less(t, after.TotalAlloc-before.TotalAlloc, uint64(24*mib), "all that was ever allocated, whatever was freed")
}

// What is written never repeats, whatever the seed.
func TestSectorsDiffer(t *testing.T) {
	seen := map[[512]byte]bool{}
	for seed := range byte(2) {
		card := mediatest.NewMemory(2 * mib)
		_, err := capacity.Prove(t.Context(), card, capacity.Options{Seed: [32]byte{1 + seed}})
		require.NoError(t, err)
		var sector [512]byte
		for at := int64(0); at < card.Bytes(); at += 512 {
			_, err := card.ReadAt(sector[:], at)
			require.NoError(t, err)
			seen[sector] = true
		}
	}
	assert.Len(t, seen, 2*2*mib/512)
}

// Without a seed every run writes something else.
func TestSeedIsRandom(t *testing.T) {
	var contents [2][]byte
	for i := range contents {
		card := mediatest.NewMemory(512)
		_, err := capacity.Prove(t.Context(), card, capacity.Options{})
		require.NoError(t, err)
		contents[i], err = io.ReadAll(io.NewSectionReader(card, 0, 512))
		require.NoError(t, err)
	}
	assert.False(t, bytes.Equal(contents[0], contents[1]))
}

// A real drive, by way of the kernel.
func TestRealDriveIsProven(t *testing.T) {
	backing := filepath.Join(t.TempDir(), "backing")
	require.NoError(t, os.WriteFile(backing, make([]byte, 9*mib), 0o600))
	out, err := exec.CommandContext(t.Context(), "losetup", "-f", "--show", backing).CombinedOutput()
	require.NoError(t, err, "losetup: %s\nThis test uses a real loop drive: run it as root, with util-linux installed.", out)
	loop := strings.TrimSpace(string(out))
	t.Cleanup(func() { _ = exec.Command("losetup", "-d", loop).Run() })
	d, err := drive.OpenDrive(loop, true)
	require.NoError(t, err)
	defer d.Close()
	require.True(t, full(t, d).Proven)
}
