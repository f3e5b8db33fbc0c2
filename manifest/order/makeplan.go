package order

import (
	"fmt"

	"cardwright/manifest"
	"cardwright/manifest/version"
)

// Make plans one vessel's visit: the newest set of releases that fit one
// another and that a safe order leads to. Nothing to do is a plan of no steps.
// What can't be planned stays as it is, and the rest is planned around it: see
// Plan.LeftOut. Where nothing is left to be done around it, the plan has a
// Conflict, or the error is
//
//   - *Unread where a version is unknown: the plan then says what to read and
//     what follows from what is found;
//   - *GaveUp where a bound of the search was reached;
//   - another where vessel and catalogue don't belong together.
func Make(shop *manifest.Shop, vessel *manifest.Vessel) (Plan, error) {
	return WhatIf(shop, vessel, Ask{})
}

// WhatIf is Make for what was asked. A *BadAsk error says that it names
// something that isn't there.
func WhatIf(shop *manifest.Shop, vessel *manifest.Vessel, ask Ask) (Plan, error) {
	return whatIf(shop, vessel, ask, standard)
}

// whatIf is WhatIf within limits.
func whatIf(shop *manifest.Shop, vessel *manifest.Vessel, ask Ask, limits limits) (Plan, error) {
	v := visit{shop: shop, vessel: vessel, ask: ask, limits: limits, plan: Plan{
		Format: Format, Vessel: vessel.ID,
		Steps: []Step{}, OutOfService: []OutOfService{}, Cards: []Card{}, Notes: []string{}, Time: Time{Missing: []string{}},
		WayBack: len(ask.Back) > 0,
	}}
	if err := validate(shop, vessel); err != nil {
		return v.plan, err
	}
	if err := ask.validate(shop, vessel); err != nil {
		return v.plan, err
	}
	if ask.Undo {
		ask.Undo = false
		plan, err := whatIf(shop, vessel, ask, limits)
		if err != nil || plan.Conflict != nil {
			return plan, err
		}
		return Undo(shop, vessel, plan), nil
	}
	if ask.Within > 0 {
		return v.planPart()
	}
	err := v.planAll()
	return v.plan, err
}

// validate refuses what the searches couldn't work with.
func validate(shop *manifest.Shop, vessel *manifest.Vessel) error {
	if len(vessel.Devices) > maxAboard {
		return &GaveUp{ids(vessel.Devices), fmt.Sprintf("%d devices aboard, and at most %d can be planned", len(vessel.Devices), maxAboard)}
	}
	for _, d := range vessel.Devices {
		if vessel.Device(d.ID) != d {
			return fmt.Errorf("%s: another device is called %s", d.At("id"), d.ID)
		}
		if shop.Model(d.Model) == nil {
			return fmt.Errorf("%s: device %s is of model %s, which the catalogue doesn't have", d.At("model"), d.ID, d.Model)
		}
		for _, id := range d.Through {
			if vessel.Device(id) == nil {
				return fmt.Errorf("%s: device %s is updated through %s, which is not aboard", d.At("through"), d.ID, id)
			}
		}
	}
	return nil
}

// tooLarge refuses more connected devices, or more rules, than the searches are for.
func (q *question) tooLarge() *GaveUp {
	if n := len(q.devices); n > maxDevices {
		return &GaveUp{ids(q.devices), fmt.Sprintf("%d connected devices, and at most %d can be planned at once", n, maxDevices)}
	}
	if ruleCount(q.shop, q.devices) > maxSize {
		return &GaveUp{ids(q.devices), fmt.Sprintf("more than %d rules of releases for each other", maxSize)}
	}
	return nil
}

// ruleCount counts releases and needs, each once for every device that it binds.
func ruleCount(shop *manifest.Shop, devices []*manifest.Device) int {
	aboard := map[string]int{}
	for _, d := range devices {
		aboard[d.Model]++
	}
	n := 0
	for _, d := range devices {
		rs := releases(shop.Model(d.Model), d.Variant)
		n += len(rs) * len(rs)
		for _, r := range rs {
			for _, need := range r.Needs {
				n += aboard[need.Model] * len(rs)
			}
		}
	}
	return n
}

