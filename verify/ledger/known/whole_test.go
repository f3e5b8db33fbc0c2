package known_test

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"cardwright/manifest"
	"cardwright/verify/ledger"
	"cardwright/verify/ledger/known"
)

func TestFileAndLedgerOfTheVessel(t *testing.T) {
	a := newDiary("Ada")
	taken := func(name, berth string) {
		a.write(ledger.Entry{Kind: ledger.VesselTakenOn, Berth: berth, TakenOn: &ledger.TakenOn{Name: name, Hull: "HQ 214", Devices: []ledger.Fitted{{Device: radar, Version: "1.6"}}}})
	}
	taken("Kittiwake", "C 14")
	taken("Kitty Wake", "D 2")
	const none = known.FileKind("")
	for name, c := range map[string]struct {
		file, wrote string // wrote "": not remembered
		want        known.FileKind
	}{
		"the same":                             {"Kitty Wake", "", none},
		"by hand":                              {"Kitty", "Kitty Wake", known.ByHand},
		"the ledger moved":                     {"Kittiwake", "Kittiwake", known.Behind},
		"both moved":                           {"Kitty", "Kittiwake", known.BothWays},
		"not remembered, one that it had once": {"Kittiwake", "", known.Behind},
		"not remembered, one it never had":     {"Kitty", "", known.ByHand},
	} {
		v := known.Of("kittiwake", a.events, known.Ask{})
		file := &manifest.Vessel{ID: "kittiwake", Name: c.file, Devices: []*manifest.Device{{ID: "radar", Model: radar.Model, Serial: radar.Serial, Version: "1.6"}}}
		wrote := known.Written{}
		if c.wrote != "" {
			wrote[known.Whole] = map[string]string{known.NameKey: c.wrote}
		}
		wrote["radar"] = known.FileValues(file.Devices[0])
		got := v.Beside(file, wrote)
		if c.want == none {
			assert.Empty(t, got, name)
			continue
		}
		require.Len(t, got, 1, name)
		assert.Equal(t, known.FileDiffers{Device: known.Whole, Key: known.NameKey, Kind: c.want, File: c.file, Ledger: "Kitty Wake"}, got[0], name)
		j := known.Join(v, file, wrote)
		if c.want == known.Behind {
			assert.Equal(t, "Kitty Wake", file.Name, name)
		}
		j.WithoutByHand(file)
		assert.Equal(t, "Kitty Wake", file.Name, "nothing else is signed: %s", name)
	}

	// An id that she had before, and a file of a boat that is gone, are behind.
	a.write(renamed("kittiwake", "kitty-wake"))
	gone := a.write(ledger.Entry{Kind: ledger.VesselGone, Vessel: "kitty-wake", VesselChange: &ledger.VesselChange{}})
	file := &manifest.Vessel{ID: "kittiwake", Name: "Kitty Wake", Devices: []*manifest.Device{{ID: "radar", Model: radar.Model, Serial: radar.Serial, Version: "1.6"}}}
	keys := func() (keys []string) {
		v := known.Of("kitty-wake", a.events, known.Ask{Formerly: []string{"kittiwake"}})
		for _, d := range v.Beside(file, nil) {
			assert.Equal(t, known.Behind, d.Kind)
			keys = append(keys, d.Key)
		}
		return keys
	}
	assert.Equal(t, []string{known.IDKey, known.ServedKey}, keys())
	a.write(correcting(gone, nil))
	assert.Equal(t, []string{known.IDKey}, keys())
}
