package audit_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"cardwright/manifest"
	"cardwright/verify/ledger"
	"cardwright/verify/ledger/audit"
	"cardwright/verify/ledger/known"
	"cardwright/verify/ledger/store"
)

// Which of the two says that a release is withdrawn makes no difference, and it is said
// once.
func TestAVesselOnAReleaseThatTheCatalogueWithdrew(t *testing.T) {
	onBoth(t, func(t *testing.T, l *store.Ledger) {
		appendTo(t, l, "Ada", takeOn(0, "kittiwake", "Kittiwake", "C 14", ledger.Fitted{Device: sweep, Version: "1.06"}, ledger.Fitted{Device: plot, Version: "4.0"}))
		catalogue := []*manifest.Model{{ID: sweep.Model, Releases: []*manifest.Release{{Version: "1.6", Withdrawn: "loses its picture"}, {Version: "1.8"}}}}
		told := func() (all []string) {
			h, err := audit.OfVessel(ctx, l, "kittiwake", time.Time{}, none)
			require.NoError(t, err)
			h.ByCatalogue(catalogue)
			for _, d := range h.Devices {
				for _, o := range d.Open {
					require.Equal(t, known.OnWithdrawn, o.Kind)
					all = append(all, d.ID+": "+o.Tell(func(*known.Open) string { return "" }))
				}
			}
			return all
		}
		want := []string{"radar: runs 1.06, which was withdrawn: loses its picture"}
		assert.Equal(t, want, told())
		appendTo(t, l, "Ada", ledger.Entry{At: at(1), Kind: ledger.ReleaseWithdrawn, Withdrawal: &ledger.Withdrawal{
			Maker: sweep.Maker, Model: sweep.Model, Version: "1.6", Why: "loses its picture",
		}})
		assert.Equal(t, want, told())
	})
}
