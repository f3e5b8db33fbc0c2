package audit_test

import (
	"context"
	"encoding/json"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"cardwright/manifest"
	"cardwright/manifest/version"
	"cardwright/verify/ledger"
	"cardwright/verify/ledger/audit"
	"cardwright/verify/ledger/known"
	"cardwright/verify/ledger/ledgertest"
	"cardwright/verify/ledger/store"
)

func TestMain(m *testing.M) { os.Exit(ledgertest.Main(m)) }

var ctx = context.Background()

var none audit.Filter

func onBoth(t *testing.T, test func(t *testing.T, l *store.Ledger)) {
	t.Helper()
	for name, address := range map[string]func(testing.TB) string{
		"SQLite":     func(t testing.TB) string { return filepath.Join(t.TempDir(), "ledger.db") },
		"PostgreSQL": ledgertest.Postgres,
	} {
		t.Run(name, func(t *testing.T) {
			l, err := store.Open(ctx, address(t), store.Options{Create: true})
			require.NoError(t, err)
			t.Cleanup(func() { require.NoError(t, l.Close()) })
			test(t, l)
		})
	}
}

func appendTo(t testing.TB, l *store.Ledger, writer string, entries ...ledger.Entry) []ledger.Event {
	t.Helper()
	events, err := l.Append(ctx, ledgertest.Writer(writer), entries...)
	require.NoError(t, err)
	return events
}

func at(hours int) time.Time { return ledgertest.Day(0).Add(time.Duration(hours) * time.Hour) }

var (
	sweep = ledger.Device{ID: "radar", Kind: "radar", Maker: "Fennick", Model: "fennick-sweep-2", Serial: "R2-1"}
	plot  = ledger.Device{ID: "flybridge", Kind: "chart display", Maker: "Fennick", Model: "fennick-plot-12"}
	pilot = ledger.Device{ID: "pilot", Kind: "autopilot computer", Maker: "Solveld", Model: "solveld-course-3"}
)

func takeOn(hours int, vessel, name, berth string, fitted ...ledger.Fitted) ledger.Entry {
	return ledger.Entry{At: at(hours), Kind: ledger.VesselTakenOn, Vessel: vessel, Berth: berth, TakenOn: &ledger.TakenOn{Name: name, Devices: fitted}}
}

func step(hours int, vessel string, d ledger.Device, before, after version.V) ledger.Entry {
	return ledger.Entry{At: at(hours), Kind: ledger.StepDone, Vessel: vessel, Berth: "C 14", Visit: "v", Step: &ledger.Step{Device: d, Before: before, After: after, Card: digest}}
}

var digest = strings.Repeat("ab", 32)

func card(hours int, kind ledger.Kind, vessel, verdict string, d ledger.Device, v version.V) ledger.Entry {
	return ledger.Entry{At: at(hours), Kind: kind, Vessel: vessel, Card: &ledger.Card{
		Digest: digest, Target: "/dev/sdx", Verdict: verdict,
		Releases: []ledger.CardRelease{{Device: d.ID, Maker: d.Maker, Model: d.Model, Version: v}},
	}}
}

// workedExample is a small account that can be gone through by hand:
//
//	0 h   Kittiwake and Morven Rose are taken on: radars at 1.6
//	1 h   a card with 1.8 is made for Kittiwake, and read back
//	2 h   Ada raises Kittiwake's radar from 1.6 to 1.8
//	9 h   Ada raises it to 1.9
//	30 h  Ben raises Morven Rose's radar to 1.8
//	40 h  Ben's check on Morven Rose's pilot fails
//	50 h  1.8 is withdrawn
func workedExample(t testing.TB, l *store.Ledger) {
	appendTo(t, l, "Ada",
		takeOn(0, "kittiwake", "Kittiwake", "C 14", ledger.Fitted{Device: sweep, Version: "1.6"}, ledger.Fitted{Device: plot, Version: version.Unknown}),
		takeOn(0, "morven-rose", "Morven Rose", "B 2", ledger.Fitted{Device: sweep, Version: "1.6"}, ledger.Fitted{Device: pilot, Version: "2.0"}),
		card(1, ledger.CardPrepared, "kittiwake", "good", sweep, "1.8"),
		card(1, ledger.CardVerified, "kittiwake", "good", sweep, "1.8"),
		step(2, "kittiwake", sweep, "1.6", "1.8"),
		step(9, "kittiwake", sweep, "1.8", "1.9"))
	appendTo(t, l, "Ben",
		step(30, "morven-rose", sweep, "1.6", "1.8"),
		ledger.Entry{At: at(40), Kind: ledger.CheckFailed, Vessel: "morven-rose", Check: &ledger.Check{Device: pilot, Check: "manual steering", Note: "wheel slips"}},
		ledger.Entry{At: at(50), Kind: ledger.ReleaseWithdrawn, Withdrawal: &ledger.Withdrawal{Maker: "Fennick", Model: "fennick-sweep-2", Version: "1.8", Why: "may lose its picture"}})
}