// visit is a plan in the making.
type visit struct {
	shop   *manifest.Shop
	vessel *manifest.Vessel
	ask    Ask
	limits limits
	end    map[*manifest.Device]version.V // where a part for the time is planned
	plan   Plan
	groups []*groupState
	places []place // for each device
}

// planAll plans the groups of connected devices, then brings their steps into one
// order.
func (v *visit) planAll() error {
	v.places = make([]place, len(v.vessel.Devices))
	gaveUp := v.planGroups()
	v.noteInstalled()
	if len(v.ask.Back) > 0 && len(v.plan.LeftOut) > 0 { // a way back is asked for whole
		return v.endWithoutSteps(gaveUp)
	}
	a := newArranger(v.groups, v.places, v.ask.Earlier == SwapsOnly, v.limits)
	moves, sure := a.order()
	if moves == nil {
		return &GaveUp{ids(v.vessel.Devices), "the order takes too long to find"}
	}
	if len(moves) == 0 && len(v.plan.LeftOut) > 0 && v.ask.Within == 0 {
		return v.endWithoutSteps(gaveUp)
	}
	v.noteLeftOut()
	switch {
	case !sure.outage:
		v.note("the order is safe and as short as can be; whether another order has less time out of service, or fewer card swaps, was not settled")
	case !sure.swaps:
		v.note("the order is safe and as short as can be; whether another order has fewer card swaps was not settled")
	}
	v.writeSteps(a, moves)
	v.fillAnswers()
	return nil
}

// planGroups plans group by group; one that can't be planned stays as it is. gaveUp
// is why the first was given up on.
func (v *visit) planGroups() (gaveUp *GaveUp) {
	index := map[*manifest.Device]int{}
	for i, d := range v.vessel.Devices {
		index[d] = i
	}
	before := v.plan.LeftOut // from the plan of the whole, where this is one for the time
	v.plan.LeftOut = nil
	for n, devices := range connectedGroups(v.shop, v.vessel, v.ask) {
		for j, d := range devices {
			v.places[index[d]] = place{n, j}
		}
		q := question{shop: v.shop, vessel: v.vessel, devices: devices, ask: v.ask, end: v.end, limits: v.limits}
		left := leftOutOf(before, devices[0].ID)
		g := (*groupState)(nil)
		switch {
		case len(v.ask.Back) > 0 && !v.ask.goingBack(devices):
			g = q.idle(&LeftOut{}) // it stays as it is, which makes no part of a way back
		case left == nil:
			left, g = v.planGroup(&q)
		}
		if left != nil {
			v.plan.LeftOut = append(v.plan.LeftOut, *left)
			g = q.idle(left)
			if left.gaveUp != nil && gaveUp == nil {
				gaveUp = left.gaveUp
			}
		}
		v.groups = append(v.groups, g)
	}
	return gaveUp
}

// planGroup plans one group, or says why it is left out.
func (v *visit) planGroup(q *question) (*LeftOut, *groupState) {
	left := LeftOut{Devices: ids(q.devices)}
	if left.Unknown = unknownOf(q.devices); len(left.Unknown) > 0 {
		return &left, nil
	}
	if left.gaveUp = q.tooLarge(); left.gaveUp == nil {
		o, ok := q.problem().solve(v.limits.work())
		switch {
		case !ok:
			left.gaveUp = &GaveUp{left.Devices, fmt.Sprintf("more than %d tests of rules, or %d states", v.limits.ruleTests, v.limits.states)}
		case o.target != nil:
			o.walker.work = v.limits.work()
			return nil, newGroupState(o.walker, o.steps)
		}
	}
	if left.gaveUp != nil {
		left.GaveUp = left.gaveUp.What
		return &left, nil
	}
	c, sure := q.conflict()
	left.Conflict = c
	if !sure {
		v.note("the conflict is certain, but not all of its facts may be needed for it")
	}
	return &left, nil
}

// unknownOf lists the devices whose version is unknown.
func unknownOf(devices []*manifest.Device) (unknown []string) {
	for _, d := range devices {
		if d.Version == version.Unknown || d.Version == "" {
			unknown = append(unknown, d.ID)
		}
	}
	return unknown
}
