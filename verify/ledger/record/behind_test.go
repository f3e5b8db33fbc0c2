package record_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"cardwright/manifest/survey"
	"cardwright/manifest/version"
	"cardwright/verify/ledger"
	"cardwright/verify/ledger/audit"
	"cardwright/verify/ledger/known"
	"cardwright/verify/ledger/record"
)

// read is a line of a history: a version that was read off a device.
func read(device string, v version.V) audit.Line {
	return audit.Line{Entry: ledger.Entry{Kind: ledger.CheckPassed, Check: &ledger.Check{
		Check: ledger.VersionShown, Device: ledger.Device{ID: device}, Value: string(v),
	}}}
}

func runs(device string, v version.V) audit.Device {
	return audit.Device{Device: ledger.Device{ID: device}, Version: v, Since: time.Date(2026, 3, 2, 12, 0, 0, 0, time.UTC)}
}

func ids(devices []audit.Device) (list []string) {
	for _, d := range devices {
		list = append(list, d.ID)
	}
	return list
}

// What a visit saw counts as the ledger has it; a later reading is reported, and goes
// into the file only where that is behind.
func TestALaterReadingThanTheVisitsCounts(t *testing.T) {
	seen := map[string]version.V{"radar": "1.8", "flybridge": "4.0-12"}
	h := audit.History{
		Lines:   []audit.Line{read("radar", "1.6"), read("radar", "1.8"), read("radar", "1.9")},
		Devices: []audit.Device{runs("radar", "1.9"), runs("flybridge", "4.0-12"), runs("pilot", "2.1")},
	}
	behind := []known.FileDiffers{{Device: "radar", Key: known.VersionKey, Kind: known.Behind, File: "1.6", Ledger: "1.9"}}
	c := record.Counts(behind, h, seen)
	assert.Equal(t, map[string]version.V{"radar": "1.9", "flybridge": "4.0-12"}, c.Versions, "not the pilot: this visit saw nothing of it")
	assert.Equal(t, []string{"radar"}, ids(c.Later))

	c = record.Counts(nil, h, seen) // the file has 1.10 by hand: newer than all that the ledger has
	assert.NotContains(t, c.Versions, "radar")
	assert.Equal(t, []string{"radar"}, ids(c.Later))
}

// A correction reaches the file only where the file said what was corrected.
func TestACorrectionReachesTheFileThatSaidTheSame(t *testing.T) {
	v := job().Vessel
	versions, look := record.Corrected(v, map[string]version.V{"radar": "1.6", "flybridge": "3.0"}, map[string]version.V{"radar": "1.8", "flybridge": ""})
	assert.Equal(t, map[string]version.V{"radar": "1.8"}, versions)
	assert.Equal(t, []record.Conflict{{Device: "flybridge", File: "3.1-40", Ledger: version.Unknown}}, look)
}

// Of a survey those devices are noted of which something was found.
func TestASurveyNotesWhatWasFound(t *testing.T) {
	j := job()
	at := time.Date(2026, 3, 2, 12, 0, 0, 0, time.UTC)
	s := record.Survey{Visit: "v", At: at, Read: map[string]version.V{"radar": "1.8"}, Changes: []survey.Change{survey.Added("pilot", "solveld-course-3", ""), {Device: "flybridge", Key: "serial", Is: "00007"}}}
	all := s.Entries(j.Vessel, j.Catalogue)
	var kinds []ledger.Kind
	for _, e := range all {
		kinds = append(kinds, e.Kind)
		assert.NoError(t, e.Validate())
		assert.Equal(t, "v", e.Visit)
	}
	assert.Equal(t, []ledger.Kind{ledger.VisitBegun, ledger.VesselTakenOn, ledger.CheckPassed}, kinds)
	taken := all[1].TakenOn.Devices
	assert.Equal(t, "pilot", taken[0].Device.ID)
	assert.Equal(t, "Solveld", taken[0].Device.Maker, "the catalogue says whose it is")
	assert.Equal(t, "flybridge", taken[1].Device.ID)
	assert.Equal(t, version.V(version.Unknown), taken[1].Version, "nobody read it")
	assert.Empty(t, (&record.Survey{At: at}).Entries(j.Vessel, j.Catalogue), "nothing found is no visit")
}

// A survey that is noted after the day leaves the file what the ledger has read later.
func TestASurveyNotedLateLeavesWhatWasReadSince(t *testing.T) {
	at := time.Date(2026, 3, 2, 12, 0, 0, 0, time.UTC)
	read := func(id string, v version.V, days int) known.Device {
		return known.Device{Device: ledger.Device{ID: id}, Version: v, Since: at.AddDate(0, 0, days)}
	}
	k := &known.Joined{Vessel: known.Vessel{ID: "kittiwake", Devices: []known.Device{
		read("radar", "1.9", 1), read("pilot", "2.1", -1), read("flybridge", "4.0", 1), read("sounder", version.Unknown, 1), read("helm", "4.0", 1),
	}}}
	now := func(id, is string) survey.Change { return survey.Change{Device: id, Key: known.VersionKey, Is: is} }
	all := []survey.Change{
		now("radar", "1.8"), now("pilot", "2.0"), now("flybridge", "4.00"), now("sounder", "2.2"), now("ais", "1.5"),
		{Device: "helm", Key: known.SerialKey, Is: "7"},
	}
	s := record.Survey{At: at, Changes: all}
	later := s.LeaveLater(k)
	require.Len(t, later, 1)
	assert.Equal(t, "radar", later[0].ID)
	assert.Equal(t, all[1:], s.Changes)
	assert.Equal(t, "radar", all[0].Device, "what was given stays")
	assert.Empty(t, s.LeaveLater(nil))
}

// A vessel is taken on as its file has it: what isn't in it is no longer aboard.
func TestWhatIsNotInTheFileIsNoLongerAboard(t *testing.T) {
	gone := runs("heading", "1.0")
	gone.Gone = true
	e := job().TakenOn(time.Date(2026, 3, 2, 12, 0, 0, 0, time.UTC), audit.History{Devices: []audit.Device{runs("radar", "1.6"), runs("sounder", "2.2"), gone}})
	assert.NoError(t, e.Validate())
	assert.Equal(t, []string{"sounder"}, e.TakenOn.Removed)
	assert.Len(t, e.TakenOn.Devices, 3)
}