func versions(devices []audit.Device) map[string]version.V {
	out := map[string]version.V{}
	for _, d := range devices {
		out[d.ID] = d.Version
	}
	return out
}

func TestVesselHistoryAndStateAtAnyDate(t *testing.T) {
	onBoth(t, func(t *testing.T, l *store.Ledger) {
		workedExample(t, l)
		for _, c := range []struct {
			hours int
			radar version.V
			lines int
		}{{0, "1.6", 1}, {1, "1.6", 3}, {2, "1.8", 4}, {8, "1.8", 4}, {9, "1.9", 5}, {1000, "1.9", 5}} {
			h, err := audit.OfVessel(ctx, l, "kittiwake", at(c.hours), none)
			require.NoError(t, err)
			assert.Equal(t, map[string]version.V{"radar": c.radar, "flybridge": version.Unknown}, versions(h.Devices), "%d h", c.hours)
			assert.Len(t, h.Lines, c.lines, "%d h", c.hours)
		}
		h, err := audit.OfVessel(ctx, l, "kittiwake", time.Time{}, none)
		require.NoError(t, err)
		assert.Nil(t, h.At)
		assert.Equal(t, audit.Vessel{ID: "kittiwake", Name: "Kittiwake", Berth: "C 14"}, h.Vessel)
		assert.Empty(t, h.Contradictions)
		assert.Equal(t, ledger.VesselTakenOn, h.Lines[0].Entry.Kind)
		assert.Equal(t, "Ada", h.Lines[0].Technician)
		h, err = audit.OfVessel(ctx, l, "kittiwake", ledgertest.Day(-9), none)
		require.NoError(t, err)
		assert.Empty(t, h.Devices)

		_, err = audit.OfVessel(ctx, l, "skerry-light", time.Time{}, none)
		assert.ErrorIs(t, err, audit.ErrNothing)
	})
}

func TestVesselShowsCorrectionsAndContradictions(t *testing.T) {
	onBoth(t, func(t *testing.T, l *store.Ledger) {
		workedExample(t, l)
		e := ledgertest.Elsewhere(t, l, "Ben", step(10, "kittiwake", sweep, "1.8", "2.5"))[0]
		h, err := audit.OfVessel(ctx, l, "kittiwake", time.Time{}, none)
		require.NoError(t, err)
		require.Len(t, h.Contradictions, 1)
		c := h.Contradictions[0]
		assert.Equal(t, known.TwoVersions, c.Kind)
		assert.EqualValues(t, "1.9", c.Earlier.Version)
		assert.EqualValues(t, "2.5", c.Later.Version)
		assert.Equal(t, e.ID, c.Later.Event)
		assert.EqualValues(t, "1.9", h.Devices[1].Other)

		fix := appendTo(t, l, "Ben", ledger.Entry{
			At: at(60), Kind: ledger.Correction, Vessel: "kittiwake",
			Correction: &ledger.Correcting{Of: e.ID.String(), Why: "wrong boat"},
		})[0]
		h, err = audit.OfVessel(ctx, l, "kittiwake", time.Time{}, none)
		require.NoError(t, err)
		assert.Empty(t, h.Contradictions)
		assert.EqualValues(t, "1.9", h.Devices[1].Version)
		var seen bool
		for _, line := range h.Lines {
			if line.Event == e.ID {
				seen = true
				assert.Equal(t, fix.ID.String(), line.CorrectedBy)
			} else {
				assert.Empty(t, line.CorrectedBy)
			}
		}
		assert.True(t, seen, "the corrected event is still shown")
	})
}

func who(uses []audit.Use) (list []string) {
	for _, u := range uses {
		list = append(list, u.Vessel.ID+"/"+u.Device.ID)
	}
	return list
}

func TestReleaseSaysWhoHasItHadItAndCarriedIt(t *testing.T) {
	onBoth(t, func(t *testing.T, l *store.Ledger) {
		workedExample(t, l)
		u, err := audit.OfRelease(ctx, l, "fennick-sweep-2", "1.8-0", none)
		require.NoError(t, err)
		assert.Equal(t, []string{"morven-rose/radar"}, who(u.Has))
		assert.Equal(t, []string{"kittiwake/radar"}, who(u.Had))
		assert.Equal(t, at(2), u.Had[0].First)
		assert.EqualValues(t, "1.9", u.Had[0].Device.Version)
		require.Len(t, u.Carried, 1)
		assert.Equal(t, "kittiwake", u.Carried[0].Vessel.ID)
		assert.Equal(t, 1, u.Carried[0].Cards)
		assert.True(t, u.Carried[0].Good)
		require.Len(t, u.Withdrawn, 1)
		assert.Equal(t, "may lose its picture", u.Withdrawn[0].Why)

		u, err = audit.OfRelease(ctx, l, "fennick-sweep-2", "9.9", none)
		require.NoError(t, err)
		assert.Empty(t, u.Has)
		assert.Empty(t, u.Had)
		assert.Empty(t, u.Carried)
	})
}

