package media_test

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"cardwright/manifest/digest"
	"cardwright/media"
	"cardwright/media/fat32"
	"cardwright/media/keys"
	"cardwright/media/mediatest"
	"cardwright/media/mediatest/shoptest"
	"cardwright/verify/fatread"
)

// Where the sectors are that make a card startable, by the FAT32
// specification and the partition's start at 4 MiB.
const (
	tableAt  = 0
	bootAt   = 4 << 20
	backupAt = bootAt + 6*512
)

// The order of writing, as the medium sees it: zeros, sync, the rest, sync,
// caches dropped, the judge asked; only then the three sectors that make the
// card startable, each synced before the next, and read back from the medium.
func TestOrderOfWriting(t *testing.T) {
	job := shoptest.Kittiwake(t, t.TempDir()).Job(1)
	var events []string
	judged, filled := false, false
	see := func(e mediatest.Event) {
		switch {
		case e.What == mediatest.Wrote && !judged:
			if !allZero(e.Data) && !filled {
				filled = true
				require.Equal(t, "sync", events[len(events)-1], "the blanked card is synced before anything is written to it")
			}
			for _, at := range []int64{tableAt, bootAt, backupAt} {
				require.True(t, allZero(within(e, at, 512)), "before the judge was asked, %d was written to", at)
			}
		case e.What == mediatest.Wrote:
			events = append(events, fmt.Sprint("write ", e.Offset, " ", len(e.Data)))
			return
		case e.What == mediatest.Read && !judged:
			return
		}
		events = append(events, string(e.What))
	}
	card := mediatest.Watched(mediatest.NewMemory(shoptest.Small), see)
	target := judgedAs(job, card, func() {
		require.True(t, filled)
		require.Equal(t, []string{"sync", "forget"}, events[len(events)-2:])
		events, judged = nil, true
	})
	o := job.Write(t.Context(), []media.Target{target})[0]
	require.NoError(t, o.Err)
	for len(events) > 0 && events[0] == "read" { // the judge's
		events = events[1:]
	}
	assert.Equal(t, []string{
		fmt.Sprint("write ", backupAt, " 512"), "sync",
		fmt.Sprint("write ", bootAt, " 512"), "sync",
		fmt.Sprint("write ", tableAt, " 512"), "sync",
		"forget", "read", "read", "read",
	}, events)
}

// judgedAs is judged, and tells when the judge is asked.
func judgedAs(job media.Job, m media.Medium, asked func()) media.Target {
	target := judged(job, m)
	judge := target.Judge
	target.Judge = func(ctx context.Context, read io.ReaderAt, r media.Record, digest string) error {
		asked()
		return judge(ctx, read, r, digest)
	}
	return target
}

// within are the bytes of a write that fall on a stretch of the card.
func within(e mediatest.Event, at, length int64) []byte {
	from, to := max(at, e.Offset), min(at+length, e.Offset+int64(len(e.Data)))
	if from >= to {
		return nil
	}
	return e.Data[from-e.Offset : to-e.Offset]
}

func allZero(b []byte) bool { return len(bytes.Trim(b, "\x00")) == 0 }

// What the judge reads is the card as it will be, to the last byte.
func TestJudgeSeesTheFinishedCard(t *testing.T) {
	job := shoptest.Kittiwake(t, t.TempDir()).Job(1)
	m := mediatest.NewMemory(shoptest.Small)
	var seen string
	o := job.Write(t.Context(), []media.Target{{Medium: m, Judge: func(_ context.Context, read io.ReaderAt, _ media.Record, _ string) error {
		seen = sumOf(t, read)
		return nil
	}}})[0]
	require.NoError(t, o.Err)
	assert.Equal(t, sumOf(t, m), seen)
}

func sumOf(t testing.TB, r io.ReaderAt) string {
	running := media.NewRunning()
	_, err := io.Copy(running, io.NewSectionReader(r, 0, shoptest.Small))
	require.NoError(t, err)
	return string(running.SHA256())
}

