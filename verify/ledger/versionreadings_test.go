package ledger_test

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"cardwright/manifest/version"
	"cardwright/verify/ledger"
)

func TestReadingsOfEntries(t *testing.T) {
	radar := ledger.Device{ID: "radar", Model: "fennick-sweep-2"}
	for name, c := range map[string]struct {
		entry  ledger.Entry
		want   version.V
		before version.V
		none   bool
		lost   bool // and then nobody knows
	}{
		"done":            {entry: ledger.Entry{Kind: ledger.StepDone, Step: &ledger.Step{Device: radar, Before: "1.6", After: "1.8"}}, want: "1.8", before: "1.6"},
		"failed, read":    {entry: ledger.Entry{Kind: ledger.StepFailed, Step: &ledger.Step{Device: radar, Before: "1.6", After: "1.6"}}, want: "1.6", before: "1.6"},
		"failed, dead":    {entry: ledger.Entry{Kind: ledger.StepFailed, Step: &ledger.Step{Device: radar, After: version.Unknown}}, want: version.Unknown, lost: true},
		"failed, unread":  {entry: ledger.Entry{Kind: ledger.StepFailed, Step: &ledger.Step{Device: radar, Before: "1.6"}}, want: "1.6", before: "1.6", lost: true},
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
			last := got[len(got)-1]
			assert.Equal(t, c.lost, last.Lost)
			if c.lost {
				assert.EqualValues(t, version.Unknown, last.Version)
			}
			require.Len(t, got, map[bool]int{true: 2, false: 1}[c.lost && c.before != ""])
			assert.Equal(t, c.want, got[0].Version)
			assert.Equal(t, c.before, got[0].Before)
			assert.Equal(t, radar, got[0].Device)
		})
	}
}