// A radar of the same id and another serial number is another radar: what the
// first one ran isn't said of the second.
func TestAReplacedDeviceHadWhatItRan(t *testing.T) {
	onBoth(t, func(t *testing.T, l *store.Ledger) {
		workedExample(t, l)
		second := sweep
		second.Serial = "R2-2"
		appendTo(t, l, "Ada", takeOn(100, "kittiwake", "Kittiwake", "C 14", ledger.Fitted{Device: second, Version: "1.8"}))
		unsaid := second
		unsaid.Serial = ""
		appendTo(t, l, "Ada", takeOn(101, "kittiwake", "Kittiwake", "C 14", ledger.Fitted{Device: unsaid, Version: "1.8"}))

		u, err := audit.OfRelease(ctx, l, "fennick-sweep-2", "1.8", none)
		require.NoError(t, err)
		require.Len(t, u.Has, 2)
		assert.Equal(t, []string{"R2-2", "R2-1"}, []string{u.Has[0].Serial, u.Has[1].Serial}, "Kittiwake's new one, Morven Rose's")
		assert.Equal(t, at(101), u.Has[0].Last)
		require.Len(t, u.Had, 1)
		assert.Equal(t, "R2-1", u.Had[0].Serial)
		assert.True(t, u.Had[0].Replaced())
		assert.Equal(t, at(2), u.Had[0].Last)

		h, err := audit.OfVessel(ctx, l, "kittiwake", time.Time{}, none)
		require.NoError(t, err)
		assert.Empty(t, h.Contradictions, "1.9 before it was another radar")
	})
}

// A boat whose file was given another name is found under both.
func TestAVesselUnderAnotherIDIsTold(t *testing.T) {
	onBoth(t, func(t *testing.T, l *store.Ledger) {
		for i, id := range []string{"kittiwake", "kitty", "morven-rose", "skerry-light"} {
			e := takeOn(i, id, "Kittiwake", "")
			e.TakenOn.MMSI = []string{"970000001", "970000001", "970000002", ""}[i]
			appendTo(t, l, "Ada", e)
		}
		for id, want := range map[string][]string{"kitty": {"kittiwake"}, "kittiwake": {"kitty"}, "morven-rose": nil, "skerry-light": nil} {
			h, err := audit.OfVessel(ctx, l, id, time.Time{}, none)
			require.NoError(t, err)
			var got []string
			for _, v := range h.Also {
				got = append(got, v.ID)
			}
			assert.Equal(t, want, got, id)
		}
	})
}

func TestADeviceInDisputeHasBothReleases(t *testing.T) {
	onBoth(t, func(t *testing.T, l *store.Ledger) {
		workedExample(t, l)
		ledgertest.Elsewhere(t, l, "Cam", step(31, "morven-rose", sweep, "1.6", "1.9"))
		for _, v := range []version.V{"1.8", "1.9"} {
			u, err := audit.OfRelease(ctx, l, "fennick-sweep-2", v, none)
			require.NoError(t, err)
			assert.Contains(t, who(u.Has), "morven-rose/radar", v)
		}
	})
}

func catalogue() []*manifest.Model {
	release := func(v version.V, withdrawn string) *manifest.Release {
		return &manifest.Release{Version: v, Withdrawn: withdrawn}
	}
	return []*manifest.Model{
		{ID: "fennick-sweep-2", Maker: "Fennick", Releases: []*manifest.Release{release("1.6", ""), release("1.8", ""), release("1.9", ""), release("2.5", "")}},
		{ID: "solveld-course-3", Maker: "Solveld", Releases: []*manifest.Release{release("2.0", "steers the wrong way"), release("2.1", "")}},
	}
}