// requireBlank requires that nothing is where a file system begins.
func requireBlank(t testing.TB, m mediatest.Medium) {
	head := make([]byte, 8<<20)
	_, err := m.ReadAt(head, 0)
	require.NoError(t, err)
	require.True(t, allZero(head[:4<<20]), "the part before the partition")
	require.True(t, allZero(head[4<<20:]), "the partition's own structures")
	require.Empty(t, fatread.Read(m, m.Bytes(), fatread.Limits{}).Volumes)
}

func TestRefusedByTheJudge(t *testing.T) {
	job := shoptest.Kittiwake(t, t.TempDir()).Job(1)
	m, _ := written(t, job, shoptest.Small) // a good one stood there
	o := job.Write(t.Context(), []media.Target{{Medium: m, Judge: func(context.Context, io.ReaderAt, media.Record, string) error {
		return errors.New("not today")
	}}})[0]
	var misread *media.Misread
	require.ErrorAs(t, o.Err, &misread)
	assert.ErrorContains(t, o.Err, "not today")
	assert.Empty(t, o.Digest)
	requireBlank(t, m)
}

// A package that isn't what the catalogue says leaves a blank card and is
// never put before the judge.
func TestDifferingPackageLeavesABlankCard(t *testing.T) {
	for _, name := range []string{
		"fennick-plot-12/4.0-12/plot12.upd", "fennick-sweep-2/1.8/sweep/table.bin", "solveld-course-3/5.2/course.zip",
	} {
		shop := shoptest.Kittiwake(t, t.TempDir())
		job := shop.Job(1)
		m, _ := written(t, job, shoptest.Small)
		path := filepath.Join(shop.Dir, "packages", name)
		content, err := os.ReadFile(path)
		require.NoError(t, err)
		content[len(content)/2] ^= 0x10
		require.NoError(t, os.WriteFile(path, content, 0o644))
		o := job.Write(t.Context(), []media.Target{judgedAs(job, m, func() { t.Fatal("the judge was asked") })})[0]
		require.Error(t, o.Err, name)
		requireBlank(t, m)
	}
}

// Several targets at once: those that fail leave the others alone, which get
// the same bytes as a card written on its own.
func TestSeveralTargetsOfWhichSomeFail(t *testing.T) {
	job := shoptest.Kittiwake(t, t.TempDir()).Job(1)
	alone, one := written(t, job, shoptest.Small)
	geometry := geometryOf(t, job)
	memory := make([]*mediatest.Memory, 6)
	for i := range memory {
		memory[i] = mediatest.NewMemory(shoptest.Small)
	}
	broken := errors.New("broken")
	outcomes := job.Write(t.Context(), []media.Target{
		judged(job, memory[0]),
		judged(job, mediatest.WriteError(memory[1], geometry.ClusterOffset(3000), broken)),
		judged(job, memory[2]),
		judged(job, mediatest.ReadError(memory[3], geometry.ClusterOffset(2000), broken)),
		judged(job, mediatest.Fail(memory[4], 3, broken)),
		judged(job, mediatest.NewMemory(40<<20)), // too small for FAT32
	})
	for _, i := range []int{0, 2} {
		require.NoError(t, outcomes[i].Err)
		assert.Equal(t, one.Digest, outcomes[i].Digest)
		assert.Equal(t, sumOf(t, alone), sumOf(t, memory[i]))
		assert.Equal(t, one.Record, outcomes[i].Record)
	}
	for _, i := range []int{1, 3, 4, 5} {
		assert.Error(t, outcomes[i].Err)
		assert.Empty(t, outcomes[i].Digest)
	}
	assert.ErrorIs(t, outcomes[1].Err, broken)
	assert.ErrorAs(t, outcomes[4].Err, new(*media.NotBlank))
	requireBlank(t, memory[1])
	requireBlank(t, memory[3])
}

func geometryOf(t testing.TB, job media.Job) fat32.Geometry {
	l, err := job.Prepare(shoptest.Small)
	require.NoError(t, err)
	return l.Geometry()
}

