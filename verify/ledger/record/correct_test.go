package record_test

import (
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"cardwright/manifest/digest"
	"cardwright/manifest/version"
	"cardwright/verify/ledger"
	"cardwright/verify/ledger/record"
)

var noon = time.Date(2026, 3, 2, 12, 0, 0, 0, time.UTC)

// A correction that was dated by a clock which ran ahead would count for good.
func TestACorrectionCountsAfterOneFromAClockThatRanAhead(t *testing.T) {
	assert.Equal(t, noon, record.After(noon, noon.AddDate(0, 0, -1)))
	for _, before := range []time.Time{noon, noon.AddDate(4, 0, 0)} {
		assert.True(t, record.After(noon, before).After(before))
	}
}

// stepDone is a step of the radar's as the ledger has it.
func stepDone() ledger.Event {
	e := ledger.Entry{
		At: noon.Add(-time.Hour), Kind: ledger.StepDone, Vessel: "kittiwake", Visit: "visit",
		Step: &ledger.Step{
			Number: 1, Device: ledger.Device{ID: "radar", Model: "fennick-sweep-2"}, Before: "1.6", After: "1.8", Minutes: 12,
			Files: []ledger.File{{Name: "sweep2-1.8.upd", SHA256: digest.SHA256(strings.Repeat("ef", 32)), Size: 123}}, WayBack: ledger.WayBackThere, Card: strings.Repeat("ab", 32),
		},
	}
	return ledger.Event{Statement: ledger.Statement{Entry: e}}
}

func corrected(of ledger.Event, i record.Instead) (ledger.Entry, error) {
	c := record.Correction{Of: of, Why: "misread", Instead: i, Now: noon}
	return c.Entry()
}

// What isn't said stays; what was of the release before goes with it.
func TestACorrectionLeavesWhatItDoesNotSay(t *testing.T) {
	of := stepDone()
	e, err := corrected(of, record.Instead{Minutes: 14})
	require.NoError(t, err)
	want := *of.Statement.Entry.Step
	want.Minutes = 14
	assert.Equal(t, &want, e.Correction.Instead.Step)
	assert.Equal(t, "kittiwake", e.Vessel)
	assert.Equal(t, of.ID.String(), e.Correction.Of)

	e, err = corrected(of, record.Instead{After: "1.9", Minutes: record.AsItWas})
	require.NoError(t, err)
	step := e.Correction.Instead.Step
	assert.Equal(t, version.V("1.9"), step.After)
	assert.Equal(t, 12, step.Minutes)
	assert.Empty(t, step.Files, "they were 1.8's")
	assert.Empty(t, step.Card)
	assert.Equal(t, version.V("1.8"), of.Statement.Entry.Step.After, "the event itself stays as it was")

	last := ledger.Event{Statement: ledger.Statement{Entry: e}}
	last.Statement.Entry.At = noon.AddDate(1, 0, 0)
	again := record.Correction{Of: of, Last: &last, Why: "so it was", Instead: record.Instead{Minutes: 9}, Now: noon}
	e, err = again.Entry()
	require.NoError(t, err)
	assert.Equal(t, version.V("1.9"), e.Correction.Instead.Step.After, "as the correction before had it")
	assert.True(t, e.At.After(last.Statement.Entry.At))
}

func TestACorrectionThatCannotStandSaysWhy(t *testing.T) {
	none := record.AsItWas
	check := ledger.Event{Statement: ledger.Statement{Entry: ledger.Entry{
		At: noon, Kind: ledger.CheckPassed, Vessel: "kittiwake",
		Check: &ledger.Check{Check: ledger.VersionShown, Device: ledger.Device{ID: "radar", Model: "fennick-sweep-2"}, Value: "1.8"},
	}}}
	taken := ledger.Event{Statement: ledger.Statement{Entry: ledger.Entry{
		At: noon, Kind: ledger.VesselTakenOn, Vessel: "kittiwake",
		TakenOn: &ledger.TakenOn{Name: "Kittiwake", Devices: []ledger.Fitted{{Device: ledger.Device{ID: "radar", Model: "fennick-sweep-2"}, Version: "1.6"}}},
	}}}
	for name, c := range map[string]struct {
		of       ledger.Event
		takeBack bool
		instead  record.Instead
		why      any
		field    string
	}{
		"nothing is said":             {stepDone(), false, record.Instead{Minutes: none}, record.NothingSaid, ""},
		"taken back, and said":        {stepDone(), true, record.Instead{Note: "so", Minutes: none}, record.BesideNothing, "note"},
		"a step reads no value":       {stepDone(), false, record.Instead{Value: "3", Minutes: none}, record.NotOfEvent, "value"},
		"a step doesn't pass":         {stepDone(), false, record.Instead{Result: record.Passed, Minutes: none}, record.NoResult, "result"},
		"a check isn't put off":       {check, false, record.Instead{Result: record.PutOff, Minutes: none}, record.NoResult, "result"},
		"failed, and with what left?": {stepDone(), false, record.Instead{Result: record.Failed, Minutes: none}, record.AfterMissing, "after"},
		"no version":                  {stepDone(), false, record.Instead{Before: "the old one", Minutes: none}, record.NotAVersion, "before"},
		"a check of no version":       {check, false, record.Instead{Value: "the old one", Minutes: none}, record.NotAVersion, "value"},
		"which device of the vessel":  {taken, false, record.Instead{After: "1.8", Minutes: none}, record.DeviceMissing, "device"},
		"no such device aboard":       {taken, false, record.Instead{Device: "sounder", After: "1.8", Minutes: none}, record.DeviceMissing, "device"},
	} {
		k := record.Correction{Of: c.of, Why: "so", TakeBack: c.takeBack, Instead: c.instead, Now: noon}
		_, err := k.Entry()
		var unfit *record.Unfit
		if assert.ErrorAs(t, err, &unfit, name) {
			assert.EqualValues(t, c.why, unfit.Why, name)
			assert.Equal(t, c.field, unfit.Field, name)
		}
	}
	back := record.Correction{Of: stepDone(), Why: "another boat", TakeBack: true, Instead: record.Instead{Minutes: none}, Now: noon}
	e, err := back.Entry()
	require.NoError(t, err)
	assert.Nil(t, e.Correction.Instead)
	assert.NoError(t, e.Validate())
}

// What is taken back already isn't taken back again; a step may be said again, a change
// of a device is noted anew.
func TestATakenBackEventIsNotTakenBackAgain(t *testing.T) {
	moved := ledger.Event{Statement: ledger.Statement{Entry: ledger.Entry{
		At: noon, Kind: ledger.DeviceMoved, Vessel: "kittiwake",
		DeviceChange: &ledger.DeviceChange{Device: ledger.Device{ID: "radar", Model: "fennick-sweep-2", Place: "mast"}, Was: ledger.Fitted{Device: ledger.Device{ID: "radar"}}},
	}}}
	for name, of := range map[string]ledger.Event{"a step": stepDone(), "a move": moved} {
		c := record.Correction{Of: of, Why: "another boat", TakeBack: true, Instead: record.Instead{Minutes: record.AsItWas}, Now: noon}
		e, err := c.Entry()
		require.NoError(t, err, name)
		c.Last = &ledger.Event{Statement: ledger.Statement{Entry: e}}
		var unfit *record.Unfit
		_, err = c.Entry()
		if assert.ErrorAs(t, err, &unfit, name) {
			assert.Equal(t, record.TakenBack, unfit.Why, name)
		}
		c.TakeBack, c.Instead.At = false, noon.AddDate(0, 0, -1)
		_, err = c.Entry()
		assert.Equal(t, name == "a move", err != nil, name)
	}
}
