package media_test

import (
	"context"
	"crypto/sha256"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"path/filepath"
	"sort"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"cardwright/media"
	"cardwright/media/mediatest"
	"cardwright/media/mediatest/shoptest"
	"cardwright/verify"
	"cardwright/verify/fatread"
)

// drill is a card that loses power while it is written over an older one.
type drill struct {
	name string
	// before is on the card; nil: nothing.
	before *mediatest.Memory
	at     int64 // where the older card's file system begins
	// spoil makes the writing fail on its own, so that the card is blanked
	// again; nil: it succeeds.
	spoil func(ctx context.Context, m mediatest.Medium) (context.Context, media.Target)
}

// state is what a power loss may leave on a card.
type state struct {
	card *mediatest.Memory
	at   int64 // of the older file system
	how  string
}

// A card that loses power at any write or sync, with any of the writes that
// weren't synced kept, lost, torn between sectors or taken out of their order,
// shows either no file at all or all of them: the new ones, or those of the
// older card. Judged good it is only with all the new ones. Every state is
// read by our reader, and enough of them by mtools and fsck.fat (dosfstools),
// which look for the file system where its partition begins, table or not.
func TestPowerLostAtAnyMoment(t *testing.T) {
	job := shoptest.Kittiwake(t, t.TempDir()).Job(1)
	finished, outcome := written(t, job, shoptest.Small)
	old := olderJob(t)
	older, _ := written(t, old, shoptest.Small)
	stranger := strangersCard(t)
	d := driller{
		t: t, job: job, outcome: outcome, random: rand.New(rand.NewChaCha8([32]byte{3})), seen: map[[32]byte]bool{},
		whole: []string{listing(t, finished), listing(t, older), listing(t, stranger)},
	}
	drills := []drill{
		{name: "over nothing"},
		{name: "over an older card of ours", before: older, at: bootAt},
		{name: "over a stranger's card", before: stranger, at: mib},
		{name: "refused by the judge", before: older, at: bootAt, spoil: func(ctx context.Context, m mediatest.Medium) (context.Context, media.Target) {
			return ctx, media.Target{Medium: m, Judge: refuse}
		}},
		{name: "interrupted when it is almost startable", before: older, at: bootAt, spoil: func(ctx context.Context, m mediatest.Medium) (context.Context, media.Target) {
			ctx, interrupt := context.WithCancel(ctx)
			boots := 0
			return ctx, judged(job, mediatest.Watched(m, func(e mediatest.Event) {
				if e.What == mediatest.Wrote && e.Offset == bootAt && len(e.Data) == 512 && !allZero(e.Data) {
					if boots++; boots == 1 {
						interrupt()
					}
				}
			}))
		}},
	}
	if testing.Short() {
		drills = drills[1:3]
	}
	for _, drill := range drills {
		d.run(drill)
	}
	t.Logf("%d states, %d of them distinct, %d judged good", d.states, len(d.distinct), d.good)
	require.Positive(t, d.good)
	d.byOutsideTools()
}

type driller struct {
	t       testing.TB
	job     media.Job
	outcome media.Outcome
	random  *rand.Rand
	whole   []string // listings that are complete: the new card's first

	states, good int
	seen         map[[32]byte]bool
	distinct     []state
}

// run loses power at the first call, the second, and so on, until none is left
// to lose it at.
func (d *driller) run(drill drill) {
	for nth := 1; ; nth++ {
		card := mediatest.NewJournaled(shoptest.Small)
		if drill.before != nil {
			drill.before.Stretches(func(off int64, data []byte) {
				_, err := card.WriteAt(data, off)
				require.NoError(d.t, err)
			})
		}
		require.NoError(d.t, card.Sync())
		cut := mediatest.PowerCut(card, nth)
		ctx, target := d.t.Context(), judged(d.job, cut)
		if drill.spoil != nil {
			ctx, target = drill.spoil(ctx, cut)
		}
		o := d.job.Write(ctx, []media.Target{target})[0]
		lost := errors.Is(o.Err, mediatest.ErrPower)
		for how, kept := range d.kept(card.Pending()) {
			d.look(state{left(d.t, card, kept), drill.at, fmt.Sprintf("%s, power lost at call %d, %s kept", drill.name, nth, how)})
		}
		if !lost {
			require.Equal(d.t, drill.spoil == nil, o.Err == nil)
			return
		}
		require.Empty(d.t, o.Digest)
	}
}

