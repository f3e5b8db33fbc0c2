package ledger_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"cardwright/manifest/version"
	"cardwright/verify/ledger"
)

// read makes a reading of one radar, hours after the first.
func read(writer string, hours int, before, after version.V) ledger.Reading {
	return ledger.Reading{
		Writer: writer, At: time.Date(2026, 3, 2, 8, 0, 0, 0, time.UTC).Add(time.Duration(hours) * time.Hour),
		Device: ledger.Device{ID: "radar"}, Before: before, Version: after,
	}
}

func TestTheLastReadingCounts(t *testing.T) {
	s := ledger.Settle([]ledger.Reading{read("van 1", 0, "", "1.6"), read("van 1", 5, "1.6", "1.8")})
	assert.EqualValues(t, "1.8", s.Version)
	assert.Empty(t, s.Other)
}

func TestUnknownTakesNoKnownVersionAway(t *testing.T) {
	s := ledger.Settle([]ledger.Reading{read("a", 0, "", "1.6"), read("a", 900, "", version.Unknown)})
	assert.EqualValues(t, "1.6", s.Version)

	gone := read("a", 500, "", "")
	gone.Gone = true
	s = ledger.Settle([]ledger.Reading{read("a", 0, "", "1.6"), gone, read("a", 900, "", version.Unknown)})
	assert.EqualValues(t, version.Unknown, s.Version, "another one was fitted since")

	old, fresh := read("a", 0, "", "1.6"), read("a", 900, "", version.Unknown)
	old.Device.Serial, fresh.Device.Serial = "R2-1", "R2-2"
	s = ledger.Settle([]ledger.Reading{old, fresh})
	assert.EqualValues(t, version.Unknown, s.Version, "it is another one")
}

func TestTwoVansThatDisagreeBothStand(t *testing.T) {
	readings := []ledger.Reading{read("van 1", 0, "", "1.6"), read("van 1", 10, "1.6", "1.8"), read("van 2", 11, "1.6", "1.9")}
	s := ledger.Settle(readings)
	assert.EqualValues(t, "1.9", s.Version)
	assert.EqualValues(t, "1.8", s.Other)
	found := ledger.Contradictions(readings)
	require.Len(t, found, 1)
	assert.Equal(t, ledger.TwoVersions, found[0].Kind)
	assert.Equal(t, readings[1], found[0].Earlier)
	assert.Equal(t, readings[2], found[0].Later)

	confirmed := append(readings, read("van 2", 12, "", "1.9"))
	assert.EqualValues(t, "1.8", ledger.Settle(confirmed).Other, "the same van saying it again settles nothing")

	later := append(readings, read("van 1", 11+25, "", "1.9"))
	assert.Empty(t, ledger.Settle(later).Other, "somebody read the device again, days later")
	assert.Len(t, ledger.Contradictions(later), 1, "the history still shows it")
}

func TestAChangeThatNobodyRecordedShows(t *testing.T) {
	found := ledger.Contradictions([]ledger.Reading{read("van 1", 0, "", "1.6"), read("van 2", 9000, "1.8", "1.9")})
	require.Len(t, found, 1)
	assert.Equal(t, ledger.Unexplained, found[0].Kind)
}

// A device that was replaced under the same id starts anew. Two vans that read
// two serial numbers on one day have one of them wrong, and that shows.
func TestADeviceThatWasReplacedContradictsNothing(t *testing.T) {
	serial := func(r ledger.Reading, s string) ledger.Reading {
		r.Device.Serial = s
		return r
	}
	first := serial(read("van 1", 0, "", "2.9"), "R2-1")
	assert.Empty(t, ledger.Contradictions([]ledger.Reading{first, serial(read("van 2", 500, "1.6", "1.8"), "R2-2")}))
	assert.Empty(t, ledger.Contradictions([]ledger.Reading{first, serial(read("van 1", 1, "", "1.8"), "R2-2")}))
	assert.Len(t, ledger.Contradictions([]ledger.Reading{first, serial(read("van 2", 500, "1.6", "1.8"), "R2-1")}), 1)
	both := []ledger.Reading{first, serial(read("van 2", 1, "", "1.8"), "R2-2")}
	assert.EqualValues(t, "2.9", ledger.Settle(both).Other)
}

func TestTwoVansThatEndAlikeDoNotDisagree(t *testing.T) {
	assert.Empty(t, ledger.Contradictions([]ledger.Reading{read("van 1", 0, "1.6", "1.8"), read("van 2", 1, "1.6", "1.8-0")}))
}

func TestWordsAboutADeviceComeFromTheLastReadingThatHasThem(t *testing.T) {
	first := read("a", 0, "", "1.6")
	first.Device = ledger.Device{ID: "radar", Model: "fennick-sweep-2", Serial: "R2-1", Place: "mast"}
	second := read("a", 1, "1.6", "1.8")
	second.Device = ledger.Device{ID: "radar", Model: "fennick-sweep-2", Serial: "R2-2"}
	assert.Equal(t, ledger.Device{ID: "radar", Model: "fennick-sweep-2", Serial: "R2-2"}, ledger.Settle([]ledger.Reading{first, second}).Device,
		"another serial number is another device")
	second.Device.Serial = ""
	assert.Equal(t, first.Device, ledger.Settle([]ledger.Reading{first, second}).Device)
}

