package known_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"cardwright/manifest"
	"cardwright/manifest/version"
	"cardwright/verify/ledger"
	"cardwright/verify/ledger/known"
)

// diary writes events as a writer's ledger would, without signatures: what it
// had seen of others is given.
type diary struct {
	writer string
	clock  time.Time
	seq    int64
	seen   []ledger.Seen // since the last event
	events []ledger.Event
}

var noon = time.Date(2026, 3, 2, 12, 0, 0, 0, time.UTC)

func newDiary(writer string) *diary { return &diary{writer: writer, clock: noon} }

// write notes an entry; one without a time is dated by the machine.
func (d *diary) write(e ledger.Entry) ledger.Event {
	d.clock = d.clock.Add(time.Minute)
	d.seq++
	if e.At.IsZero() {
		e.At = d.clock
	}
	if e.Vessel == "" && e.Withdrawal == nil {
		e.Vessel = "kittiwake"
	}
	s := ledger.Statement{Chain: "chain", Entry: e, Seq: d.seq, Writer: d.writer, Technician: d.writer, Written: d.clock, Seen: d.seen}
	d.seen = nil
	id := ledger.IDOf([]byte(d.writer + s.Written.String() + string(rune(d.seq))))
	event := ledger.Event{ID: id, Statement: s}
	d.events = append(d.events, event)
	return event
}

// meets lets a writer see all that another wrote so far.
func (d *diary) meets(other *diary) {
	d.seen = append(d.seen, ledger.Seen{Writer: other.writer, Chain: "chain", Seq: other.seq})
}

var radar = ledger.Device{ID: "radar", Model: "fennick-sweep-2", Serial: "R2-1"}

func shown(v version.V) ledger.Entry {
	return ledger.Entry{Kind: ledger.CheckPassed, Check: &ledger.Check{Device: radar, Check: ledger.VersionShown, Value: string(v)}}
}

func step(kind ledger.Kind, before, after, planned version.V) ledger.Entry {
	return ledger.Entry{Kind: kind, Step: &ledger.Step{Device: radar, Before: before, After: after, Planned: planned, Note: "screen stayed dark"}}
}

func correcting(e ledger.Event, instead *ledger.Entry) ledger.Entry {
	if instead != nil {
		instead.Vessel = "kittiwake"
	}
	return ledger.Entry{Kind: ledger.Correction, Correction: &ledger.Correcting{Of: e.ID.String(), Why: "mistyped", Instead: instead}}
}

func at(e ledger.Entry, when time.Time) ledger.Entry {
	e.At = when
	return e
}

// told is what diaries tell of the radar.
func told(t testing.TB, trust known.Trust, diaries ...*diary) known.Device {
	t.Helper()
	var events []ledger.Event
	seen := &known.Seen{}
	for _, d := range diaries {
		events = append(events, d.events...)
	}
	for i := range events {
		seen.AddOf(&events[i])
	}
	v := known.Of("kittiwake", events, known.Ask{Trust: trust, Seen: seen})
	require.Len(t, v.Devices, 1)
	return v.Devices[0]
}

func requireRuns(t testing.TB, want, other version.V, diaries ...*diary) {
	t.Helper()
	d := told(t, nil, diaries...)
	require.Equal(t, want, d.Version)
	require.Equal(t, other, d.Other)
}

func openKinds(d known.Device) (kinds []known.OpenKind) {
	for _, o := range d.Open {
		kinds = append(kinds, o.Kind)
	}
	return kinds
}

func TestOrder(t *testing.T) {
	a := newDiary("Ada")
	a.write(shown("1.6"))
	requireRuns(t, "1.6", "", a)
	a.write(step(ledger.StepDone, "1.6", "1.8", "1.8"))
	requireRuns(t, "1.8", "", a)
	a.write(at(shown("1.5"), noon.AddDate(0, -1, 0)))
	requireRuns(t, "1.8", "", a) // noted now, of a month ago
}

