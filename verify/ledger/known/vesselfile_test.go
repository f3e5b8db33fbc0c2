package known_test

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"cardwright/manifest"
	"cardwright/manifest/version"
	"cardwright/verify/ledger"
	"cardwright/verify/ledger/known"
)

// A value of the vessel's file against what cardwright last wrote there and what the
// ledger has: who moved, and who didn't.
func TestFileAndLedger(t *testing.T) {
	const none = known.FileKind("")
	for name, c := range map[string]struct {
		ever        []version.V // that were read, the last is the ledger's
		wrote, file string      // wrote "": not remembered
		want        known.FileKind
	}{
		"all the same":                         {[]version.V{"1.6"}, "1.6", "1.6", none},
		"spelt otherwise":                      {[]version.V{"1.6"}, "1.6", "1.06", none},
		"by hand":                              {[]version.V{"1.6"}, "1.6", "1.8", known.ByHand},
		"by hand, an older one":                {[]version.V{"1.6", "1.8"}, "1.8", "1.6", known.ByHand},
		"by hand, as another van read it":      {[]version.V{"1.6", "1.8"}, "1.6", "1.8", none},
		"the ledger moved":                     {[]version.V{"1.6", "1.8"}, "1.6", "1.6", known.Behind},
		"both moved":                           {[]version.V{"1.6", "1.8"}, "1.6", "1.7", known.BothWays},
		"somebody wrote that nobody knows":     {[]version.V{"1.6"}, "1.6", "unknown", known.BothWays},
		"written before anybody knew":          {[]version.V{"1.6"}, "unknown", "unknown", known.Behind},
		"not remembered, the same":             {[]version.V{"1.6"}, "", "1.6", none},
		"not remembered, one that it had once": {[]version.V{"1.6", "1.8"}, "", "1.6", known.Behind},
		"not remembered, one it never had":     {[]version.V{"1.6", "1.8"}, "", "2.0", known.ByHand},
		"not remembered, nobody knew":          {[]version.V{"1.6"}, "", "unknown", known.Behind},
		"never read":                           {nil, "", "1.6", none},
		"never read, and written by hand":      {nil, "unknown", "1.6", known.ByHand},
	} {
		t.Run(name, func(t *testing.T) {
			a := newDiary("Ada")
			a.write(ledger.Entry{Kind: ledger.VesselTakenOn, TakenOn: &ledger.TakenOn{Name: "Kittiwake", Devices: []ledger.Fitted{{Device: radar, Version: version.Unknown}}}})
			for _, v := range c.ever {
				a.write(shown(v))
			}
			v := known.Of("kittiwake", a.events, known.Ask{})
			file := &manifest.Vessel{ID: "kittiwake", Devices: []*manifest.Device{{ID: "radar", Model: radar.Model, Serial: radar.Serial, Version: version.V(c.file)}}}
			var wrote known.Written
			if c.wrote != "" {
				wrote = known.Written{"radar": known.FileValues(file.Devices[0])}
				wrote["radar"][known.VersionKey] = c.wrote
			}
			got := v.Beside(file, wrote)
			if c.want == none {
				assert.Empty(t, got)
				return
			}
			require.Len(t, got, 1)
			assert.Equal(t, c.want, got[0].Kind)
			assert.Equal(t, known.VersionKey, got[0].Key)
		})
	}
}

// Another serial, another model, a device put in or taken out.
func TestFileAndLedgerOfADevice(t *testing.T) {
	a := newDiary("Ada")
	a.write(ledger.Entry{Kind: ledger.VesselTakenOn, TakenOn: &ledger.TakenOn{Name: "Kittiwake", Devices: []ledger.Fitted{{Device: radar, Version: "1.6"}}}})
	v := known.Of("kittiwake", a.events, known.Ask{})
	device := func(change func(*manifest.Device)) *manifest.Vessel {
		d := &manifest.Device{ID: "radar", Model: radar.Model, Serial: radar.Serial, Version: "1.6"}
		change(d)
		return &manifest.Vessel{ID: "kittiwake", Devices: []*manifest.Device{d}}
	}
	wrote := known.Written{"radar": known.FileValues(device(func(*manifest.Device) {}).Devices[0])}
	assert.Empty(t, v.Beside(device(func(*manifest.Device) {}), wrote))
	for key, change := range map[string]func(*manifest.Device){
		known.SerialKey:  func(d *manifest.Device) { d.Serial = "R2-2" },
		known.ModelKey:   func(d *manifest.Device) { d.Model = "fennick-sweep-3" },
		known.PlaceKey:   func(d *manifest.Device) { d.Place = "mast" },
		known.VariantKey: func(d *manifest.Device) { d.Variant = "north" },
	} {
		for _, w := range []known.Written{wrote, nil} {
			got := v.Beside(device(change), w)
			require.Len(t, got, 1, key)
			assert.Equal(t, known.ByHand, got[0].Kind, key)
			assert.Equal(t, key, got[0].Key)
		}
	}
	file := device(func(*manifest.Device) {})
	file.Devices = append(file.Devices, &manifest.Device{ID: "ais", Model: "solveld-beacon-1", Version: "1.5"})
	got := v.Beside(file, wrote)
	require.Len(t, got, 1)
	assert.Equal(t, known.FileDiffers{Device: "ais", Key: known.AboardKey, Kind: known.ByHand, File: "ais"}, got[0])
	b := known.Agree(got, file, func(id string) ledger.Device { return ledger.Device{ID: id, Model: file.Device(id).Model} })
	require.Len(t, b.Devices, 1)
	assert.Equal(t, "solveld-beacon-1", b.Devices[0].Device.Model)

	got = v.Beside(&manifest.Vessel{ID: "kittiwake"}, wrote)
	require.Len(t, got, 1)
	assert.Equal(t, known.ByHand, got[0].Kind)
	assert.Equal(t, []string{"radar"}, known.Agree(got, &manifest.Vessel{}, nil).Removed)
	got = v.Beside(&manifest.Vessel{ID: "kittiwake"}, known.Written{})
	require.Len(t, got, 1)
	assert.Equal(t, known.Behind, got[0].Kind, "another van fitted it")

	a.write(ledger.Entry{Kind: ledger.DeviceTakenOff, DeviceChange: &ledger.DeviceChange{Device: ledger.Device{ID: "radar"}, Was: ledger.Fitted{Device: radar}}})
	v = known.Of("kittiwake", a.events, known.Ask{})
	got = v.Beside(device(func(*manifest.Device) {}), wrote)
	require.Len(t, got, 1)
	assert.Equal(t, known.Behind, got[0].Kind, "another van took it off")
	assert.Empty(t, v.Beside(&manifest.Vessel{ID: "kittiwake"}, nil))
}