func TestFleetIsAMatrixOfStandings(t *testing.T) {
	onBoth(t, func(t *testing.T, l *store.Ledger) {
		workedExample(t, l)
		fleet, err := audit.OfFleet(ctx, l, catalogue(), none)
		require.NoError(t, err)
		assert.Equal(t, []string{"fennick-plot-12", "fennick-sweep-2", "solveld-course-3"}, fleet.Models)
		require.Len(t, fleet.Vessels, 2)
		got := map[string]string{}
		for _, row := range fleet.Vessels {
			for _, d := range row.Devices {
				got[row.Vessel.ID+"/"+d.ID] = string(d.Status)
			}
		}
		assert.Equal(t, map[string]string{
			"kittiwake/radar": "behind", "kittiwake/flybridge": "unknown",
			"morven-rose/radar": "withdrawn", "morven-rose/pilot": "withdrawn",
		}, got)
		kittiwake := fleet.Vessels[0]
		assert.Equal(t, 1, kittiwake.Devices[1].Behind)
		assert.EqualValues(t, "2.5", kittiwake.Devices[1].Newest)
		assert.Equal(t, audit.StatusUnknown, kittiwake.Worst)
		assert.Equal(t, at(9), kittiwake.Last)
		assert.Equal(t, 2, fleet.Counts[audit.StatusWithdrawn])
		assert.Zero(t, fleet.Counts[audit.StatusCurrent])

		appendTo(t, l, "Ada", step(100, "kittiwake", sweep, "1.9", "2.5"), step(101, "kittiwake", plot, "", "7.7"))
		fleet, err = audit.OfFleet(ctx, l, catalogue(), none)
		require.NoError(t, err)
		assert.Equal(t, audit.StatusCurrent, fleet.Vessels[0].Devices[1].Status)
		assert.Equal(t, audit.StatusUnlisted, fleet.Vessels[0].Devices[0].Status)

		ledgertest.Elsewhere(t, l, "Ben", step(102, "kittiwake", sweep, "1.9", "2.4"))
		fleet, err = audit.OfFleet(ctx, l, catalogue(), none)
		require.NoError(t, err)
		assert.Equal(t, audit.StatusDisputed, fleet.Vessels[0].Devices[1].Status)
	})
}

func TestADeviceThatWasRemovedIsNotInTheFleet(t *testing.T) {
	onBoth(t, func(t *testing.T, l *store.Ledger) {
		workedExample(t, l)
		again := takeOn(60, "kittiwake", "Kittiwake", "C 15", ledger.Fitted{Device: plot, Version: "7.0"})
		again.TakenOn.Removed = []string{"radar"}
		appendTo(t, l, "Ada", again)
		fleet, err := audit.OfFleet(ctx, l, nil, none)
		require.NoError(t, err)
		assert.Len(t, fleet.Vessels[0].Devices, 1)
		assert.Equal(t, "C 15", fleet.Vessels[0].Vessel.Berth)
		u, err := audit.OfRelease(ctx, l, "fennick-sweep-2", "1.9", none)
		require.NoError(t, err)
		assert.Empty(t, u.Has)
		assert.Equal(t, []string{"kittiwake/radar"}, who(u.Had))
		assert.True(t, u.Had[0].Device.Gone)
	})
}

func TestWithdrawnSaysWhoMustBeCalled(t *testing.T) {
	onBoth(t, func(t *testing.T, l *store.Ledger) {
		workedExample(t, l)
		w, err := audit.OfWithdrawn(ctx, l, catalogue(), none)
		require.NoError(t, err)
		require.Len(t, w.Releases, 2)
		assert.Equal(t, "solveld-course-3", w.Releases[0].Model)
		assert.Equal(t, "steers the wrong way", w.Releases[0].Withdrawn[0].Why)
		assert.Equal(t, []string{"morven-rose/pilot"}, who(w.Releases[0].Has))
		assert.Equal(t, "fennick-sweep-2", w.Releases[1].Model)
		assert.Equal(t, "Ben", w.Releases[1].Withdrawn[0].By)
		assert.Equal(t, []string{"morven-rose/radar"}, who(w.Releases[1].Has))

		taken := appendTo(t, l, "Ben", ledger.Entry{At: at(70), Kind: ledger.ReleaseWithdrawn, Withdrawal: &ledger.Withdrawal{Model: "fennick-plot-9", Version: "1", Why: "typo"}})[0]
		appendTo(t, l, "Ben", ledger.Entry{At: at(71), Kind: ledger.Correction, Correction: &ledger.Correcting{Of: taken.ID.String(), Why: "wrong model"}})
		w, err = audit.OfWithdrawn(ctx, l, nil, none)
		require.NoError(t, err)
		assert.Len(t, w.Releases, 1, "a withdrawal that was taken back counts no longer")
	})
}

