package prepare_test

import (
	"bytes"
	"context"
	"errors"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"cardwright/manifest/order"
	"cardwright/media"
	"cardwright/media/capacity"
	"cardwright/media/drive"
	"cardwright/media/mediatest"
	"cardwright/media/mediatest/shoptest"
	"cardwright/media/readers"
	"cardwright/verify"
	"cardwright/verify/prepare"
)

// reader is a card reader with a card in it, which can be changed between two
// openings.
type reader struct {
	card    *mediatest.Memory
	listed  readers.Drive
	opened  []bool // for writing
	ejected int
	told    int
	stays   error // what ejecting comes to
	gone    error
	swap    func() // done before it is opened for writing
}

type openCard struct {
	*mediatest.Memory
	reader *reader
}

func (openCard) Close() error        { return nil }
func (openCard) FromMedium() bool    { return true }
func (openCard) HowRead() string     { return "past every cache" }
func (o openCard) Gone() error       { return o.reader.gone }
func (o openCard) TellSystem() error { o.reader.told++; return nil }
func (o openCard) Eject() error      { o.reader.ejected++; return o.reader.stays }

func (*reader) KindOf(path string) (drive.Kind, error) {
	if path == drivePath {
		return drive.DriveOrPart, nil
	}
	return drive.KindOf(path)
}

func (r *reader) Listed(context.Context, string) (readers.Drive, error) { return r.listed, nil }

func (r *reader) Open(_ string, writing bool) (prepare.Drive, error) {
	if r.opened = append(r.opened, writing); writing && r.swap != nil {
		r.swap()
	}
	return openCard{r.card, r}, nil
}

const (
	drivePath = "/dev/sdx"
	driveSize = 64 << 20
)

// withCard is a reader on USB as lsblk lists one (util-linux), with this card.
func withCard(card *mediatest.Memory) *reader {
	return &reader{card: card, listed: readers.Drive{
		Path: drivePath, Type: "disk", Transport: "usb", Bytes: card.Bytes(), Removable: true, HotPlug: true, Vendor: "Reader",
	}}
}

// job is a job of the shop whose vessel needs one card.
func job(t *testing.T, drives prepare.Drives, to ...string) prepare.Job {
	t.Helper()
	s := shoptest.Kittiwake(t, t.TempDir())
	return prepare.Job{
		Shop: s.Shop, Vessel: s.Vessel, Packages: media.PackagesOf(s.Shop), To: to,
		InstallOrder: func(order.Plan) ([]byte, error) { return []byte(shoptest.InstallOrder), nil },
		Kept:         func(string) bool { return false },
		Holds:        func(_ context.Context, on verify.Listing) string { return on.Holds(s.Name, nil) },
		Watch:        func(string, int64) (prepare.Progress, prepare.Done) { return func(string, int64) {}, func() {} },
		Drives:       drives,
	}
}

func begin(t *testing.T, j prepare.Job) *prepare.Run {
	t.Helper()
	laid, err := j.Lay(t.Context())
	require.NoError(t, err)
	require.False(t, laid.NeedsNoCard())
	run, err := laid.Begin(t.Context(), prepare.Signing{})
	require.NoError(t, err)
	t.Cleanup(func() { assert.NoError(t, run.Close()) })
	return run
}

// through runs a job whose questions are answered by what they ask for.
func through(t *testing.T, j prepare.Job) *prepare.Run {
	t.Helper()
	run := begin(t, j)
	for _, target := range run.Targets {
		q, err := run.Question(t.Context(), target)
		require.NoError(t, err)
		require.NoError(t, q.Answer(q.Code))
		require.NoError(t, run.Open(t.Context(), target, q))
	}
	run.Prove(t.Context())
	run.Write(t.Context())
	run.Release()
	return run
}

