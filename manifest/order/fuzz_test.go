package order

import (
	"fmt"
	"testing"

	"cardwright/manifest"
	"cardwright/manifest/version"
)

// wild makes a shop and a vessel of any bytes, also such as the loader would
// refuse: chains and circles of hosts, devices updated through themselves,
// repeated ids and releases.
type wild struct{ data []byte }

func (w *wild) below(n int) int {
	if len(w.data) == 0 {
		return 0
	}
	b := int(w.data[0])
	w.data = w.data[1:]
	return b % n
}

func (w *wild) version() version.V {
	return version.V([]string{"1", "2", "2.0", "02", "3~rc1", "3", "1:0", "4-1"}[w.below(8)])
}

func (w *wild) bounds() version.Range {
	var r version.Range
	for range w.below(3) {
		op := []version.Op{version.AtLeast, version.AtMost, version.Exactly, version.Before, version.After}[w.below(5)]
		r = append(r, version.Bound{Op: op, V: w.version()})
	}
	return r
}

func (w *wild) model(id string) *manifest.Model {
	m := &manifest.Model{ID: id, Alike: w.below(4) == 0, Kind: manifest.Kinds[w.below(3)]}
	if w.below(4) > 0 {
		m.Card = &manifest.CardRules{Least: 4e9, Most: manifest.Size(w.below(3)) * 4e9, AtPowerUp: w.below(2) == 0, Alone: w.below(4) == 0}
	}
	for range w.below(6) {
		r := &manifest.Release{Version: w.version(), Over: w.bounds(), PassedOnBy: w.bounds()}
		for range w.below(3) {
			r.Needs = append(r.Needs, &manifest.Need{
				Model: fmt.Sprint("m", w.below(4)), Version: w.bounds(), By: []string{manifest.ByStart, manifest.ByEnd}[w.below(2)],
			})
		}
		m.Releases = append(m.Releases, r)
	}
	return m
}

func (w *wild) device() *manifest.Device {
	d := &manifest.Device{
		ID: fmt.Sprint("d", w.below(6)), Model: fmt.Sprint("m", w.below(3)), Version: w.version(), Hold: w.bounds(),
	}
	for range w.below(3) {
		d.Through = append(d.Through, fmt.Sprint("d", w.below(6)))
	}
	if w.below(16) == 15 {
		d.Version = version.Unknown
	}
	return d
}

// FuzzMake looks for panics and endless searches, and for plans that break
// their own rules.
func FuzzMake(f *testing.F) {
	f.Add([]byte("kittiwake, skerry light and morven rose, on a ledge at hollin quay, each with a radar of her own"))
	f.Fuzz(func(t *testing.T, data []byte) {
		w := &wild{data}
		shop, vessel := &manifest.Shop{}, &manifest.Vessel{ID: "kittiwake"}
		for m := range 3 {
			shop.Models = append(shop.Models, w.model(fmt.Sprint("m", m)))
		}
		for range w.below(6) {
			vessel.Devices = append(vessel.Devices, w.device())
		}
		plan, err := Make(shop, vessel)
		if err != nil {
			return
		}
		now := map[string]version.V{}
		for i, s := range plan.Steps {
			if from, ok := now[s.Device]; ok && from != s.From || version.Compare(s.To, s.From) <= 0 || s.Number != i+1 {
				t.Fatalf("step %+v after %v", s, now)
			}
			now[s.Device] = s.To
		}
		if plan.Conflict != nil && (len(plan.Conflict.Because) == 0 || len(plan.Steps) > 0) {
			t.Fatalf("%+v", plan)
		}
		for _, d := range vessel.Devices {
			if _, err := Why(shop, vessel, Ask{Hold: []string{d.ID}}, d.ID); err != nil && leftOutOf(plan.LeftOut, d.ID) == nil {
				t.Fatal(err)
			}
		}
	})
}