// Each byte of a package is read once, however many targets there are: by the
// kernel's count of what this process has read.
func TestPackagesAreReadOnce(t *testing.T) {
	job := shoptest.Kittiwake(t, t.TempDir()).Job(1)
	var payload int64
	for _, f := range job.Card.Files {
		payload += f.Size
	}
	targets := make([]media.Target, 5)
	for i := range targets {
		targets[i] = judged(job, mediatest.NewMemory(shoptest.Small))
	}
	before := bytesRead(t)
	for _, o := range job.Write(t.Context(), targets) {
		require.NoError(t, o.Err)
	}
	read := bytesRead(t) - before
	assert.GreaterOrEqual(t, read, payload)
	assert.Less(t, read, payload+payload/50)
}

// bytesRead is rchar of proc(5): bytes that this process has asked to read.
func bytesRead(t testing.TB) (n int64) {
	text, err := os.ReadFile("/proc/self/io")
	require.NoError(t, err)
	_, err = fmt.Sscanf(string(text), "rchar: %d", &n)
	require.NoError(t, err)
	return n
}

// An interruption at any moment leaves the card blank: before any call of the
// medium, the judge's reads too. Once the last write has begun it is too late.
func TestInterruptedLeavesABlankCard(t *testing.T) {
	job := shoptest.Kittiwake(t, t.TempDir()).Job(1)
	calls, last := 0, 0
	count := mediatest.Watched(mediatest.NewMemory(shoptest.Small), func(e mediatest.Event) {
		if calls++; e.What == mediatest.Wrote {
			last = calls
		}
	})
	require.NoError(t, write(t, job, count).Err)
	step := 1
	if testing.Short() {
		step = 9
	}
	for at := 1; at <= calls; at += step {
		ctx, interrupt := context.WithCancel(t.Context())
		m, n := mediatest.NewMemory(shoptest.Small), 0
		o := job.Write(ctx, []media.Target{judged(job, mediatest.Watched(m, func(mediatest.Event) {
			if n++; n == at {
				interrupt()
			}
		}))})[0]
		interrupt()
		if at >= last {
			require.NoError(t, o.Err)
			continue
		}
		require.True(t, media.Interrupted(o.Err), "%d of %d: %v", at, calls, o.Err)
		require.Empty(t, o.Digest)
		requireBlank(t, m)
	}
}

func TestInterruptedByProgress(t *testing.T) {
	job := shoptest.Kittiwake(t, t.TempDir()).Job(1)
	ctx, interrupt := context.WithCancel(t.Context())
	var told int64
	job.Progress = func(_ media.Phase, n int64) {
		if told += n; told > 2<<20 {
			interrupt()
		}
	}
	a, b := mediatest.NewMemory(shoptest.Small), mediatest.NewMemory(shoptest.Small)
	for _, o := range job.Write(ctx, []media.Target{judged(job, a)}) {
		assert.True(t, media.Interrupted(o.Err))
	}
	requireBlank(t, a)
	for _, o := range job.Write(ctx, []media.Target{judged(job, a), judged(job, b)}) { // interrupted from the start
		assert.True(t, media.Interrupted(o.Err))
	}
}

// Progress tells every byte of the payload once for each target.
func TestProgress(t *testing.T) {
	job := shoptest.Kittiwake(t, t.TempDir()).Job(1)
	var payload, told int64
	for _, f := range job.Card.Files {
		payload += f.Size
	}
	job.Progress = func(p media.Phase, n int64) {
		require.Equal(t, media.Writing, p)
		told += n
	}
	require.NoError(t, write(t, job, mediatest.NewMemory(shoptest.Small)).Err)
	assert.Equal(t, payload, told)
}

// A card that can't be blanked any more is said to be so: nothing is known of
// what it holds.
func TestCardThatCannotBeBlanked(t *testing.T) {
	job := shoptest.Kittiwake(t, t.TempDir()).Job(1)
	taken := errors.New("taken out")
	o := write(t, job, mediatest.Fail(mediatest.NewMemory(shoptest.Small), 20, taken))
	var not *media.NotBlank
	require.ErrorAs(t, o.Err, &not)
	assert.ErrorIs(t, not.Cause, taken)
	assert.ErrorIs(t, not.Blanking, taken)
	assert.ErrorContains(t, o.Err, "don't use it")
	locked := write(t, job, mediatest.ReadOnly(mediatest.NewMemory(shoptest.Small)))
	assert.ErrorIs(t, locked.Err, mediatest.ErrReadOnly)
}

