package audit_test

import (
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"cardwright/manifest"
	"cardwright/manifest/version"
	"cardwright/verify/ledger"
	"cardwright/verify/ledger/audit"
	"cardwright/verify/ledger/store"
)

// Which files differ from the ledger is the same whether it is asked by itself or told
// by a fleet that was read already.
func TestFilesThatDifferFromTheFleet(t *testing.T) {
	onBoth(t, func(t *testing.T, l *store.Ledger) {
		off := func(vessel string) ledger.Entry {
			return ledger.Entry{At: at(1), Kind: ledger.DeviceTakenOff, Vessel: vessel, DeviceChange: &ledger.DeviceChange{
				Device: ledger.Device{ID: sweep.ID}, Was: ledger.Fitted{Device: sweep, Version: "1.6"},
			}}
		}
		var entries []ledger.Entry
		for _, id := range []string{"same", "spelt", "version", "serial", "more", "fewer", "bare", "bare-file", "off"} {
			fitted := []ledger.Fitted{{Device: sweep, Version: "1.6"}}
			if id == "fewer" || id == "off" {
				fitted = append(fitted, ledger.Fitted{Device: plot, Version: "4.0"})
			}
			entries = append(entries, takeOn(0, id, id, "C 14", fitted...))
		}
		appendTo(t, l, "Ada", append(entries, off("bare"), off("bare-file"), off("off"))...)

		file := func(id string, v version.V, change ...func(*manifest.Vessel)) *manifest.Vessel {
			f := &manifest.Vessel{ID: id, Devices: []*manifest.Device{{ID: sweep.ID, Model: sweep.Model, Serial: sweep.Serial, Version: v}}}
			for _, c := range change {
				c(f)
			}
			return f
		}
		files := []*manifest.Vessel{
			file("same", "1.6"), file("spelt", "1.06"), file("version", "1.8"), file("unheard", "1.6"), file("fewer", "1.6"), file("bare", "1.6"),
			file("serial", "1.6", func(f *manifest.Vessel) { f.Devices[0].Serial = "R2-9" }),
			file("more", "1.6", func(f *manifest.Vessel) { f.Devices = append(f.Devices, &manifest.Device{ID: "ais"}) }),
			file("bare-file", "", func(f *manifest.Vessel) { f.Devices = nil }),
			{ID: "off", Devices: []*manifest.Device{{ID: plot.ID, Model: plot.Model, Version: "4.0"}}},
		}
		want := []string{"bare", "fewer", "more", "serial", "version"}
		alone, err := audit.Otherwise(ctx, l, files)
		require.NoError(t, err)
		assert.ElementsMatch(t, want, alone)
		fleet, err := audit.OfFleet(ctx, l, nil, none)
		require.NoError(t, err)
		told, whole := fleet.Otherwise(files)
		assert.True(t, whole)
		slices.Sort(told)
		assert.Equal(t, want, told)

		part, err := audit.OfFleet(ctx, l, nil, audit.Filter{Maker: "Fennick"})
		require.NoError(t, err)
		_, whole = part.Otherwise(files)
		assert.False(t, whole)
	})
}