// A script runs the same job as a terminal: an image and a folder ask nothing, a card
// in a reader asks for its code; each is read back.
func TestAJobRunsWithoutATerminal(t *testing.T) {
	for _, kind := range []string{"image", "drive", "folder"} {
		t.Run(kind, func(t *testing.T) {
			dir := t.TempDir()
			r := withCard(mediatest.NewMemory(driveSize))
			path := map[string]string{"image": filepath.Join(dir, "card.img"), "drive": drivePath, "folder": dir}[kind]
			j := job(t, r, path)
			j.Size = "67108864"
			done := through(t, j).Targets[0]
			require.NoError(t, done.Outcome.Err)
			require.NotNil(t, done.Report)
			if kind == "folder" {
				assert.NotEqual(t, verify.Bad, done.Report.Verdict)
				return
			}
			assert.Equal(t, verify.Good, done.Report.Verdict, "%v", done.Report.Findings)
			var on verify.Listing
			if kind == "image" {
				content, err := os.ReadFile(path)
				require.NoError(t, err)
				on = verify.List(bytes.NewReader(content), int64(len(content)))
			} else {
				on = verify.List(r.card, driveSize)
				assert.Equal(t, 1, r.told, "the system is notified of the card, last of all")
			}
			require.NotNil(t, on.Record)
			assert.Equal(t, "kittiwake", on.Record.Vessel)
		})
	}
}

// Nothing but the card's own code lets a card in a reader be erased; until then it is
// opened for reading only.
func TestACardIsErasedByItsCodeAlone(t *testing.T) {
	r := withCard(mediatest.NewMemory(driveSize))
	j := job(t, r, drivePath)
	j.Agreed.Yes = true
	run := begin(t, j)
	q, err := run.Question(t.Context(), run.Targets[0])
	require.NoError(t, err)
	require.NoError(t, q.Refused)
	require.NotEmpty(t, q.Code, "a yes beforehand is not enough for a real card")
	for _, said := range []string{"", "yes", "erase", q.Code[:4], q.Code + "X"} {
		assert.ErrorContains(t, q.Answer(said), "nothing was erased", said)
	}
	assert.NoError(t, q.Answer(q.Code))
	assert.Equal(t, []bool{false}, r.opened)
	assert.Zero(t, r.card.Counts().Writes)
}

// What is said beforehand about a card's code is an answer: nothing is left to ask.
// A code of another card is none.
func TestACodeNamedBeforehand(t *testing.T) {
	r := withCard(mediatest.NewMemory(driveSize))
	j := job(t, r, drivePath)
	run := begin(t, j)
	q, err := run.Question(t.Context(), run.Targets[0])
	require.NoError(t, err)
	j.Agreed.Erase = []string{q.Code}
	run = begin(t, j)
	q, err = run.Question(t.Context(), run.Targets[0])
	require.NoError(t, err)
	assert.Empty(t, q.Code)
	assert.NoError(t, q.Answer(""))
	j.Agreed.Erase = []string{"K7PM-2XWD"}
	run = begin(t, j)
	q, err = run.Question(t.Context(), run.Targets[0])
	require.NoError(t, err)
	assert.ErrorContains(t, q.Answer("K7PM-2XWD"), "nothing was erased")
	assert.Zero(t, r.card.Counts().Writes)
}

// Between the answer and the erasing somebody may put another card in.
func TestAnotherCardThanTheOneAskedAboutStaysAsItIs(t *testing.T) {
	for name, other := range map[string]*mediatest.Memory{
		"another card": mediatest.NewMemory(driveSize),
		"another size": mediatest.NewMemory(driveSize / 2),
	} {
		t.Run(name, func(t *testing.T) {
			r := withCard(mediatest.NewMemory(driveSize))
			_, err := other.WriteAt([]byte("somebody's"), 4096)
			require.NoError(t, err)
			before := other.Counts().Writes
			r.swap = func() { r.card = other }
			run := begin(t, job(t, r, drivePath))
			q, err := run.Question(t.Context(), run.Targets[0])
			require.NoError(t, err)
			require.NoError(t, q.Answer(q.Code))
			assert.ErrorContains(t, run.Open(t.Context(), run.Targets[0], q), "nothing was erased")
			assert.Equal(t, before, other.Counts().Writes)
		})
	}
}

