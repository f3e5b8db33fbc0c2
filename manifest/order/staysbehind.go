package order

import (
	"slices"

	"cardwright/manifest"
	"cardwright/manifest/version"
)

// maxStays is how many devices that stay behind are explained at once.
const maxStays = 20

// Stay is a device that doesn't end on its newest release.
type Stay struct {
	Device  string    `json:"device"`
	Ends    version.V `json:"ends"`
	Newest  version.V `json:"newest"`
	Because []Fact    `json:"because"` // together they rule it out
	Instead string    `json:"instead"` // where it could be had: what would be had instead
}

// Stays says of the devices that a plan leaves behind why it does, up to 20 of
// them; more says that there are others. There are none of a plan with a conflict,
// one that is a way back, one without steps before something is read, and one for the
// time that there is: what that leaves for later is given with it. Errors are those of
// WhatIf.
func Stays(shop *manifest.Shop, vessel *manifest.Vessel, ask Ask, plan Plan) (stays []Stay, more bool, err error) {
	if plan.Conflict != nil || plan.WayBack || len(plan.Later) > 0 || len(plan.Unknown) > 0 && len(plan.Steps) == 0 {
		return nil, false, nil
	}
	for _, d := range vessel.Devices {
		if slices.ContainsFunc(plan.LeftOut, func(l LeftOut) bool { return slices.Contains(l.Devices, d.ID) }) {
			continue
		}
		rs := releases(shop.Model(d.Model), d.Variant)
		rs = slices.DeleteFunc(rs, func(r *manifest.Release) bool { return r.Withdrawn != "" })
		if len(rs) == 0 || version.Compare(rs[len(rs)-1].Version, plan.ends(d)) <= 0 {
			continue
		}
		if len(stays) == maxStays {
			return stays, true, nil
		}
		newest := rs[len(rs)-1]
		reason := Reason{Ends: plan.ends(d)}
		if err := reason.explainReleases(shop, vessel, ask, d, newest); err != nil {
			return stays, true, err
		}
		n := reason.Newer[0]
		stays = append(stays, Stay{d.ID, reason.Ends, newest.Version, n.Because, n.Instead})
	}
	return stays, false, nil
}

// BlockedAlone reports whether the devices that alone were asked for get no step because
// something else is in the way.
func BlockedAlone(plan Plan, only []string, stays []Stay) bool {
	return len(plan.Steps) == 0 && slices.ContainsFunc(stays, func(s Stay) bool {
		return slices.Contains(only, s.Device) && len(s.Because) > 0
	})
}