func TestAWithdrawalIsOfItsVariant(t *testing.T) {
	onBoth(t, func(t *testing.T, l *store.Ledger) {
		north, south := sweep, sweep
		north.ID, north.Variant = "north", "Europe"
		south.ID, south.Variant = "south", "Asia"
		appendTo(t, l, "Ada", takeOn(1, "kittiwake", "Kittiwake", "C 14", ledger.Fitted{Device: north, Version: "1.8"}, ledger.Fitted{Device: south, Version: "1.8"}, ledger.Fitted{Device: sweep, Version: "1.8"}))
		withdrawn := func() (called, flagged []string) {
			w, err := audit.OfWithdrawn(ctx, l, catalogue()[:1], none)
			require.NoError(t, err)
			require.Len(t, w.Releases, 1)
			fleet, err := audit.OfFleet(ctx, l, catalogue(), none)
			require.NoError(t, err)
			for _, d := range fleet.Vessels[0].Devices {
				if d.Status == audit.StatusWithdrawn {
					flagged = append(flagged, "kittiwake/"+d.ID)
				}
			}
			return who(w.Releases[0].Has), flagged
		}
		of := func(hours int, variant string) ledger.Event {
			return appendTo(t, l, "Ben", ledger.Entry{At: at(hours), Kind: ledger.ReleaseWithdrawn, Withdrawal: &ledger.Withdrawal{Maker: "Fennick", Model: sweep.Model, Version: "1.8", Variant: variant, Why: "hangs"}})[0]
		}
		first := of(2, "Europe")
		called, flagged := withdrawn()
		assert.Equal(t, []string{"kittiwake/north"}, called)
		assert.Equal(t, called, flagged)

		appendTo(t, l, "Ben", ledger.Entry{At: at(3), Kind: ledger.Correction, Correction: &ledger.Correcting{Of: first.ID.String(), Why: "all of them"}})
		of(4, "")
		called, flagged = withdrawn()
		assert.ElementsMatch(t, []string{"kittiwake/north", "kittiwake/south", "kittiwake/radar"}, called, "without a variant it is all of them")
		assert.ElementsMatch(t, called, flagged)

		w, err := audit.OfWithdrawn(ctx, l, nil, audit.Filter{Maker: "Solveld"})
		require.NoError(t, err)
		assert.Empty(t, w.Releases, "another maker's")
	})
}

func TestNothingIsDueOnWhatIsGone(t *testing.T) {
	onBoth(t, func(t *testing.T, l *store.Ledger) {
		check := func(hours int, d ledger.Device) ledger.Entry {
			return ledger.Entry{At: at(hours), Kind: ledger.CheckFailed, Vessel: "kittiwake", Visit: "v", Check: &ledger.Check{Device: d, Check: "radar picture"}}
		}
		putOff := step(3, "kittiwake", plot, "7.0", "")
		putOff.Kind, putOff.Step.Planned = ledger.StepPutOff, "8.0"
		appendTo(t, l, "Ada", takeOn(1, "kittiwake", "Kittiwake", "C 14", ledger.Fitted{Device: sweep, Version: "1.8"}, ledger.Fitted{Device: plot, Version: "7.0"}),
			check(2, sweep), check(2, plot), putOff)
		due, err := audit.OfDue(ctx, l, nil, none)
		require.NoError(t, err)
		assert.Len(t, due.Vessels[0].Open, 3)

		other := plot
		other.Model = "fennick-plot-9"
		again := takeOn(60, "kittiwake", "Kittiwake", "C 14", ledger.Fitted{Device: other, Version: "1.0"})
		again.TakenOn.Removed = []string{sweep.ID}
		appendTo(t, l, "Ada", again)
		due, err = audit.OfDue(ctx, l, nil, none)
		require.NoError(t, err)
		assert.Empty(t, due.Vessels, "one is gone, and another model has replaced the other")
	})
}

func TestDueJoinsPlansWithWhatWasLeftOpen(t *testing.T) {
	onBoth(t, func(t *testing.T, l *store.Ledger) {
		workedExample(t, l)
		off := step(41, "morven-rose", sweep, "1.8", "")
		off.Kind, off.Step.Planned = ledger.StepPutOff, "1.9"
		off.Step.After = ""
		appendTo(t, l, "Ben", off)
		plans := []audit.PlanSummary{{Vessel: "kittiwake", Steps: 1, Minutes: 20}, {Vessel: "skerry-light"}}
		due, err := audit.OfDue(ctx, l, plans, none)
		require.NoError(t, err)
		require.Len(t, due.Vessels, 2)
		assert.Equal(t, "kittiwake", due.Vessels[0].Vessel.ID)
		assert.Equal(t, 1, due.Vessels[0].Plan.Steps)
		assert.Empty(t, due.Vessels[0].Open)
		morven := due.Vessels[1]
		assert.Nil(t, morven.Plan)
		require.Len(t, morven.Open, 2)
		assert.Equal(t, ledger.CheckFailed, morven.Open[0].Entry.Kind)
		assert.Equal(t, ledger.StepPutOff, morven.Open[1].Entry.Kind)

		appendTo(t, l, "Ben", step(90, "morven-rose", sweep, "1.8", "2.5"))
		due, err = audit.OfDue(ctx, l, plans, none)
		require.NoError(t, err)
		require.Len(t, due.Vessels[1].Open, 2, "something newer than what was put off ends it not")
		appendTo(t, l, "Ben", ledger.Entry{At: at(91), Kind: ledger.CheckPassed, Vessel: "morven-rose", Check: &ledger.Check{Device: sweep, Check: ledger.VersionShown, Value: "1.9"}})
		due, err = audit.OfDue(ctx, l, plans, none)
		require.NoError(t, err)
		require.Len(t, due.Vessels[1].Open, 1, "that is what it runs now")
		appendTo(t, l, "Ben", ledger.Entry{At: at(91), Kind: ledger.CheckPassed, Vessel: "morven-rose", Check: &ledger.Check{Device: pilot, Check: "manual steering"}})
		due, err = audit.OfDue(ctx, l, plans, none)
		require.NoError(t, err)
		assert.Len(t, due.Vessels, 1)
	})
}