// A card with files that nobody here wrote goes only if they are given up, or saved
// first: then the copy is the card, byte for byte.
func TestFilesOfOthersAreGivenUpOrSaved(t *testing.T) {
	card := func() *mediatest.Memory {
		m := mediatest.NewMemory(driveSize)
		_, err := m.WriteAt([]byte("a file system that nobody here knows"), 0)
		require.NoError(t, err)
		return m
	}
	r := withCard(card())
	run := begin(t, job(t, r, drivePath))
	q, err := run.Question(t.Context(), run.Targets[0])
	require.NoError(t, err)
	assert.ErrorContains(t, q.Answer("anything"), string(prepare.SaveFirst))
	assert.NotEmpty(t, q.Held, "what is refused is shown first")

	saved := filepath.Join(t.TempDir(), "old.img")
	r = withCard(card())
	j := job(t, r, drivePath)
	j.Agreed.SaveFirst = saved
	before := make([]byte, driveSize)
	_, err = r.card.ReadAt(before, 0)
	require.NoError(t, err)
	done := through(t, j)
	require.NoError(t, done.Targets[0].Outcome.Err)
	after, err := os.ReadFile(saved)
	require.NoError(t, err)
	assert.True(t, bytes.Equal(before, after))

	run = begin(t, j) // the copy of one card is never replaced by that of another
	r.card = card()
	q, err = run.Question(t.Context(), run.Targets[0])
	require.NoError(t, err)
	require.NoError(t, q.Answer(q.Code))
	assert.ErrorContains(t, run.Open(t.Context(), run.Targets[0], q), "is there already: nothing was erased")

	r = withCard(card())
	j = job(t, r, drivePath)
	j.Agreed.LoseFiles = true
	require.NoError(t, through(t, j).Targets[0].Outcome.Err)
}

// What stands where an image is to be made: the shop's own files, what is no image,
// and a card of somebody else's stay.
func TestWhatAnImageMayReplace(t *testing.T) {
	path := filepath.Join(t.TempDir(), "card.img")
	about := func(change func(*prepare.Job)) prepare.Question {
		j := job(t, prepare.Computer{}, path)
		j.Size = "67108864"
		if change != nil {
			change(&j)
		}
		run := begin(t, j)
		q, err := run.Question(t.Context(), run.Targets[0])
		require.NoError(t, err)
		return q
	}
	assert.NoError(t, about(nil).Refused, "nothing is there")

	require.NoError(t, os.WriteFile(path, []byte("a letter"), 0o600))
	assert.ErrorContains(t, about(nil).Refused, "no card image")
	lose := func(j *prepare.Job) { j.Agreed.LoseFiles = true }
	assert.NoError(t, about(lose).Refused)
	kept := func(j *prepare.Job) { j.Kept = func(string) bool { return true }; lose(j) }
	_, bad := errors.AsType[*prepare.BadJob](about(kept).Refused)
	assert.True(t, bad, "a file of the shop goes whatever is given up")

	require.NoError(t, os.WriteFile(path, make([]byte, 1<<20), 0o600))
	assert.NoError(t, about(nil).Refused, "nothing but zeros")
	other := make([]byte, 1<<20)
	other[600_000] = 1
	require.NoError(t, os.WriteFile(path, other, 0o600))
	assert.ErrorContains(t, about(nil).Refused, "it was left as it is", "something stands far in")

	require.NoError(t, os.Remove(path))
	j := job(t, prepare.Computer{}, path)
	j.Size = "67108864"
	require.NoError(t, through(t, j).Targets[0].Outcome.Err)
	again := about(func(j *prepare.Job) {})
	require.NoError(t, again.Refused, "an earlier making of this very card")
	assert.NotEmpty(t, again.Held, "and that is shown")
	assert.ErrorContains(t, about(func(j *prepare.Job) { j.Shop.Name = "Another" }).Refused, "it was left as it is")
}

// What can't be done as it was asked is refused before anything is touched.
func TestJobsThatCantStand(t *testing.T) {
	dir := t.TempDir()
	one, two := filepath.Join(dir, "one.img"), filepath.Join(dir, "two.img")
	r := withCard(mediatest.NewMemory(driveSize))
	for name, change := range map[string]func(*prepare.Job){
		"one target twice":           func(j *prepare.Job) { j.To = []string{one, filepath.Join(dir, ".", "x", "..", "one.img")} },
		"an image without a size":    func(j *prepare.Job) { j.Size = "" },
		"a size that is none":        func(j *prepare.Job) { j.Size = "large" },
		"an image proves its size":   func(j *prepare.Job) { j.Capacity = capacity.Full },
		"an image is ejected":        func(j *prepare.Job) { j.Eject = true },
		"a drive and an image prove": func(j *prepare.Job) { j.To, j.Capacity = []string{drivePath, one}, capacity.Quick },
	} {
		t.Run(name, func(t *testing.T) {
			j := job(t, r, one)
			j.Size = "67108864"
			change(&j)
			laid, err := j.Lay(t.Context())
			if err == nil {
				_, err = laid.Begin(t.Context(), prepare.Signing{})
			}
			_, bad := errors.AsType[*prepare.BadJob](err)
			assert.True(t, bad, "%v", err)
		})
	}
	j := job(t, r, one, two)
	j.Size = "67108864"
	assert.Len(t, begin(t, j).Targets, 2, "two equal sets of one card")
	left, err := os.ReadDir(dir)
	require.NoError(t, err)
	assert.Empty(t, left)
}

