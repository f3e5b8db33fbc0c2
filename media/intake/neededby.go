package intake

import (
	"errors"
	"fmt"
	"slices"
	"strings"

	"cardwright/manifest"
	"cardwright/manifest/order"
	"cardwright/manifest/problem"
	"cardwright/manifest/version"
)

// neededBy is which vessels need which releases, by their plans.
type neededBy struct {
	Unplanned []Unplanned // vessels for which nothing is planned
	vessels   map[*manifest.Release][]string
}

// Unplanned is a vessel without a plan, and why in a few words.
type Unplanned struct {
	Vessel string `json:"vessel"`
	Why    string `json:"why"`
	NoFile bool   `json:"no_file,omitempty"` // it has one, with a release of which the catalogue has no file
}

// needsOf plans the visits of these vessels. Where versions are unknown a vessel
// needs what any of its likely plans takes.
func needsOf(shop *manifest.Shop, vessels []*manifest.Vessel, words problem.Words) neededBy {
	n := neededBy{vessels: map[*manifest.Release][]string{}}
	for _, v := range vessels {
		plan, err := order.Make(shop, v)
		var unread *order.Unread
		if err != nil && !errors.As(err, &unread) {
			n.Unplanned = append(n.Unplanned, Unplanned{Vessel: v.ID, Why: err.Error()})
			continue
		}
		n.leftOut(v, plan, words)
		for _, a := range plan.Answers {
			n.take(shop, v, a.Then)
		}
		n.take(shop, v, plan)
	}
	return n
}

// leftOut notes what a plan leaves out.
func (n *neededBy) leftOut(v *manifest.Vessel, plan order.Plan, words problem.Words) {
	if len(plan.Unknown) > 0 {
		n.Unplanned = append(n.Unplanned, Unplanned{Vessel: v.ID, Why: (&order.Unread{Devices: plan.Unknown}).Error()})
	}
	for _, l := range plan.LeftOut {
		switch {
		case l.Conflict != nil && plan.Conflict != nil:
			n.Unplanned = append(n.Unplanned, Unplanned{Vessel: v.ID, Why: "no safe order: see " + words.For(SeePlan, v.ID)})
			return // once is enough
		case l.Conflict != nil:
			n.Unplanned = append(n.Unplanned, Unplanned{Vessel: v.ID, Why: "no safe order for " + strings.Join(l.Devices, ", ") + ": see " + words.For(SeePlan, v.ID)})
		case l.GaveUp != "":
			n.Unplanned = append(n.Unplanned, Unplanned{Vessel: v.ID, Why: "no plan for " + strings.Join(l.Devices, ", ") + ": " + l.GaveUp})
		}
	}
}

func (n *neededBy) take(shop *manifest.Shop, v *manifest.Vessel, plan order.Plan) {
	for _, s := range plan.Steps {
		d, m := v.Device(s.Device), shop.Model(s.Model)
		if d == nil || m == nil {
			continue
		}
		r := m.Release(s.To, d.Variant)
		if r == nil || slices.Contains(n.vessels[r], v.ID) {
			continue
		}
		n.vessels[r] = append(n.vessels[r], v.ID)
		if len(r.Files) == 0 && s.Route != manifest.ByMaker { // the maker brings his own
			n.Unplanned = append(n.Unplanned, Unplanned{v.ID, NoFile(s), true})
		}
	}
}

// NoFile says that a step has no file for a card.
func NoFile(s order.Step) string {
	return fmt.Sprintf("the catalogue has no file for %s %s, which %s needs", s.Model, s.To, s.Device)
}

// vesselsFor are the ids of the vessels that need a release.
func (n neededBy) vesselsFor(r *manifest.Release) []string { return n.vessels[r] }

// useful reports whether a release may still be wanted: a vessel needs it, a device
// runs it (it is the way back), or runs something older.
func useful(shop *manifest.Shop, needs neededBy, m *manifest.Model, r *manifest.Release) bool {
	if len(needs.vesselsFor(r)) > 0 {
		return true
	}
	for _, v := range shop.Vessels {
		for _, d := range v.Devices {
			if d.Model != m.ID || d.Variant != r.Variant {
				continue
			}
			if d.Version == version.Unknown || version.Compare(d.Version, r.Version) <= 0 && r.Withdrawn == "" {
				return true
			}
		}
	}
	return false
}

// Needed is the part of an inventory that some vessel needs.
func (inv Inventory) Needed() Inventory {
	needed := Inventory{Unplanned: inv.Unplanned}
	for _, c := range inv.Files {
		if len(c.NeededBy) > 0 {
			needed.Files = append(needed.Files, c)
		}
	}
	return needed
}
