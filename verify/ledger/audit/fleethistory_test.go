package audit_test

import (
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"cardwright/manifest"
	"cardwright/manifest/version"
	"cardwright/verify/ledger"
	"cardwright/verify/ledger/audit"
	"cardwright/verify/ledger/ledgertest"
	"cardwright/verify/ledger/store"
)

// A radar is taken on with 1.0 on day 0; 2.0 is published on day 30, installed on
// day 60, and withdrawn on day 90. The days are counted by hand.
func TestOverTime(t *testing.T) {
	l, err := store.Open(ctx, filepath.Join(t.TempDir(), "ledger.db"), store.Options{Create: true})
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, l.Close()) })
	vessel, radar := ledgertest.Vessel(0), ledgertest.Equipment[2]
	appendTo(t, l, "Ada",
		ledger.Entry{At: ledgertest.Day(0), Kind: ledger.VesselTakenOn, Vessel: vessel, TakenOn: &ledger.TakenOn{
			Name: "Kittiwake", Devices: []ledger.Fitted{{Device: radar, Version: "1.0"}},
		}},
		ledger.Entry{At: ledgertest.Day(60), Kind: ledger.StepDone, Vessel: vessel, Step: &ledger.Step{Device: radar, Before: "1.0", After: "2.0"}},
		ledger.Entry{At: ledgertest.Day(90), Kind: ledger.ReleaseWithdrawn, Withdrawal: &ledger.Withdrawal{Model: radar.Model, Version: "2.0", Why: "rain clutter"}},
	)
	catalogue := func(v version.V, day int, withdrawn string) *manifest.Release {
		return &manifest.Release{Version: v, Released: manifest.Date{Time: ledgertest.Day(day)}, Withdrawn: withdrawn}
	}
	models := []*manifest.Model{{ID: radar.Model, Releases: []*manifest.Release{catalogue("1.0", -100, ""), catalogue("2.0", 30, "rain clutter")}}}
	fleet, err := audit.OfFleet(ctx, l, models, audit.Filter{})
	require.NoError(t, err)
	stood, err := audit.OverTime(ctx, l, models, fleet, audit.Filter{}, ledgertest.Day(120), 13) // every ten days
	require.NoError(t, err)
	var got []audit.Status
	for i, s := range stood {
		assert.WithinDuration(t, ledgertest.Day(10*i), s.At, time.Minute)
		for status, n := range s.Counts {
			if n > 0 {
				assert.Equal(t, 1, n)
				got = append(got, status)
			}
		}
	}
	const current, behind, withdrawn = audit.StatusCurrent, audit.StatusBehind, audit.StatusWithdrawn
	assert.Equal(t, []audit.Status{current, current, current, behind, behind, behind, current, current, current, withdrawn, withdrawn, withdrawn, withdrawn}, got)
	assert.Equal(t, fleet.Counts, stood[12].Counts)

	narrowed, err := audit.OverTime(ctx, l, models, fleet, audit.Filter{Technician: "Ada"}, ledgertest.Day(120), 13)
	require.NoError(t, err)
	assert.Empty(t, narrowed)
}
