// Package ledgertest gives the ledger's tests invented work to record, keys,
// and a PostgreSQL server. The same seed gives the same work. Only tests import it.
package ledgertest

import (
	"context"
	"crypto/ed25519"
	"crypto/sha256"
	"fmt"
	"math/rand/v2"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"cardwright/manifest/version"
	"cardwright/verify/ledger"
	"cardwright/verify/ledger/store"
)

// Shop is the invented shop.
const Shop = "Hollin Quay Marine Electrics"

// Key gives a writer's key, the same for the same name.
func Key(name string) ledger.Key {
	seed := sha256.Sum256([]byte(name))
	return ledger.Key(ed25519.NewKeyFromSeed(seed[:]))
}

// Writer gives a writer of the invented shop.
func Writer(name string) store.Writer {
	return store.Writer{Shop: Shop, Technician: name, Signer: Key(name), Now: func() time.Time { return Day(-1) }} // so all is dated by hand
}

// Known names writers by their keys, as a shop that trusts them would.
func Known(names ...string) map[string]string {
	known := map[string]string{}
	for _, n := range names {
		known[ledger.Writer(Key(n).Public())] = n
	}
	return known
}

// Day gives a moment that many days after the invented shop opened.
func Day(n int) time.Time { return time.Date(2026, 3, 2, 8, 0, 0, 0, time.UTC).AddDate(0, 0, n) }

// Equipment is what a vessel of the invented fleet has aboard.
var Equipment = []ledger.Device{
	{ID: "flybridge", Kind: "chart display", Maker: "Fennick", Model: "fennick-plot-12", Place: "flybridge"},
	{ID: "wheelhouse", Kind: "chart display", Maker: "Fennick", Model: "fennick-plot-9", Place: "wheelhouse"},
	{ID: "radar", Kind: "radar", Maker: "Fennick", Model: "fennick-sweep-2", Place: "mast"},
	{ID: "pilot", Kind: "autopilot computer", Maker: "Solveld", Model: "solveld-course-3", Place: "lazarette"},
	{ID: "heading", Kind: "heading sensor", Maker: "Solveld", Model: "solveld-fix-2", Place: "forepeak"},
}

// Release gives the n-th release of every invented model.
func Release(n int) version.V { return version.V(fmt.Sprintf("%d.%d-%d", 3+n/4, n%4*5, 10+n)) }

// World gives the work of an invented shop, the same for the same seed:
// vessels that are taken on, and visits of ten entries each.
type World struct {
	rand     *rand.Rand
	versions map[string]int // release of each vessel's devices
}

// NewWorld begins a world.
func NewWorld(seed uint64) *World {
	return &World{rand.New(rand.NewPCG(seed, 5)), map[string]int{}}
}

// Vessel names the n-th vessel.
func Vessel(n int) string { return fmt.Sprintf("kittiwake-%05d", n) }

// TakeOn takes a vessel on.
func (w *World) TakeOn(n, day int) ledger.Entry {
	t := &ledger.TakenOn{Name: fmt.Sprintf("Kittiwake %d", n)}
	for _, d := range Equipment {
		d.Serial = fmt.Sprintf("%s-%05d", d.ID[:2], n)
		w.versions[Vessel(n)+d.ID] = w.rand.IntN(4)
		t.Devices = append(t.Devices, ledger.Fitted{Device: d, Version: Release(w.versions[Vessel(n)+d.ID])})
	}
	return ledger.Entry{At: Day(day), Kind: ledger.VesselTakenOn, Vessel: Vessel(n), Berth: berthOf(n), TakenOn: t}
}

// berthOf names the n-th vessel's berth.
func berthOf(n int) string { return fmt.Sprintf("Hollin Quay, %c %d", 'A'+n%8, n%40) }

// Visit raises some of a vessel's devices: two events of a card, the visit,
// the settings, three steps and three checks.
func (w *World) Visit(n, day int) []ledger.Entry {
	vessel, visit := Vessel(n), fmt.Sprintf("%s-%d-%d", Vessel(n), day, w.rand.Int64())
	digest := fmt.Sprintf("%x", sha256.Sum256([]byte(visit)))
	var steps, checks []ledger.Entry
	var card []ledger.CardRelease
	for i, at := range w.rand.Perm(len(Equipment))[:3] {
		d := Equipment[at]
		d.Serial = fmt.Sprintf("%s-%05d", d.ID[:2], n)
		before := w.versions[vessel+d.ID]
		w.versions[vessel+d.ID] = before + 1
		steps = append(steps, ledger.Entry{Kind: ledger.StepDone, Step: &ledger.Step{
			Number: i + 1, Device: d, Before: Release(before), After: Release(before + 1), Minutes: 5 + w.rand.IntN(30), Card: digest,
		}})
		checks = append(checks, ledger.Entry{Kind: ledger.CheckPassed, Check: &ledger.Check{
			Device: d, Check: ledger.VersionShown, Value: string(Release(before + 1)),
		}})
		card = append(card, ledger.CardRelease{Device: d.ID, Maker: d.Maker, Model: d.Model, Version: Release(before + 1)})
	}
	made := &ledger.Card{Digest: digest, Number: 1, Of: 1, Releases: card, Size: 7_948_206_080, Target: "card 7", Verdict: "good", VolumeID: "1A2B-3C4D"}
	entries := []ledger.Entry{
		{Kind: ledger.CardPrepared, Card: made},
		{Kind: ledger.CardVerified, Card: made},
		{Kind: ledger.VisitBegun, VisitBegun: &ledger.Visit{Purpose: "yearly update", ApprovedBy: "the owner"}},
		{Kind: ledger.SettingsSaved, Settings: &ledger.Settings{Where: "on the shop's disk"}},
	}
	entries = append(append(entries, steps...), checks...)
	for i := range entries {
		entries[i].At = Day(day).Add(time.Duration(i) * time.Minute)
		entries[i].Vessel = vessel
		if i >= 2 {
			entries[i].Visit, entries[i].Berth = visit, berthOf(n)
		}
	}
	return entries
}

// Elsewhere writes entries into the ledger of another van, which had seen
// nothing of this one, and brings them here.
func Elsewhere(t testing.TB, here *store.Ledger, writer string, entries ...ledger.Entry) []ledger.Event {
	t.Helper()
	ctx := context.Background()
	van, err := store.Open(ctx, filepath.Join(t.TempDir(), "van.db"), store.Options{Create: true})
	require.NoError(t, err)
	defer van.Close()
	events, err := van.Append(ctx, Writer(writer), entries...)
	require.NoError(t, err)
	_, err = store.Sync(ctx, van, here, store.SyncOptions{})
	require.NoError(t, err)
	return events
}