// A vessel that the ledger doesn't know yet is one of the berth that its own
// file says.
func TestDueKnowsVesselsByTheirPlans(t *testing.T) {
	onBoth(t, func(t *testing.T, l *store.Ledger) {
		workedExample(t, l)
		plans := []audit.PlanSummary{
			{Vessel: "tern", Name: "Tern", Berth: "Hollin Quay, D 7", Steps: 2},
			{Vessel: "kittiwake", Name: "Kittiwake II", Berth: "Hollin Quay, D 7", Steps: 1},
			{Vessel: "skerry-light", Steps: 1},
		}
		due, err := audit.OfDue(ctx, l, plans, audit.Filter{Berth: "Hollin Quay, D 7"})
		require.NoError(t, err)
		require.Len(t, due.Vessels, 2)
		assert.Equal(t, audit.Vessel{ID: "tern", Name: "Tern", Berth: "Hollin Quay, D 7"}, due.Vessels[1].Vessel)
		assert.Equal(t, "Kittiwake II", due.Vessels[0].Vessel.Name)
	})
}

// What replaces an event counts in its place, everywhere.
func TestCorrectionsCountInWhatIsDueAndWithdrawn(t *testing.T) {
	onBoth(t, func(t *testing.T, l *store.Ledger) {
		workedExample(t, l)
		instead := func(hours int, of ledger.ID, e *ledger.Entry) ledger.Entry {
			c := ledger.Entry{At: at(hours), Kind: ledger.Correction, Correction: &ledger.Correcting{Of: of.String(), Why: "mistyped", Instead: e}}
			if e != nil {
				c.Vessel = e.Vessel
			}
			return c
		}
		open := func() (told []string) {
			due, err := audit.OfDue(ctx, l, nil, none)
			require.NoError(t, err)
			for _, v := range due.Vessels {
				for _, line := range v.Open {
					told = append(told, v.Vessel.ID+": "+line.Entry.Tell())
				}
			}
			return told
		}
		check := func(hours int, kind ledger.Kind, note string) ledger.Entry {
			return ledger.Entry{At: at(hours), Kind: kind, Vessel: "morven-rose", Check: &ledger.Check{Device: pilot, Check: "manual steering", Note: note}}
		}
		failed := appendTo(t, l, "Ben", check(60, ledger.CheckFailed, "weel slips"))[0]
		assert.Equal(t, []string{"morven-rose: check failed: pilot, manual steering, weel slips"}, open())
		better := check(60, ledger.CheckFailed, "wheel slips still")
		first := appendTo(t, l, "Ben", instead(61, failed.ID, &better))[0]
		assert.Equal(t, []string{"morven-rose: check failed: pilot, manual steering, wheel slips still"}, open())
		appendTo(t, l, "Ben", instead(62, first.ID, nil))
		assert.Len(t, open(), 1, "a correction of a correction is none")
		passed := appendTo(t, l, "Ben", check(70, ledger.CheckPassed, ""))[0]
		assert.Empty(t, open())
		back := instead(71, passed.ID, nil)
		back.Vessel = "morven-rose"
		appendTo(t, l, "Ben", back)
		assert.Len(t, open(), 1, "it didn't pass after all")
		now := check(80, ledger.CheckPassed, "")
		appendTo(t, l, "Ben", instead(81, passed.ID, &now))
		assert.Empty(t, open())

		all, err := audit.OfWithdrawn(ctx, l, nil, none)
		require.NoError(t, err)
		require.Len(t, all.Releases, 1)
		var id ledger.ID
		require.NoError(t, audit.Events(ctx, l, "", none, func(e ledger.Event) error {
			if e.Statement.Entry.Kind == ledger.ReleaseWithdrawn {
				id = e.ID
			}
			return nil
		}))
		reworded := ledger.Entry{At: at(50), Kind: ledger.ReleaseWithdrawn, Withdrawal: &ledger.Withdrawal{Model: "fennick-sweep-2", Version: "1.9", Why: "it is 1.9"}}
		appendTo(t, l, "Ben", instead(90, id, &reworded))
		all, err = audit.OfWithdrawn(ctx, l, nil, none)
		require.NoError(t, err)
		require.Len(t, all.Releases, 1)
		assert.EqualValues(t, "1.9", all.Releases[0].Version)
		assert.Len(t, all.Releases[0].Has, 1)
		appendTo(t, l, "Ben", instead(91, id, nil))
		all, err = audit.OfWithdrawn(ctx, l, nil, none)
		require.NoError(t, err)
		assert.Empty(t, all.Releases)
	})
}

