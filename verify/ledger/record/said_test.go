package record_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"cardwright/manifest/version"
	"cardwright/verify/ledger"
	"cardwright/verify/ledger/audit"
	"cardwright/verify/ledger/known"
	"cardwright/verify/ledger/record"
	"cardwright/verify/seatrial"
)

// Flags fill in what a sheet leaves open, and each that can't be read is named.
func TestWhatIsSaidFillsInTheSheet(t *testing.T) {
	f := record.Filled{Format: record.Format, Vessel: "kittiwake", SettingsSaved: "on the sheet", Told: "the skipper"}
	require.NoError(t, job().Fill(&f, record.Said{
		Steps: []string{"1=1.6 to 1.8, 12 min"}, RestOff: "the tide", Readings: []string{"pilot=2.6"},
		Checks: []string{"radar:radar picture=passed:clear"}, ApprovedBy: "the owner",
	}))
	require.Len(t, f.Steps, 3)
	assert.Equal(t, 12, f.Steps[0].Minutes)
	for _, s := range f.Steps[1:] {
		assert.Equal(t, record.PutOff, s.Result)
		assert.Equal(t, "the tide", s.Note)
	}
	assert.Equal(t, []record.FilledCheck{
		{Device: "pilot", Check: ledger.VersionShown, Result: record.Passed, Value: "2.6"},
		{Device: "radar", Check: "radar picture", Result: record.Passed, Value: "clear"},
	}, f.Checks)
	assert.Equal(t, []string{"on the sheet", "the owner", "the skipper"}, []string{f.SettingsSaved, f.ApprovedBy, f.Told}, "what isn't said stays")

	for what, said := range map[string]record.Said{
		"step": {Steps: []string{"4=done"}}, "read": {Readings: []string{"pilot 2.6"}}, "check": {Checks: []string{"radar=passed"}},
	} {
		var not *record.NotUnderstood
		require.ErrorAs(t, job().Fill(&f, said), &not)
		assert.Equal(t, what, not.What)
	}
}

// A sheet is noted once; with a date of its own once for each day.
func TestASheetIsNotedOnceForADay(t *testing.T) {
	day := func(n int) time.Time { return time.Date(2026, 3, n, 12, 0, 0, 0, time.Local) }
	noted := map[string]time.Time{"v": day(2), "v@2026-03-05": day(5)}
	for _, c := range []struct {
		at    time.Time
		dated bool
		noted map[string]time.Time
		name  string
		again bool
	}{
		{day(9), false, nil, "v", false},
		{day(9), false, noted, "v", true},
		{day(9), true, noted, "v@2026-03-09", false},
		{day(5).Add(-11 * time.Hour), true, noted, "v", true},
		{day(2), true, nil, "v@2026-03-02", false},
	} {
		name, again := record.NotedBefore("v", c.at, c.dated, c.noted)
		assert.Equal(t, c.again, again, "%+v", c)
		if !again {
			assert.Equal(t, c.name, name)
		}
	}
}

// Work outside any plan begins a visit with who was informed, and each line is a step.
func TestWorkOutsideAnyPlan(t *testing.T) {
	j := job()
	out, err := j.Work([]string{"radar=1.6 to 1.8, 12 min", "pilot=failed, no answer"}, record.HowMeant("Yard"), record.Said{Told: "the skipper", SettingsSaved: "a card"}, visit())
	require.NoError(t, err)
	require.Len(t, out.Entries, 4)
	assert.Equal(t, &ledger.Visit{Purpose: "spring update", Told: "the skipper"}, out.Entries[0].VisitBegun)
	assert.Equal(t, "a card", out.Entries[1].Settings.Where)
	assert.Equal(t, "by the yard", out.Entries[2].Step.How)
	assert.Equal(t, ledger.StepFailed, out.Entries[3].Kind)
	assert.Equal(t, map[string]version.V{"radar": "1.8", "pilot": version.Unknown}, out.Versions, "nobody read the pilot")
	for _, e := range out.Entries {
		assert.Equal(t, "visit", e.Visit)
		require.NoError(t, e.Validate())
	}
	var not *record.NotUnderstood
	_, err = j.Work([]string{"rdar=1.8"}, "by cable", record.Said{}, visit())
	require.ErrorAs(t, err, &not)
	assert.ErrorContains(t, err, "try radar")
	assert.Equal(t, "by hand", record.HowMeant("by hand"), "what is no way of working stays, to be refused")
}

// Where the file has another model than the ledger, nobody could tell on which box the
// work was done; another version is what the work is about.
func TestWorkOnAnotherBoxIsNoticed(t *testing.T) {
	k := &known.Joined{Differs: []known.FileDiffers{
		{Device: "radar", Key: known.ModelKey, Kind: known.ByHand, File: "a", Ledger: "b"},
		{Device: "flybridge", Key: known.VersionKey, Kind: known.ByHand, File: "3.1", Ledger: "3.0"},
		{Device: "ais", Key: known.AboardKey, Kind: known.ByHand, File: "ais"},
		{Device: "pilot", Key: known.ModelKey, Kind: known.Behind, File: "a", Ledger: "b"},
	}}
	f := filled()
	f.Checks = append(f.Checks, record.FilledCheck{Device: "ais", Check: "position"})
	boxes := record.OnAnotherBox(f, k)
	require.Len(t, boxes, 2)
	assert.Equal(t, []string{"radar", "ais"}, []string{boxes[0].Device, boxes[1].Device})
	assert.Empty(t, record.OnAnotherBox(f, nil))
}

// The trial to compare with is the last one of this sensor before this log's, other than
// this log's own; a swing by hand since sets the compass up anew.
func TestTheEarlierTrial(t *testing.T) {
	day := func(n int) time.Time { return time.Date(2026, 3, n, 12, 0, 0, 0, time.Local) }
	vessel := job().Vessel
	trial := record.Trial{Vessel: vessel, Trial: seatrial.Trial{Date: day(20)}, Sensor: "pilot", Now: day(21), Logs: []string{"aa"}}
	values := func(a float64) *ledger.Trial {
		return &ledger.Trial{Coefficients: []float64{a, 0, 0, 0, 0}, Errors: []float64{1, 1, 1, 1, 1}, RMS: []float64{2, 0.5}}
	}
	swings := []audit.Swing{
		{At: day(1), Device: "pilot", Trial: values(1)},
		{At: day(3), Device: "pilot", Trial: values(3)},
		{At: day(4), Device: "radar", Trial: values(4)},
		{At: day(5), Device: "pilot", Trial: &ledger.Trial{}},
		{At: day(20), Device: "pilot", Visit: trial.VisitID(), Trial: values(20)},
		{At: day(25), Device: "pilot", Trial: values(25)},
	}
	e := trial.Earlier(swings)
	require.NotNil(t, e)
	assert.InDelta(t, 3, e.Coef[0], 0)
	assert.Equal(t, "the ledger's trial of 2026-03-03", e.From)
	assert.InDelta(t, 2, e.RMS.Value, 0)
	assert.Nil(t, e.Helm)
	assert.Empty(t, e.Unalike)

	e = trial.Earlier(append(swings, audit.Swing{At: day(10), Device: "pilot"}))
	assert.Contains(t, e.Unalike, "2026-03-10")
	assert.Nil(t, trial.Earlier(nil))
}