// What the writer couldn't have known of a failed read-back of the last
// sectors: it is blanked, too.
func TestLastSectorsAreReadBack(t *testing.T) {
	job := shoptest.Kittiwake(t, t.TempDir()).Job(1)
	for _, at := range []int64{tableAt, bootAt, backupAt} {
		m := mediatest.NewMemory(shoptest.Small)
		lost := false
		dropping := &dropped{Medium: m, at: at, lost: &lost}
		o := job.Write(t.Context(), []media.Target{judged(job, dropping)})[0]
		assert.ErrorAs(t, o.Err, new(*media.Misread))
		assert.True(t, lost)
		requireBlank(t, m)
	}
}

// dropped loses every write of one sector to one place.
type dropped struct {
	mediatest.Medium
	at   int64
	lost *bool
}

func (d *dropped) WriteAt(p []byte, at int64) (int, error) {
	if at == d.at && len(p) == 512 {
		*d.lost = true
		return len(p), nil
	}
	return d.Medium.WriteAt(p, at)
}

// The same plan gives the same bytes.
func TestSameBytes(t *testing.T) {
	var sums []string
	for range 2 {
		m, _ := written(t, shoptest.Kittiwake(t, t.TempDir()).Job(1), shoptest.Small)
		sums = append(sums, sumOf(t, m))
	}
	assert.Equal(t, sums[0], sums[1])
}

// A card whose device wants its package alone holds nothing else.
func TestCardOfAPackageAlone(t *testing.T) {
	shop := shoptest.New(t, t.TempDir())
	rules := shoptest.AnyCard()
	rules.Alone, rules.Folder = true, "/"
	shop.Model("solveld-beacon-1", rules)
	shop.Device("ais", "solveld-beacon-1")
	shop.Step("ais", "1.6", "", shoptest.Make("beacon1.upd", 12345, 1))
	m, o := written(t, shop.Job(1), shoptest.Small)
	card := fatread.Read(m, m.Bytes(), fatread.Limits{})
	require.Len(t, card.Volumes, 1)
	require.Len(t, card.Volumes[0].Entries, 1)
	assert.Equal(t, "beacon1.upd", card.Volumes[0].Entries[0].Path)
	assert.NotEmpty(t, o.Digest)
	assert.Len(t, o.Record.Files, 1) // the shop keeps it
}

// A signature is next to the record that it signs.
func TestSignedRecord(t *testing.T) {
	job := shoptest.Kittiwake(t, t.TempDir()).Job(1)
	key, err := keys.New(filepath.Join(t.TempDir(), "shop.key"))
	require.NoError(t, err)
	var signed, signature []byte
	job.Sign = func(record []byte) ([]byte, error) {
		var err error
		signed = bytes.Clone(record)
		signature, err = key.Sign(record)
		return signature, err
	}
	m, o := written(t, job, shoptest.Small)
	text, err := o.Record.Encode()
	require.NoError(t, err)
	assert.Equal(t, string(text), string(signed))
	files := contents(t, m)
	assert.Equal(t, string(text), files[media.RecordPath])
	assert.Equal(t, string(signature), files[media.SignaturePath])
	assert.NotContains(t, files[media.SumsPath], media.SignaturePath)

	job.Sign = func([]byte) ([]byte, error) { return nil, errors.New("no key") }
	assert.ErrorContains(t, write(t, job, mediatest.NewMemory(shoptest.Small)).Err, "signing the record: no key")
	long := true
	job.Sign = func([]byte) ([]byte, error) { // unlike what the library promises
		long = !long
		return []byte(strings.Repeat("s", map[bool]int{false: 1, true: 2}[long])), nil
	}
	m = mediatest.NewMemory(shoptest.Small)
	assert.ErrorContains(t, write(t, job, m).Err, "it has 2 bytes, and 1 were laid out")
	requireBlank(t, m)
}