// The last visit is the last that stands.
func TestAVisitThatWasTakenBackIsNoVisit(t *testing.T) {
	onBoth(t, func(t *testing.T, l *store.Ledger) {
		visit := func(hours int) ledger.Entry {
			return ledger.Entry{At: at(hours), Kind: ledger.VisitBegun, Vessel: "kittiwake", Visit: "v", VisitBegun: &ledger.Visit{}}
		}
		last := func() time.Time {
			due, err := audit.OfDue(ctx, l, []audit.PlanSummary{{Vessel: "kittiwake", Steps: 1}}, none)
			require.NoError(t, err)
			require.Len(t, due.Vessels, 1)
			return due.Vessels[0].Last
		}
		assert.Zero(t, last())
		events := appendTo(t, l, "Ada", takeOn(20, "kittiwake", "Kittiwake", ""), visit(0), visit(10))
		assert.Equal(t, at(10), last())
		appendTo(t, l, "Ada", ledger.Entry{
			At: at(30), Kind: ledger.Correction, Vessel: "kittiwake",
			Correction: &ledger.Correcting{Of: events[2].ID.String(), Why: "another boat"},
		})
		assert.Equal(t, at(0), last())
	})
}

func TestCardSaysWhereItWasMadeAndUsed(t *testing.T) {
	onBoth(t, func(t *testing.T, l *store.Ledger) {
		workedExample(t, l)
		for _, name := range []string{digest, digest[:8], "/dev/sdx"} {
			u, err := audit.OfCard(ctx, l, name, none)
			require.NoError(t, err, name)
			require.Len(t, u.Cards, 1, name)
			assert.Len(t, u.Cards[0].Prepared, 1)
			assert.Len(t, u.Cards[0].Verified, 1)
			assert.Len(t, u.Cards[0].Used, 3)
		}
		for _, name := range []string{"cd" + digest[2:], "/dev/sdy", "ab", ""} {
			_, err := audit.OfCard(ctx, l, name, none)
			assert.ErrorIs(t, err, audit.ErrNothing, name)
		}
	})
}

func TestOnGoodCardsLeavesBadOnesOut(t *testing.T) {
	onBoth(t, func(t *testing.T, l *store.Ledger) {
		workedExample(t, l)
		appendTo(t, l, "Ada", card(3, ledger.CardVerified, "kittiwake", "bad", sweep, "1.9"))
		list, err := audit.OnGoodCards(ctx, l, "kittiwake")
		require.NoError(t, err)
		require.NotEmpty(t, list)
		for _, c := range list {
			assert.Equal(t, ledger.OnCard{Device: "radar", Model: "fennick-sweep-2", Version: "1.8", Card: digest}, c)
		}
	})
}

func TestFiltersNarrow(t *testing.T) {
	onBoth(t, func(t *testing.T, l *store.Ledger) {
		workedExample(t, l)
		count := func(f audit.Filter) (n int) {
			require.NoError(t, audit.Events(ctx, l, "", f, func(ledger.Event) error { n++; return nil }))
			return n
		}
		assert.Equal(t, 9, count(none))
		assert.Equal(t, 3, count(audit.Filter{Technician: "Ben"}))
		assert.Equal(t, 2, count(audit.Filter{From: at(2), To: at(9)}))
		assert.Equal(t, 2, count(audit.Filter{Maker: "Solveld"}))
		assert.Equal(t, 8, count(audit.Filter{Maker: "Fennick"}))
		assert.Equal(t, 1, count(audit.Filter{Berth: "B 2"}))

		assert.Equal(t, 1, count(audit.Filter{Berth: "B"}), "a harbour has all of its berths")
		assert.Zero(t, count(audit.Filter{Berth: "C 1"}), "C 14 is another berth")
		for berth, vessels := range map[string]int{"C": 1, "C 1": 0, "C 14": 1} {
			fleet, err := audit.OfFleet(ctx, l, nil, audit.Filter{Berth: berth})
			require.NoError(t, err)
			assert.Len(t, fleet.Vessels, vessels, berth)
			due, err := audit.OfDue(ctx, l, []audit.PlanSummary{{Vessel: "kittiwake", Steps: 1}}, audit.Filter{Berth: berth})
			require.NoError(t, err)
			assert.Len(t, due.Vessels, vessels, berth)
		}

		h, err := audit.OfVessel(ctx, l, "kittiwake", time.Time{}, audit.Filter{From: at(5)})
		require.NoError(t, err)
		assert.Len(t, h.Lines, 1)
		assert.Len(t, h.Devices, 2, "the state is not narrowed")

		for _, c := range []struct {
			f               audit.Filter
			has, had, cards int
		}{
			{audit.Filter{Technician: "Ben"}, 1, 0, 0},
			{audit.Filter{Technician: "Ada"}, 0, 1, 1},
			{audit.Filter{Berth: "C 14"}, 0, 1, 1},
			{audit.Filter{To: at(20)}, 0, 1, 1},
			{audit.Filter{Maker: "Solveld"}, 0, 0, 0},
		} {
			u, err := audit.OfRelease(ctx, l, "fennick-sweep-2", "1.8", c.f)
			require.NoError(t, err)
			assert.Equal(t, []int{c.has, c.had, c.cards}, []int{len(u.Has), len(u.Had), len(u.Carried)}, "%+v", c.f)
		}
		for _, c := range []struct {
			f       audit.Filter
			devices int
		}{{audit.Filter{Maker: "Solveld"}, 1}, {audit.Filter{Berth: "C 14"}, 2}, {audit.Filter{Technician: "Ben"}, 1}, {audit.Filter{From: at(5), To: at(10)}, 1}} {
			fleet, err := audit.OfFleet(ctx, l, nil, c.f)
			require.NoError(t, err)
			n := 0
			for _, row := range fleet.Vessels {
				n += len(row.Devices)
			}
			assert.Equal(t, c.devices, n, "%+v", c.f)
		}
	})
}