func TestAClockThatJumped(t *testing.T) {
	a := newDiary("Ada")
	a.write(shown("1.6"))
	a.clock = noon.AddDate(-6, 0, 0) // its battery was empty
	a.write(step(ledger.StepDone, "1.6", "1.8", "1.8"))
	requireRuns(t, "1.8", "", a)
	a.clock = noon.AddDate(3, 0, 0)
	a.write(step(ledger.StepDone, "1.8", "1.9", "1.9"))
	a.clock = noon.AddDate(0, 0, 1)
	a.write(step(ledger.StepDone, "1.9", "2.5", "2.5"))
	requireRuns(t, "2.5", "", a)
}

func TestADayKeepsTheOrderOfNoting(t *testing.T) {
	a := newDiary("Ada")
	day := time.Date(2026, 2, 1, 23, 59, 59, 0, time.UTC)
	a.write(at(shown("1.6"), day))
	a.write(at(shown("1.8"), day))
	a.write(at(shown("1.7"), day.AddDate(0, 0, -1)))
	requireRuns(t, "1.8", "", a)
}

func TestTwoWritersWhoHadNotSeenEachOther(t *testing.T) {
	a, b := newDiary("Ada"), newDiary("Ben")
	a.write(shown("4.2"))
	b.clock = noon.AddDate(0, 2, 0) // months later, by that machine's clock
	b.write(shown("4.4"))
	requireRuns(t, "4.4", "4.2", a, b)
	assert.Equal(t, []known.OpenKind{known.Disputed}, openKinds(told(t, nil, a, b)))
	b.write(shown("4.4"))
	requireRuns(t, "4.4", "4.2", a, b) // saying it again settles nothing

	c := newDiary("Ben") // a step that started from what the other left
	c.write(step(ledger.StepDone, "4.2", "4.4", "4.4"))
	requireRuns(t, "4.4", "", a, c)

	a.meets(b)
	a.write(shown("4.3"))
	requireRuns(t, "4.3", "", a, b) // by somebody who had seen both

	d := newDiary("Ben")
	d.meets(newDiaryAt("Ada", 1))
	d.clock = noon.AddDate(-1, 0, 0)
	d.write(shown("4.9"))
	first := newDiary("Ada")
	first.write(shown("4.2"))
	requireRuns(t, "4.9", "", first, d) // had seen it, whatever the clocks say
}

func newDiaryAt(writer string, seq int64) *diary { return &diary{writer: writer, seq: seq} }

func TestACorrectionStandsInItsPlace(t *testing.T) {
	a := newDiary("Ada")
	visit := noon.Add(-time.Hour * 30)
	first := a.write(at(step(ledger.StepDone, "1.6", "1.8", "1.8"), visit))
	a.write(at(step(ledger.StepDone, "1.8", "1.9", "1.9"), visit)) // one visit, one time
	longer := at(step(ledger.StepDone, "1.6", "1.8", "1.8"), visit)
	longer.Step.Minutes = 25
	c := a.write(correcting(first, &longer))
	requireRuns(t, "1.9", "", a) // the minutes of a step put no device back

	wrong := at(step(ledger.StepDone, "9.8", "9.9", "9.9"), visit)
	a.write(correcting(c, &wrong))
	requireRuns(t, "1.9", "", a) // a correction is never itself corrected

	later := at(step(ledger.StepDone, "1.6", "1.8", "1.8"), visit.Add(time.Hour))
	a.write(correcting(first, &later))
	requireRuns(t, "1.8", "", a) // it was after the other
	a.write(correcting(first, nil))
	requireRuns(t, "1.9", "", a)
}

