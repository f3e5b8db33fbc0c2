package order

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"cardwright/manifest"
	"cardwright/manifest/version"
)

// UsualDay is how many minutes a day of work has where the shop doesn't say.
const UsualDay = 8 * 60

// Day is a day of work: vessels at one place that can be served in it, in the order
// of their berths. The way from one place to another is not counted.
type Day struct {
	Number  int      `json:"number"` // from 1
	Place   string   `json:"place"`  // "" where no berth is written down
	Vessels []string `json:"vessels"`
	Minutes int      `json:"minutes"`
	AtLeast bool     `json:"at_least,omitempty"` // nobody wrote down how long some of it takes
	Days    int      `json:"days"`               // that it takes: more than 1 for a vessel whose work is longer than a day
}

// Days puts the vessels of a fleet for which there are steps into days of so many
// minutes: place by place, along the berths, each into the first day there that still
// has the time.
func Days(fleet []Standing, minutes int) []Day {
	var due []Standing
	for _, s := range fleet {
		if s.Steps > 0 {
			due = append(due, s)
		}
	}
	slices.SortStableFunc(due, func(a, b Standing) int {
		return cmp.Or(cmp.Compare(harbour(a.Berth), harbour(b.Berth)), cmp.Compare(a.Berth, b.Berth))
	})
	var days []Day
	for _, s := range due {
		i := slices.IndexFunc(days, func(d Day) bool {
			return d.Place != "" && d.Place == harbour(s.Berth) && d.Days == 1 && d.Minutes+s.Minutes <= minutes
		})
		if i < 0 {
			i = len(days)
			days = append(days, Day{Place: harbour(s.Berth), Days: max(1, (s.Minutes+minutes-1)/minutes)})
		}
		d := &days[i]
		d.Vessels = append(d.Vessels, s.Vessel)
		d.Minutes += s.Minutes
		d.AtLeast = d.AtLeast || s.AtLeast
	}
	number := 1
	for i := range days {
		days[i].Number = number
		number += days[i].Days
	}
	return days
}

// harbour is the part of a berth before the first comma: Hollin Quay of "Hollin Quay,
// C 14".
func harbour(berth string) string {
	before, _, _ := strings.Cut(berth, ",")
	return strings.TrimSpace(before)
}

// Blocker is something that somebody wrote down, or that is missing, and the vessels
// that can't be served, or only in part, because of it.
type Blocker struct {
	What    string       `json:"what"`
	At      manifest.Pos `json:"at"`
	Vessels []string     `json:"vessels"`
}

// blocking are the kinds of fact that tell a release or a hold that is in the way.
var blocking = []Kind{KindNeed, KindOver, KindPassedOn, KindWithdrawn, KindHold, KindAlike, KindAsked}

// Blockers are what conflicts of a fleet come from, and versions that nobody has
// read: what blocks the most vessels first.
func Blockers(fleet []Standing) []Blocker {
	var all []Blocker
	for _, s := range fleet {
		for _, r := range s.Plan.Unknown {
			all = Block(all, s.Vessel, "the version of "+r.Device+" is unknown", r.At)
		}
		for _, l := range s.Plan.LeftOut {
			if l.Conflict == nil {
				continue
			}
			for _, f := range l.Conflict.Because {
				if slices.Contains(blocking, f.Kind) {
					all = Block(all, s.Vessel, f.Fact, f.At)
				}
			}
		}
	}
	return MostFirst(all)
}

// Holding are the customer's holds that keep a device from its newest release in a
// plan where nothing else is told of it.
func Holding(shop *manifest.Shop, vessel *manifest.Vessel, plan Plan) (facts []Fact) {
	for _, d := range vessel.Devices {
		if shop.Model(d.Model) == nil || d.Version == version.Unknown ||
			slices.ContainsFunc(plan.LeftOut, func(l LeftOut) bool { return slices.Contains(l.Devices, d.ID) }) {
			continue
		}
		for _, r := range slices.Backward(releases(shop.Model(d.Model), d.Variant)) {
			if r.Withdrawn != "" {
				continue
			}
			if !d.Hold.Allows(r.Version) && version.Compare(r.Version, plan.ends(d)) > 0 {
				facts = append(facts, Fact{fmt.Sprintf("hold keeps %s on %s, not on %s: %s", d.ID, plan.ends(d), r.Version, d.Hold), d.At("hold"), KindHold})
			}
			break
		}
	}
	return facts
}

// Block notes that something blocks a vessel.
func Block(all []Blocker, vessel, what string, at manifest.Pos) []Blocker {
	i := slices.IndexFunc(all, func(b Blocker) bool { return b.What == what && b.At == at })
	if i < 0 {
		return append(all, Blocker{what, at, []string{vessel}})
	}
	if !slices.Contains(all[i].Vessels, vessel) {
		all[i].Vessels = append(all[i].Vessels, vessel)
	}
	return all
}

// MostFirst sorts by how many vessels are blocked.
func MostFirst(all []Blocker) []Blocker {
	slices.SortStableFunc(all, func(a, b Blocker) int { return cmp.Compare(len(b.Vessels), len(a.Vessels)) })
	return all
}