func TestReadingsOfEntries(t *testing.T) {
	radar := ledger.Device{ID: "radar", Model: "fennick-sweep-2"}
	for name, c := range map[string]struct {
		entry  ledger.Entry
		want   version.V
		before version.V
		none   bool
	}{
		"done":            {entry: ledger.Entry{Kind: ledger.StepDone, Step: &ledger.Step{Device: radar, Before: "1.6", After: "1.8"}}, want: "1.8", before: "1.6"},
		"failed, read":    {entry: ledger.Entry{Kind: ledger.StepFailed, Step: &ledger.Step{Device: radar, Before: "1.6", After: "1.6"}}, want: "1.6", before: "1.6"},
		"failed, dead":    {entry: ledger.Entry{Kind: ledger.StepFailed, Step: &ledger.Step{Device: radar, After: version.Unknown}}, none: true},
		"put off, read":   {entry: ledger.Entry{Kind: ledger.StepPutOff, Step: &ledger.Step{Device: radar, Before: "1.6"}}, want: "1.6", before: "1.6"},
		"version shown":   {entry: ledger.Entry{Kind: ledger.CheckPassed, Check: &ledger.Check{Device: radar, Check: ledger.VersionShown, Value: "1.8"}}, want: "1.8"},
		"another check":   {entry: ledger.Entry{Kind: ledger.CheckPassed, Check: &ledger.Check{Device: radar, Check: "radar picture", Value: "1.8"}}, none: true},
		"check failed":    {entry: ledger.Entry{Kind: ledger.CheckFailed, Check: &ledger.Check{Device: radar, Check: ledger.VersionShown, Value: "1.8"}}, none: true},
		"not a version":   {entry: ledger.Entry{Kind: ledger.CheckPassed, Check: &ledger.Check{Device: radar, Check: ledger.VersionShown, Value: "yes"}}, none: true},
		"settings":        {entry: ledger.Entry{Kind: ledger.SettingsSaved, Settings: &ledger.Settings{Where: "x"}}, none: true},
		"taken on, blank": {entry: ledger.Entry{Kind: ledger.VesselTakenOn, TakenOn: &ledger.TakenOn{Devices: []ledger.Fitted{{Device: radar}}}}, want: version.Unknown},
	} {
		t.Run(name, func(t *testing.T) {
			got := ledger.Readings(&c.entry)
			if c.none {
				assert.Empty(t, got)
				return
			}
			require.Len(t, got, 1)
			assert.Equal(t, c.want, got[0].Version)
			assert.Equal(t, c.before, got[0].Before)
			assert.Equal(t, radar, got[0].Device)
		})
	}
}

// Where nobody read what a step started from, the step explains the change,
// unless two vans were at work on the same day.
func TestAStepWithNothingReadBefore(t *testing.T) {
	step := func(writer string, hours int) ledger.Reading {
		r := read(writer, hours, "", "1.8")
		r.Installed = true
		return r
	}
	first := read("van 1", 0, "", "1.6")
	assert.Empty(t, ledger.Contradictions([]ledger.Reading{first, step("van 1", 1)}))
	assert.Empty(t, ledger.Contradictions([]ledger.Reading{first, step("van 2", 500)}))
	found := ledger.Contradictions([]ledger.Reading{first, step("van 2", 1)})
	require.Len(t, found, 1)
	assert.Equal(t, ledger.TwoVersions, found[0].Kind)
	found = ledger.Contradictions([]ledger.Reading{first, read("van 1", 1, "", "1.8")})
	require.Len(t, found, 1, "it was only read: somebody installed it, and nobody said so")
	assert.Equal(t, ledger.Unexplained, found[0].Kind)
}

// Settle and Contradictions agree: a device is in dispute only where its
// history shows two versions.
func TestADisputeAlwaysShowsInTheHistory(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var readings []ledger.Reading
		hours := 0
		for range rapid.IntRange(1, 8).Draw(t, "n") {
			hours += rapid.IntRange(0, 30).Draw(t, "hours")
			v := rapid.SampledFrom([]version.V{"1", "2", "3", version.Unknown})
			readings = append(readings, read(rapid.SampledFrom([]string{"a", "b"}).Draw(t, "writer"), hours, v.Draw(t, "before"), v.Draw(t, "after")))
		}
		s := ledger.Settle(readings)
		if s.Other == "" {
			return
		}
		var shown bool
		for _, c := range ledger.Contradictions(readings) {
			shown = shown || c.Kind == ledger.TwoVersions && c.Earlier.Version == s.Other
		}
		assert.True(t, shown)
	})
}