// kept are choices of what power loss keeps of writes that weren't synced.
func (d *driller) kept(pending []mediatest.Write) map[string][]mediatest.Write {
	kept := map[string][]mediatest.Write{"nothing": nil, "all": pending}
	for i := range pending {
		kept[fmt.Sprint("only write ", i)] = pending[i : i+1]
		kept[fmt.Sprint("all but write ", i)] = append(append([]mediatest.Write{}, pending[:i]...), pending[i+1:]...)
	}
	for i := range min(8, 1<<len(pending)) {
		var some []mediatest.Write
		for _, n := range d.random.Perm(len(pending)) {
			switch w := pending[n]; d.random.IntN(3) {
			case 0:
				some = append(some, w)
			case 1:
				some = append(some, d.torn(w)...)
			}
		}
		kept[fmt.Sprint("at random ", i)] = some
	}
	return kept
}

// torn are some of a write's sectors.
func (d *driller) torn(w mediatest.Write) (some []mediatest.Write) {
	for at := 0; at < len(w.Data); {
		n := min(512*(1+d.random.IntN(64)), len(w.Data)-at)
		if d.random.IntN(2) == 0 {
			some = append(some, mediatest.Write{Offset: w.Offset + int64(at), Data: w.Data[at : at+n]})
		}
		at += n
	}
	return some
}

func left(t testing.TB, card *mediatest.Memory, kept []mediatest.Write) *mediatest.Memory {
	after := card.Durable()
	for _, w := range kept {
		_, err := after.WriteAt(w.Data, w.Offset)
		require.NoError(t, err)
	}
	return after
}

// look judges one state and reads it, if there was none like it before.
func (d *driller) look(s state) {
	d.states++
	sum := sha256.New()
	s.card.Stretches(func(off int64, data []byte) {
		var at [8]byte
		binary.BigEndian.PutUint64(at[:], uint64(off))
		sum.Write(at[:])
		sum.Write(data)
	})
	if id := [32]byte(sum.Sum(nil)); d.seen[id] {
		return
	} else {
		d.seen[id] = true
	}
	d.distinct = append(d.distinct, s)
	files := listing(d.t, s.card)
	if look(s.card, d.job, d.outcome).Verdict == verify.Good {
		d.good++
		require.Equal(d.t, d.whole[0], files, s.how)
	}
	if files != "" {
		require.Contains(d.t, d.whole, files, s.how)
	}
}

// byOutsideTools has states read by mtools and fsck.fat: those with files on
// them, and others, spread evenly.
func (d *driller) byOutsideTools() {
	most := 260
	if testing.Short() {
		most = 40
	}
	var with, without []state
	for _, s := range d.distinct {
		if listing(d.t, s.card) != "" {
			with = append(with, s)
		} else {
			without = append(without, s)
		}
	}
	chosen := spread(with, most/2)
	chosen = append(chosen, spread(without, most-len(chosen))...)
	require.GreaterOrEqual(d.t, len(chosen), most*3/4)
	complete := 0
	for _, s := range chosen {
		places := []int64{bootAt}
		if s.at > 0 && s.at != bootAt {
			places = append(places, s.at)
		}
		for _, at := range places {
			if d.outside(s, at) {
				complete++
			}
		}
	}
	d.t.Logf("%d states read by mtools and fsck.fat, %d file systems complete", len(chosen), complete)
	require.GreaterOrEqual(d.t, complete, 3, "the new card and both older ones")
}

func spread(all []state, most int) (some []state) {
	for i := range min(most, len(all)) {
		some = append(some, all[i*len(all)/min(most, len(all))])
	}
	return some
}