// Whatever their clocks say, of two writers who hadn't seen each other's events the one
// who saw a device aboard counts against the one who took it off.
func TestGoneAndSeenAboard(t *testing.T) {
	off := ledger.Entry{Kind: ledger.DeviceTakenOff, DeviceChange: &ledger.DeviceChange{Device: ledger.Device{ID: "radar"}, Was: ledger.Fitted{Device: radar}}}
	moved := radar
	moved.Place = "mast"
	for _, days := range []int{-300, 0, 300} {
		a, b := newDiary("Ada"), newDiary("Ben")
		a.write(shown("1.6"))
		b.meets(a)
		b.clock = noon.AddDate(0, 0, days)
		a.write(off)
		requireRuns(t, "", "", a, b)
		b.write(ledger.Entry{Kind: ledger.DeviceMoved, DeviceChange: &ledger.DeviceChange{Device: moved, Was: ledger.Fitted{Device: radar}}})
		requireRuns(t, version.Unknown, "", a, b) // it is there; what it runs somebody should read
		b.write(shown("1.8"))
		requireRuns(t, "1.8", "", a, b)
		a.meets(b)
		a.write(off)
		assert.True(t, told(t, nil, a, b).Gone)
	}
	a, b := newDiary("Ada"), newDiary("Ben") // Ada replaced it, Ben read the old one
	other := radar
	other.Serial = "R2-2"
	a.write(ledger.Entry{Kind: ledger.DeviceReplaced, DeviceChange: &ledger.DeviceChange{Device: other, Version: "1.9", Was: ledger.Fitted{Device: radar}}})
	b.clock = noon.AddDate(0, 0, -9)
	b.write(shown("1.6"))
	assert.Equal(t, []known.OpenKind{known.Disputed}, openKinds(told(t, nil, a, b)))
}

func TestTheLastName(t *testing.T) {
	called := func(name string) ledger.Entry {
		return ledger.Entry{Kind: ledger.VesselRenamed, VesselChange: &ledger.VesselChange{Name: name, Was: &ledger.Called{ID: "kittiwake", Name: "Kittiwake"}}}
	}
	name := func(d *diary) string {
		facts, _ := known.Facts(d.events, nil)
		return known.Named(facts, &known.Seen{})
	}
	a := newDiary("Ada")
	assert.Empty(t, name(a))
	a.write(ledger.Entry{Kind: ledger.VesselTakenOn, TakenOn: &ledger.TakenOn{Name: "Kittiwake"}})
	assert.Equal(t, "Kittiwake", name(a))
	a.clock = noon.AddDate(5, 0, 0)
	a.write(called("Tern"))
	a.clock = noon
	last := a.write(called("Plover"))
	assert.Equal(t, "Plover", name(a))
	a.write(at(called("Auk"), noon.AddDate(-1, 0, 0))) // which it was called once
	assert.Equal(t, "Plover", name(a))
	a.write(correcting(last, nil))
	assert.Equal(t, "Tern", name(a))
}

func TestUnknownTakesNoKnownVersionAway(t *testing.T) {
	taken := func(v version.V, d ledger.Device, removed ...string) ledger.Entry {
		return ledger.Entry{Kind: ledger.VesselTakenOn, TakenOn: &ledger.TakenOn{Name: "Kittiwake", Devices: []ledger.Fitted{{Device: d, Version: v}}, Removed: removed}}
	}
	a := newDiary("Ada")
	a.write(taken(version.Unknown, radar))
	requireRuns(t, version.Unknown, "", a)
	a.write(shown("1.6"))
	a.write(taken(version.Unknown, radar))
	requireRuns(t, "1.6", "", a)
	other := radar
	other.Serial = "R2-2"
	a.write(taken(version.Unknown, other))
	requireRuns(t, version.Unknown, "", a)
}