// contents are the files on a card.
func contents(t testing.TB, m mediatest.Medium) map[string]string {
	files := map[string]string{}
	v := &fatread.Read(m, m.Bytes(), fatread.Limits{}).Volumes[0]
	for _, e := range v.Entries {
		if e.Dir {
			continue
		}
		content, err := io.ReadAll(v.Open(e))
		require.NoError(t, err)
		files[e.Path] = string(content)
	}
	return files
}

// What is written stays within the payload, rounded up to clusters, and the
// file system's structures, and one hundredth more.
func TestBytesWritten(t *testing.T) {
	dir := t.TempDir()
	shop := shoptest.New(t, dir)
	shop.Model("fennick-plot-12", shoptest.AnyCard())
	shop.Device("flybridge", "fennick-plot-12")
	shop.Step("flybridge", "4.0-12", "", shoptest.Make("plot12.upd", 1, 1), shoptest.Make("notes.txt", 70_001, 1))
	const size = 256<<20 + 12345 // zeros, which take no room in a test's memory
	zeros := filepath.Join(dir, "packages/fennick-plot-12/4.0-12/plot12.upd")
	require.NoError(t, os.Truncate(zeros, 0))
	require.NoError(t, os.Truncate(zeros, size))
	sum := digest.SHA256(run(t, "sha256sum", zeros)[:64])
	release := shop.Models[0].Releases[0].Files[0]
	release.Size, release.SHA256 = size, sum
	shop.Plan.Steps[0].Files[0].Size, shop.Plan.Steps[0].Files[0].SHA256 = size, sum

	bytes, err := media.ImageBytes("4GB")
	require.NoError(t, err)
	job := shop.Job(1)
	m, o := written(t, job, bytes)
	l, err := job.Prepare(bytes)
	require.NoError(t, err)
	assert.Equal(t, m.Counts().BytesWritten, o.Written)
	expected := l.Geometry().DataOffset() + l.Geometry().UsedBytes()
	assert.LessOrEqual(t, o.Written, expected+expected/100)
	assert.Greater(t, o.Written, int64(size))
}

// Nothing is written to a card that is outside the limits or has too little
// room, and the message tells by how much.
func TestPrepareRefuses(t *testing.T) {
	shop := shoptest.Kittiwake(t, t.TempDir())
	shop.Models[0].Card.Least, shop.Models[0].Card.Most = 4e9, 32e9
	job := shop.Job(1)
	for bytes, want := range map[int64]string{
		shoptest.Small: "use a larger card",
		63_864_569_856: "use a smaller card",
		4_000_000_000:  "",
		4_000_000_001:  "a whole number of sectors",
		-1:             "use a larger card",
		1 << 62:        "use a smaller card",
		3_680_000_000:  "",
		3_679_999_999:  "use a larger card",
		33_600_000_000: "",
		33_600_000_512: "use a smaller card",
	} {
		m := mediatest.NewMemory(bytes)
		_, err := job.Prepare(bytes)
		if want == "" {
			assert.NoError(t, err)
			continue
		}
		assert.ErrorContains(t, err, want)
		o := write(t, job, m)
		assert.ErrorContains(t, o.Err, want)
		assert.Zero(t, m.Counts().Writes)
		assert.Zero(t, o.Written)
	}
	job = shoptest.Kittiwake(t, t.TempDir()).Job(1)
	job.Card.Files[0].Size = 40 << 20
	m := mediatest.NewMemory(44 << 20)
	var room *fat32.RoomError
	require.ErrorAs(t, write(t, job, m).Err, &room)
	assert.Greater(t, room.Needed, room.Room)
	assert.Zero(t, m.Counts().Writes)
	job.InstallOrder = make([]byte, 2<<20+1)
	assert.ErrorContains(t, write(t, job, m).Err, "install order")
}