// outside reads the file system that may begin at an offset, and says whether
// there is one.
func (d *driller) outside(s state, at int64) bool {
	path := filepath.Join(d.t.TempDir(), "partition")
	f, err := os.Create(path)
	require.NoError(d.t, err)
	defer os.Remove(path)
	require.NoError(d.t, f.Truncate(shoptest.Small-at))
	s.card.Stretches(func(off int64, data []byte) {
		if skip := max(0, at-off); skip < int64(len(data)) {
			_, err := f.WriteAt(data[skip:], off+skip-at)
			require.NoError(d.t, err)
		}
	})
	require.NoError(d.t, f.Close())
	names, err := try(d.t, "mdir", "-b", "-/", "-i", path, "::")
	if err != nil {
		out, err := try(d.t, "fsck.fat", "-n", path)
		assert.Error(d.t, err, "%s: fsck.fat sees a file system that mdir doesn't see: %s", s.how, out)
		return false
	}
	dir := filepath.Join(d.t.TempDir(), "tree")
	require.NoError(d.t, os.Mkdir(dir, 0o700))
	defer os.RemoveAll(dir)
	run(d.t, "mcopy", "-s", "-n", "-i", path, "::/", dir)
	assert.Contains(d.t, d.whole, listingOfFolder(d.t, dir), "%s: mdir sees\n%s", s.how, names)
	out, err := try(d.t, "fsck.fat", "-n", path)
	assert.NoError(d.t, err, "%s: %s", s.how, out)
	return true
}

// listing is every file on a card with its digest, one a line, or "" where
// there is no file system.
func listing(t testing.TB, m mediatest.Medium) string {
	var lines []string
	card := fatread.Read(m, m.Bytes(), fatread.Limits{})
	for i := range card.Volumes {
		v := &card.Volumes[i]
		lines = append(lines, "") // a file system without files isn't none
		for _, e := range v.Entries {
			if e.Dir {
				continue
			}
			running := media.NewRunning()
			if _, err := io.Copy(running, v.Open(e)); err != nil {
				lines = append(lines, e.Path+" "+err.Error())
				continue
			}
			lines = append(lines, e.Path+" "+string(running.SHA256()))
		}
	}
	sort.Strings(lines)
	return strings.Join(lines, "\n")
}

func listingOfFolder(t testing.TB, dir string) string {
	lines := []string{""}
	require.NoError(t, filepath.WalkDir(dir, func(path string, e os.DirEntry, err error) error {
		if err != nil || e.IsDir() {
			return err
		}
		content, err := os.ReadFile(path)
		name, _ := filepath.Rel(dir, path)
		lines = append(lines, filepath.ToSlash(name)+" "+shoptest.Sum(content))
		return err
	}))
	sort.Strings(lines)
	return strings.Join(lines, "\n")
}

// olderJob writes the card of an earlier visit: some of the same paths, with
// other files.
func olderJob(t testing.TB) media.Job {
	shop := shoptest.New(t, t.TempDir())
	shop.Model("fennick-plot-12", shoptest.AnyCard())
	shop.Device("flybridge", "fennick-plot-12")
	shop.Step("flybridge", "3.1-40", "", shoptest.Make("plot12.upd", 2<<20, 9), shoptest.Make("guide.txt", 5000, 9))
	return shop.Job(1)
}

// strangersCard is a card by sfdisk, mkfs.fat and mcopy. Its FAT begins in the
// partition's second sector, among those that are blanked with the first.
func strangersCard(t testing.TB) *mediatest.Memory {
	dir := t.TempDir()
	card, part := filepath.Join(dir, "card.img"), filepath.Join(dir, "part.img")
	for path, size := range map[string]int64{card: shoptest.Small, part: shoptest.Small - mib} {
		require.NoError(t, os.WriteFile(path, nil, 0o600))
		require.NoError(t, os.Truncate(path, size))
	}
	run(t, "mkfs.fat", "-F", "16", "-R", "1", "-n", "CHARTS", part)
	for i := range 5 {
		name := fmt.Sprint("track", i, ".gpx")
		put(t, dir, name, shoptest.Make(name, int64(i*300_000), 4).Content)
		run(t, "mcopy", "-i", part, filepath.Join(dir, name), "::")
	}
	run(t, "sh", "-c", "echo 'start=2048, type=e' | "+tool(t, "sfdisk")+" -q "+card)
	run(t, "dd", "if="+part, "of="+card, "bs=1M", "seek=1", "conv=notrunc", "status=none")
	content, err := os.ReadFile(card)
	require.NoError(t, err)
	m := mediatest.NewMemory(shoptest.Small)
	_, err = m.WriteAt(content, 0)
	require.NoError(t, err)
	return m
}