// Text in a question is never taken for SQL.
func TestAnEventComesWithItsCorrections(t *testing.T) {
	onBoth(t, func(t *testing.T, l *store.Ledger) {
		workedExample(t, l)
		wrong := appendTo(t, l, "Ada", step(100, "kittiwake", sweep, "1.9", "2.5"))[0]
		taken := appendTo(t, l, "Ben", ledger.Entry{At: at(500), Kind: ledger.Correction, Vessel: "kittiwake", Correction: &ledger.Correcting{Of: wrong.ID.String(), Why: "another boat"}})[0]
		other := appendTo(t, l, "Ada", step(100, "morven-rose", sweep, "1.9", "2.5"))[0]
		appendTo(t, l, "Ada", ledger.Entry{At: at(100), Kind: ledger.Correction, Vessel: "morven-rose", Correction: &ledger.Correcting{Of: other.ID.String(), Why: "another boat", Instead: &other.Statement.Entry}})
		for name, f := range map[string]audit.Filter{
			"times": {From: at(99), To: at(101)}, "technician": {From: at(99), Technician: "Ada"}, "maker": {From: at(99), Maker: sweep.Maker}, "none": none,
		} {
			var got []ledger.ID
			require.NoError(t, audit.Events(ctx, l, "kittiwake", f, func(e ledger.Event) error {
				got = append(got, e.ID)
				return nil
			}), name)
			require.GreaterOrEqual(t, len(got), 2, name)
			assert.Equal(t, []ledger.ID{wrong.ID, taken.ID}, got[len(got)-2:], name)
		}
		require.NoError(t, audit.Events(ctx, l, "", audit.Filter{From: at(99), Technician: "Nobody"}, func(ledger.Event) error { return errors.New("none passes") }))
	})
}

func TestQuestionsMayHoldAnything(t *testing.T) {
	onBoth(t, func(t *testing.T, l *store.Ledger) {
		workedExample(t, l)
		evil := `'; DROP TABLE vessel; --`
		_, err := audit.OfVessel(ctx, l, evil, time.Time{}, none)
		assert.ErrorIs(t, err, audit.ErrNothing)
		_, err = audit.OfRelease(ctx, l, evil, version.V(evil), audit.Filter{Berth: evil, Technician: evil, Maker: evil})
		require.NoError(t, err)
		_, err = audit.OfCard(ctx, l, evil, none)
		assert.ErrorIs(t, err, audit.ErrNothing)
		_, err = audit.OfVessel(ctx, l, "kittiwake", time.Time{}, none)
		require.NoError(t, err)
	})
}

func TestAnswersHaveNoNullLists(t *testing.T) {
	onBoth(t, func(t *testing.T, l *store.Ledger) {
		appendTo(t, l, "Ada", takeOn(0, "kittiwake", "Kittiwake", ""))
		h, err := audit.OfVessel(ctx, l, "kittiwake", time.Time{}, none)
		require.NoError(t, err)
		u, err := audit.OfRelease(ctx, l, "m", "1", none)
		require.NoError(t, err)
		fleet, err := audit.OfFleet(ctx, l, nil, none)
		require.NoError(t, err)
		w, err := audit.OfWithdrawn(ctx, l, nil, none)
		require.NoError(t, err)
		due, err := audit.OfDue(ctx, l, nil, none)
		require.NoError(t, err)
		for _, v := range []any{u, fleet, w, due} {
			text, err := json.Marshal(v)
			require.NoError(t, err)
			assert.NotContains(t, string(text), "null", "%T", v)
		}
		text, err := json.Marshal(h)
		require.NoError(t, err)
		assert.Equal(t, 1, strings.Count(string(text), "null"), "only at: %s", text)
	})
}