// A box that took another's place starts anew: nothing that was open stands, and
// nothing that was known.
func TestAReplacedDeviceStartsAnew(t *testing.T) {
	for name, now := range map[string]ledger.Device{
		"another serial": {ID: "radar", Model: radar.Model, Serial: "R2-2"},
		"another model":  {ID: "radar", Model: "fennick-sweep-3"},
		"no serial":      {ID: "radar", Model: radar.Model},
	} {
		t.Run(name, func(t *testing.T) {
			a := newDiary("Ada")
			a.write(step(ledger.StepFailed, "1.6", "", "1.8"))
			a.write(ledger.Entry{Kind: ledger.CheckFailed, Check: &ledger.Check{Device: radar, Check: "radar picture"}})
			a.write(ledger.Entry{Kind: ledger.DeviceReplaced, DeviceChange: &ledger.DeviceChange{Device: now, Was: ledger.Fitted{Device: radar}}})
			d := told(t, nil, a)
			assert.Equal(t, now, d.Device)
			assert.EqualValues(t, version.Unknown, d.Version)
			assert.Equal(t, known.NobodyKnows, d.How)
			assert.Empty(t, d.Open)
			e := a.write(ledger.Entry{Kind: ledger.DeviceReplaced, DeviceChange: &ledger.DeviceChange{Device: now, Version: "2.0", Was: ledger.Fitted{Device: radar}}})
			assert.EqualValues(t, "2.0", told(t, nil, a).Version)
			a.write(correcting(e, nil))
			assert.EqualValues(t, version.Unknown, told(t, nil, a).Version)
		})
	}
	a := newDiary("Ada")
	a.write(shown("1.6"))
	moved := radar
	moved.Place = "mast"
	a.write(ledger.Entry{Kind: ledger.DeviceMoved, DeviceChange: &ledger.DeviceChange{Device: moved, Was: ledger.Fitted{Device: radar}}})
	d := told(t, nil, a)
	assert.Equal(t, "mast", d.Place)
	assert.EqualValues(t, "1.6", d.Version)
}

// Settings that an update lost are open until their check passes.
func TestSettingsThatWereLost(t *testing.T) {
	check := func(kind ledger.Kind, note string) ledger.Entry {
		return ledger.Entry{Kind: kind, Check: &ledger.Check{Device: radar, Check: "settings and waypoints", Note: note}}
	}
	a := newDiary("Ada")
	a.write(step(ledger.StepDone, "1.6", "1.8", "1.8"))
	a.write(check(ledger.CheckNotDone, ledger.SettingsLost))
	assert.Equal(t, []known.OpenKind{known.SettingsLost}, openKinds(told(t, nil, a)))
	a.write(check(ledger.CheckPassed, ""))
	assert.Empty(t, told(t, nil, a).Open)
}

// What file and ledger have alike, and nobody remembers, is agreed from now on; nothing
// that differs, is disputed or is remembered.
func TestWhatFileAndLedgerAgreeOn(t *testing.T) {
	file := &manifest.Vessel{ID: "kittiwake", Devices: []*manifest.Device{
		{ID: "radar", Model: radar.Model, Serial: "R2-2", Version: "1.06"}, {ID: "ais", Version: "1.5"},
	}}
	k := known.Vessel{ID: "kittiwake", Devices: []known.Device{
		{Device: radar, Version: "1.6"}, {Device: ledger.Device{ID: "sounder"}, Version: "2.1"}, {Device: ledger.Device{ID: "pilot"}, Gone: true},
	}}
	j := &known.Joined{Vessel: k, File: file}
	assert.Equal(t, known.Written{"radar": {
		known.AboardKey: "radar", known.ModelKey: radar.Model, known.PlaceKey: "", known.VariantKey: "", known.VersionKey: "1.06",
	}}, j.Agreed(nil))
	wrote := known.Written{"radar": {known.AboardKey: "radar", known.ModelKey: "another", known.PlaceKey: "", known.VariantKey: ""}}
	assert.Equal(t, known.Written{"radar": {known.VersionKey: "1.06"}}, j.Agreed(wrote))
	j.Devices[0].Other = "1.8"
	assert.Empty(t, j.Agreed(wrote))
}
