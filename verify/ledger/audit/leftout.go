package audit

import (
	"context"
	"fmt"
	"slices"

	"cardwright/verify/ledger"
	"cardwright/verify/ledger/known"
	"cardwright/verify/ledger/store"
)

// anew are the vessels of which the tables that are looked up can't be gone by,
// since events of writers whom the shop doesn't trust are in them: what is known
// of them is worked out anew.
type anew struct {
	vessels map[string]anewVessel
	events  string // condition on a column event: of writers who count
	left    LeftOut
	gone    map[string]bool // vessels that are no longer served
}

type anewVessel struct {
	known.Vessel
	ask    known.Ask
	events []ledger.Event
}

// maxAnew is how many vessels are worked out anew for one question.
const maxAnew = 20_000

func anewIn(ctx context.Context, l *store.Ledger, q store.Querier) (anew, error) {
	a := anew{vessels: map[string]anewVessel{}, left: LeftOut{Lines: []Line{}}}
	numbers, vessels, err := l.Untrusted(ctx, q)
	if err != nil || len(vessels) == 0 {
		return a, err
	}
	a.events = numbers
	if len(vessels) > maxAnew {
		return a, fmt.Errorf("events about %d vessels of writers whom shop.yaml doesn't trust, expected at most %d: look at audit check", len(vessels), maxAnew)
	}
	for _, vessel := range vessels {
		if vessel == "" {
			continue
		}
		ask, events, err := askOf(ctx, l, q, vessel, nil)
		if err != nil {
			return a, err
		}
		v := known.Of(vessel, events, ask)
		a.left.Count += v.LeftOut
		a.vessels[vessel] = anewVessel{v, ask, events}
	}
	return a, nil
}

// devices are a vessel's, as they are known.
func (v *anewVessel) devices() []Device {
	var list []Device
	for _, d := range v.Devices {
		d.Open = nil
		d.By, d.How = "", ""
		list = append(list, deviceOf(d))
	}
	return list
}

// uses are the devices of vessels worked out anew that ran a release.
func (a *anew) uses(ctx context.Context, q store.Querier, u *ReleaseUse, f Filter) error {
	want := ledger.VersionKey(u.Version)
	for id, v := range a.vessels {
		vessel := Vessel{ID: id}
		if err := vessel.describe(ctx, q); err != nil {
			return err
		}
		if !f.letsBerth(vessel.Berth) {
			continue
		}
		facts, _ := known.Facts(v.events, v.ask.Trust)
		for _, fact := range facts {
			for _, r := range ledger.Readings(&fact.Entry) {
				d := v.Device(r.Device.ID)
				if r.Vessel != id || d == nil || r.Device.Model != u.Model || ledger.VersionKey(r.Version) != want ||
					!f.letsTime(r.At) || f.Maker != "" && f.Maker != r.Device.Maker || f.Technician != "" && f.Technician != fact.Technician() {
					continue
				}
				u.add(Use{Vessel: vessel, Device: deviceOf(*d), Serial: r.Device.Serial, First: r.At, Last: r.At}, ledger.VersionKey(d.Version) == want)
			}
		}
	}
	byPlace := func(x, y Use) int {
		return slices.Compare([]string{x.Vessel.ID, x.Device.ID, x.Serial}, []string{y.Vessel.ID, y.Device.ID, y.Serial})
	}
	slices.SortStableFunc(u.Has, byPlace)
	slices.SortStableFunc(u.Had, byPlace)
	return nil
}

// without leaves out the rows of vessels that are worked out anew.
func (a *anew) without(vessel string) bool {
	_, is := a.vessels[vessel]
	return is
}
