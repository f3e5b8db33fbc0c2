package order

import (
	"cmp"
	"fmt"
	"slices"

	"cardwright/manifest"
	"cardwright/manifest/version"
)

// Blocker is something that somebody wrote down, or that is missing, and the vessels
// that can't be served, or only in part, because of it.
type Blocker struct {
	What    string       `json:"what"`
	At      manifest.Pos `json:"at"`
	Vessels []string     `json:"vessels"`
}

// blocking are the kinds of fact that name a release or a hold that is in the way.
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
// plan that says nothing else of it.
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