func TestWhatWasLeftOpenStandsUntil(t *testing.T) {
	done := func(v version.V) ledger.Entry { return step(ledger.StepDone, "1.6", v, v) }
	for name, c := range map[string]struct {
		left   ledger.Entry
		then   []ledger.Entry
		runs   version.V
		stands bool
	}{
		"failed":                   {step(ledger.StepFailed, "1.6", "", "1.8"), nil, version.Unknown, true},
		"failed, read after":       {step(ledger.StepFailed, "1.6", "1.6", "1.8"), nil, "1.6", true},
		"failed, then read":        {step(ledger.StepFailed, "1.6", "", "1.8"), []ledger.Entry{shown("1.6")}, "1.6", true},
		"failed, newer read":       {step(ledger.StepFailed, "1.6", "", "1.8"), []ledger.Entry{shown("2.5")}, "2.5", true},
		"failed, planned read":     {step(ledger.StepFailed, "1.6", "", "1.8"), []ledger.Entry{shown("1.8")}, "1.8", false},
		"failed, spelt otherwise":  {step(ledger.StepFailed, "1.6", "", "1.8"), []ledger.Entry{shown("1.08")}, "1.08", false},
		"failed, done":             {step(ledger.StepFailed, "1.6", "", "1.8"), []ledger.Entry{done("1.8")}, "1.8", false},
		"failed, another done":     {step(ledger.StepFailed, "1.6", "", "1.8"), []ledger.Entry{done("1.7")}, "1.7", true},
		"failed, put off":          {step(ledger.StepFailed, "1.6", "", "1.8"), []ledger.Entry{step(ledger.StepPutOff, "", "", "1.8")}, version.Unknown, true},
		"failed, earlier reading":  {step(ledger.StepFailed, "1.6", "", "1.8"), []ledger.Entry{at(shown("1.8"), noon.AddDate(0, 0, -9))}, version.Unknown, true},
		"put off":                  {step(ledger.StepPutOff, "1.6", "", "1.8"), nil, "1.6", true},
		"put off, another read":    {step(ledger.StepPutOff, "1.6", "", "1.8"), []ledger.Entry{shown("1.9")}, "1.9", true},
		"put off, done":            {step(ledger.StepPutOff, "1.6", "", "1.8"), []ledger.Entry{done("1.8")}, "1.8", false},
		"put off, nothing planned": {step(ledger.StepPutOff, "1.6", "", ""), []ledger.Entry{done("1.8")}, "1.8", false},
	} {
		t.Run(name, func(t *testing.T) {
			a := newDiary("Ada")
			a.write(shown("1.6"))
			a.write(c.left)
			for _, e := range c.then {
				a.write(e)
			}
			d := told(t, nil, a)
			assert.Equal(t, c.runs, d.Version)
			assert.Equal(t, c.stands, len(d.Open) > 0, "%v", d.Open)
		})
	}
	a := newDiary("Ada")
	failed := a.write(step(ledger.StepFailed, "1.6", "", "1.8"))
	ended := step(ledger.StepDone, "1.6", "1.8", "1.8")
	ended.At = failed.Statement.Entry.At
	a.write(correcting(failed, &ended))
	assert.Empty(t, told(t, nil, a).Open, "somebody says how it ended")

	check := func(kind ledger.Kind) ledger.Entry {
		return at(ledger.Entry{Kind: kind, Check: &ledger.Check{Device: radar, Check: "radar picture"}}, noon.Add(-3*time.Hour))
	}
	a = newDiary("Ada")
	a.write(check(ledger.CheckPassed))
	a.write(check(ledger.CheckFailed))
	assert.Equal(t, []known.OpenKind{known.CheckFailed}, openKinds(told(t, nil, a)), "an earlier one of the same moment passed")
	a.write(check(ledger.CheckPassed))
	assert.Empty(t, told(t, nil, a).Open)
}

func TestOnlyTrustedWritersCount(t *testing.T) {
	a, mallory := newDiary("Ada"), newDiary("Mallory")
	mine := a.write(shown("1.6"))
	mallory.meets(a)
	mallory.write(shown("9.9"))
	mallory.write(correcting(mine, nil))
	trust := func(e *ledger.Event) bool { return e.Statement.Writer == "Ada" }
	assert.EqualValues(t, "1.6", told(t, trust, a, mallory).Version)
	v := known.Of("kittiwake", append(a.events, mallory.events...), known.Ask{Trust: trust})
	assert.Equal(t, 2, v.LeftOut)
	assert.EqualValues(t, "9.9", told(t, nil, a, mallory).Version)
}

