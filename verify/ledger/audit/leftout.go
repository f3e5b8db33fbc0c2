package audit

import (
	"cmp"
	"context"
	"database/sql"
	"fmt"
	"slices"
	"time"

	"cardwright/verify/ledger"
	"cardwright/verify/ledger/known"
	"cardwright/verify/ledger/store"
)

// anew are the vessels whose lookup tables can't be trusted,
// since events of writers whom the shop doesn't trust are in them, or they had other
// ids before: what is known of them is worked out anew.
type anew struct {
	lives
	vessels map[string]anewVessel // by today's id
	events  string                // condition on a column event: of writers who count
	left    LeftOut
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
	if err != nil {
		return a, err
	}
	a.events = numbers
	if len(vessels) > maxAnew {
		return a, fmt.Errorf("writers whom shop.yaml doesn't trust wrote of %d vessels, expected at most %d: look at audit check", len(vessels), maxAnew)
	}
	if a.lives, err = livesIn(ctx, l, q); err != nil {
		return a, err
	}
	trust, err := l.Trust(ctx, q)
	if err != nil {
		return a, err
	}
	vessels = slices.DeleteFunc(vessels, func(vessel string) bool { return vessel == "" })
	for i, id := range vessels {
		vessels[i] = a.Now(id)
	}
	vessels = append(vessels, a.Renames()...)
	slices.Sort(vessels)
	err = eachVessel(ctx, q, a.Names, slices.Compact(vessels), "", func(about aboutVessel) error {
		ask := known.Ask{Trust: trust, Seen: about.seen, Formerly: about.formerly}
		v := known.Of(about.vessel, about.events, ask)
		a.left.Count += v.LeftOut
		a.vessels[about.vessel] = anewVessel{v, ask, about.events}
		return nil
	})
	return a, err
}

// devices are a vessel's, as they are known; as in the table, those that an event
// says are aboard or gone.
func (v *anewVessel) devices() []Device {
	var list []Device
	for _, d := range v.Devices {
		if !d.EverRead() {
			continue
		}
		d.Open = nil
		d.By, d.How = "", ""
		list = append(list, deviceOf(d))
	}
	return list
}

// describe says what is known of a vessel itself, under whatever id she is named.
func (a *anew) describe(ctx context.Context, q store.Querier, v *Vessel) error {
	v.ID = a.Now(v.ID)
	if is, anew := a.vessels[v.ID]; anew {
		*v, _ = is.words()
		return nil
	}
	return store.Each(ctx, q, `SELECT `+vesselColumns+` FROM vessel v WHERE v.vessel = $1`, []any{v.ID}, func(r *sql.Rows) error {
		return r.Scan(v.scan()...)
	})
}

// words are what its events say of a vessel itself, and when the last visit began.
func (v *anewVessel) words() (Vessel, time.Time) {
	facts, _ := known.Facts(v.events, v.ask.Trust)
	return wordsOf(v.ID, v.ask, facts)
}

// wordsOf takes each word about a vessel from the last fact that has it, and when the
// last visit began (zero: none did).
func wordsOf(vessel string, ask known.Ask, facts []known.Fact) (v Vessel, visited time.Time) {
	v.ID, v.Formerly = vessel, ask.Formerly
	facts = slices.DeleteFunc(slices.Clone(facts), func(f known.Fact) bool {
		return f.Entry.Vessel != vessel && !slices.Contains(ask.Formerly, f.Entry.Vessel)
	})
	slices.SortStableFunc(facts, func(a, b known.Fact) int { return a.Entry.At.Compare(b.Entry.At) })
	for i := range facts {
		e := &facts[i].Entry
		w, _ := ledger.WordsOf(e)
		v.Berth, v.IMO, v.MMSI, v.Hull = cmp.Or(w.Berth, v.Berth), cmp.Or(w.IMO, v.IMO), cmp.Or(w.MMSI, v.MMSI), cmp.Or(w.Hull, v.Hull)
		if e.VisitBegun != nil {
			visited = e.At
		}
	}
	v.Name = known.Named(facts, ask.Seen)
	return v, visited
}

// uses are the devices of vessels worked out anew that ran a release.
func (a *anew) uses(ctx context.Context, q store.Querier, u *ReleaseUse, f Filter) error {
	want := ledger.VersionKey(u.Version)
	for id, v := range a.vessels {
		vessel := Vessel{ID: id}
		if err := a.describe(ctx, q, &vessel); err != nil {
			return err
		}
		if !f.letsBerth(vessel.Berth) {
			continue
		}
		facts, _ := known.Facts(v.events, v.ask.Trust)
		for _, fact := range facts {
			for _, r := range ledger.Readings(&fact.Entry) {
				d := v.Device(r.Device.ID)
				if a.Now(r.Vessel) != id || d == nil || r.Device.Model != u.Model || ledger.VersionKey(r.Version) != want ||
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

// carried are what cards carried of a release for vessels worked out anew.
func (a *anew) carried(ctx context.Context, q store.Querier, u *ReleaseUse, f Filter) (list []ledger.Carried, err error) {
	want := ledger.VersionKey(u.Version)
	for id, v := range a.vessels {
		vessel := Vessel{ID: id}
		if err := a.describe(ctx, q, &vessel); err != nil {
			return nil, err
		}
		facts, _ := known.Facts(v.events, v.ask.Trust)
		for _, fact := range facts {
			for _, c := range ledger.CarriedBy(&fact.Entry) {
				if r := c.Release; a.Now(c.Vessel) == id && r.Model == u.Model && ledger.VersionKey(r.Version) == want && f.letsBerth(vessel.Berth) &&
					f.letsTime(c.At) && (f.Maker == "" || f.Maker == r.Maker) && (f.Technician == "" || f.Technician == fact.Technician()) {
					c.Vessel = id
					list = append(list, c)
				}
			}
		}
	}
	return list, nil
}

// without leaves out the rows of vessels that are worked out anew.
func (a *anew) without(vessel string) bool {
	_, is := a.vessels[a.Now(vessel)]
	return is
}