// A plan of two cards takes two targets, or four for two equal sets, and nothing
// between; each target gets its card in the order in which they were named.
func TestEveryCardHasItsTarget(t *testing.T) {
	s := shoptest.New(t, t.TempDir())
	alone := shoptest.AnyCard()
	alone.Alone, alone.Folder = true, "/"
	s.Model("fennick-plot-12", shoptest.AnyCard())
	s.Model("solveld-beacon-1", alone)
	s.Device("flybridge", "fennick-plot-12")
	s.Device("beacon", "solveld-beacon-1")
	s.Step("flybridge", "4.0", "", shoptest.Make("plot12.upd", 70_000, 1))
	s.Step("beacon", "1.6", "", shoptest.Make("beacon.upd", 5000, 1))
	dir := t.TempDir()
	for targets, cards := range map[int][]int{1: nil, 2: {1, 2}, 3: nil, 4: {1, 2, 1, 2}, 5: nil} {
		j := job(t, prepare.Computer{})
		j.Shop, j.Vessel, j.Packages, j.Size = s.Shop, s.Vessel, media.PackagesOf(s.Shop), "67108864"
		for i := range targets {
			j.To = append(j.To, filepath.Join(dir, string(rune('a'+i))+".img"))
		}
		laid, err := j.Lay(t.Context())
		require.NoError(t, err)
		require.Len(t, laid.Layout.Cards, 2)
		run, err := laid.Begin(t.Context(), prepare.Signing{})
		if cards == nil {
			_, bad := errors.AsType[*prepare.BadJob](err)
			assert.True(t, bad, "%d targets: %v", targets, err)
			continue
		}
		require.NoError(t, err)
		var got []int
		for _, target := range run.Targets {
			got = append(got, target.Card.Number)
		}
		assert.Equal(t, cards, got)
	}
}

// A card that can't be ejected, or that the system couldn't be notified of, is as good as it
// was; one that was pulled out is reported as such, whatever else came of it.
func TestWhatBecomesOfADriveAfterwards(t *testing.T) {
	r := withCard(mediatest.NewMemory(driveSize))
	r.stays = errors.New("held by the desktop")
	j := job(t, r, drivePath)
	j.Eject = true
	done := through(t, j).Targets[0]
	require.NoError(t, done.Outcome.Err)
	assert.False(t, done.Ejected)
	assert.ErrorIs(t, done.Unreleased, r.stays)
	assert.Equal(t, 1, r.told, "then the system is notified of the card")

	r.stays = nil
	done = through(t, j).Targets[0]
	assert.True(t, done.Ejected)
	assert.NoError(t, done.Unreleased)
	assert.Equal(t, 1, r.told)
}

// A run that is interrupted leaves no card: the drive is blank, no image is there.
func TestAnInterruptedRunLeavesNoCard(t *testing.T) {
	path := filepath.Join(t.TempDir(), "card.img")
	for _, to := range []string{path, drivePath} {
		r := withCard(mediatest.NewMemory(driveSize))
		j := job(t, r, to)
		j.Size = "67108864"
		run := begin(t, j)
		q, err := run.Question(t.Context(), run.Targets[0])
		require.NoError(t, err)
		require.NoError(t, run.Open(t.Context(), run.Targets[0], q))
		ctx, cancel := context.WithCancel(t.Context())
		cancel()
		run.Write(ctx)
		run.Release()
		assert.True(t, media.Interrupted(run.Targets[0].Outcome.Err), "%v", run.Targets[0].Outcome.Err)
		assert.NotEmpty(t, run.Targets[0].Left())
		if to == path {
			assert.NoFileExists(t, path)
			continue
		}
		on := verify.List(r.card, driveSize)
		assert.True(t, on.Blank && on.Record == nil)
	}
}