func TestAWithdrawalIsOneWhereverItStands(t *testing.T) {
	catalogue := []*manifest.Model{{ID: "fennick-sweep-2", Releases: []*manifest.Release{
		{Version: "1.8", Withdrawn: "it burns"}, {Version: "1.9"}, {Version: "2.0", Variant: "north"},
	}}}
	a := newDiary("Ada")
	withdraw := func(v version.V, variant string) ledger.Event {
		return a.write(ledger.Entry{Kind: ledger.ReleaseWithdrawn, Withdrawal: &ledger.Withdrawal{Model: "fennick-sweep-2", Version: v, Variant: variant, Why: "it smokes"}})
	}
	event := withdraw("1.09", "")
	withdraw("2.0", "north")
	l := known.WithdrawalsOf(catalogue, a.events, nil)
	assert.Equal(t, "it burns", l.Of("fennick-sweep-2", "", "1.8").Why)
	assert.Nil(t, l.Of("fennick-sweep-2", "north", "1.8"), "the catalogue means exactly the variant it says")
	assert.Equal(t, "it smokes", l.Of("fennick-sweep-2", "north", "1.9").Why)
	assert.Nil(t, l.Of("fennick-sweep-2", "south", "2.0"))
	assert.Nil(t, l.Of("fennick-sweep-2", "", version.Unknown))
	l.Mark(catalogue)
	assert.Equal(t, "it smokes", catalogue[0].Releases[1].Withdrawn)

	back := correcting(event, nil)
	back.Vessel = ""
	a.write(back)
	catalogue[0].Releases[1].Withdrawn = ""
	assert.Nil(t, known.WithdrawalsOf(catalogue, a.events, nil).Of("fennick-sweep-2", "", "1.9"))
	assert.Nil(t, known.WithdrawalsOf(nil, a.events, func(*ledger.Event) bool { return false }).Of("fennick-sweep-2", "north", "2.0"))
}

func TestReadingsThatDoNotFollowOneAnother(t *testing.T) {
	contradictions := func(entries ...ledger.Entry) []known.Contradiction {
		a := newDiary("Ada")
		for _, e := range entries {
			a.write(e)
		}
		_, list := known.WithContradictions("kittiwake", a.events, known.Ask{})
		return list
	}
	found := contradictions(shown("1.6"), step(ledger.StepDone, "1.8", "1.9", "1.9"))
	require.Len(t, found, 1)
	assert.Equal(t, known.Unexplained, found[0].Kind)
	assert.Len(t, contradictions(shown("1.6"), shown("1.8")), 1, "it was only read: somebody installed it, and nobody said so")
	assert.Empty(t, contradictions(shown("1.6"), step(ledger.StepDone, "", "1.8", "1.8")), "nobody read what it started from")
	assert.Empty(t, contradictions(shown("1.6"), step(ledger.StepFailed, "1.6", "", "1.8"), shown("1.7")), "nobody knows what a failed step leaves")
	other := shown("1.2")
	check := *other.Check
	check.Device.Serial = "R2-2"
	other.Check = &check
	assert.Empty(t, contradictions(shown("1.6"), other), "another radar")
}

func TestWordsAboutADeviceComeFromTheLastReadingThatHasThem(t *testing.T) {
	a := newDiary("Ada")
	first := shown("1.6")
	withPlace := radar
	withPlace.Place = "mast"
	first.Check = &ledger.Check{Device: withPlace, Check: ledger.VersionShown, Value: "1.6"}
	a.write(first)
	bare := shown("1.8")
	bare.Check = &ledger.Check{Device: ledger.Device{ID: "radar"}, Check: ledger.VersionShown, Value: "1.8"}
	a.write(bare)
	assert.Equal(t, withPlace, told(t, nil, a).Device)
}
