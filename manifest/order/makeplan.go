package order

import (
	"fmt"
	"slices"

	"cardwright/manifest"
	"cardwright/manifest/version"
)

// Make plans one vessel's visit: the newest set of releases that fit one
// another and that a safe order leads to. Nothing to do is a plan of no steps;
// where no end can be reached the plan has a Conflict. The error is
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
	return bounded(shop, vessel, ask, standard)
}

// bounded is WhatIf within limits.
func bounded(shop *manifest.Shop, vessel *manifest.Vessel, ask Ask, limits limits) (Plan, error) {
	plan := Plan{
		Format: Format, Vessel: vessel.ID,
		Steps: []Step{}, OutOfService: []OutOfService{}, Cards: []Card{}, Notes: []string{}, Time: Time{Missing: []string{}},
	}
	if err := check(shop, vessel); err != nil {
		return plan, err
	}
	if err := ask.check(shop, vessel); err != nil {
		return plan, err
	}
	if unknown := readings(shop, vessel); len(unknown) > 0 && !ask.Around {
		plan.Unknown = unknown
		return plan.unread(shop, vessel, ask)
	}
	v := visit{shop: shop, vessel: vessel, ask: ask, limits: limits, plan: plan}
	if ask.Within > 0 {
		return v.part()
	}
	err := v.make()
	return v.plan, err
}

// check refuses what the searches couldn't work with.
func check(shop *manifest.Shop, vessel *manifest.Vessel) error {
	if len(vessel.Devices) > maxDevices {
		return &GaveUp{ids(vessel.Devices), fmt.Sprintf("%d devices aboard, and at most %d are planned", len(vessel.Devices), maxDevices)}
	}
	aboard := map[string]int{}
	for _, d := range vessel.Devices {
		aboard[d.Model]++
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
	if n := size(shop, vessel, aboard); n > maxSize {
		return &GaveUp{ids(vessel.Devices), fmt.Sprintf("more than %d rules to weigh", maxSize)}
	}
	return nil
}

// size counts releases and needs, each once for every device that it binds.
func size(shop *manifest.Shop, vessel *manifest.Vessel, aboard map[string]int) int {
	n := 0
	for _, d := range vessel.Devices {
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
	plan   Plan
	parts  []*part
	at     []place
}

func (v *visit) make() error {
	var end map[*manifest.Device]version.V
	if v.ask.Within > 0 {
		versions, err := v.within(v.ask.Within)
		if err != nil {
			return err
		}
		end = map[*manifest.Device]version.V{}
		for _, d := range v.vessel.Devices {
			end[d] = versions[d.ID]
		}
	}
	groups := components(v.shop, v.vessel)
	v.at = make([]place, len(v.vessel.Devices))
	for n, devices := range groups {
		for j, d := range devices {
			v.at[slices.Index(v.vessel.Devices, d)] = place{n, j}
		}
		q := question{shop: v.shop, vessel: v.vessel, devices: devices, ask: v.ask, end: end, limits: v.limits}
		if unknown := unknownOf(devices); len(unknown) > 0 {
			v.leaveOut(&q, LeftOut{Devices: ids(devices), Unknown: unknown})
			continue
		}
		if err := v.solve(&q); err != nil {
			return err
		}
	}
	v.noteInstalled()
	v.noteLeftOut()
	if v.plan.Conflict != nil {
		return nil
	}
	a := newArranger(v.parts, v.at, v.ask.Earlier, v.limits)
	moves, sure := a.order()
	if moves == nil {
		return &GaveUp{ids(v.vessel.Devices), "the order takes too long to find"}
	}
	switch {
	case !sure.calm:
		v.note("the order is safe and as short as can be; whether less time out of service, or fewer card swaps, would do was not settled")
	case !sure.swaps:
		v.note("the order is safe and as short as can be; whether fewer card swaps would do was not settled")
	}
	v.tell(a, moves)
	if v.ask.Within > 0 {
		if v.plan.Time.AtLeast() || v.plan.Time.Minutes() > v.ask.Within {
			return &GaveUp{ids(v.vessel.Devices), "the order of the part takes longer than the part alone"}
		}
	}
	return nil
}

// solve plans one component, or notes its conflict.
func (v *visit) solve(q *question) error {
	p := q.problem()
	o, ok := p.solve(v.limits.work())
	if !ok {
		return &GaveUp{ids(q.devices), fmt.Sprintf("more than %d rules looked at or %d states remembered", v.limits.looks, v.limits.states)}
	}
	if o.target != nil {
		o.walker.work = v.limits.work()
		v.parts = append(v.parts, newPart(o.walker, o.steps))
		return nil
	}
	if v.ask.Around {
		c, sure := q.conflict()
		if !sure {
			v.note("the conflict is proven, but fewer facts may be enough for it")
		}
		v.leaveOut(q, LeftOut{Devices: ids(q.devices), Conflict: c})
		return nil
	}
	if v.plan.Conflict != nil {
		v.note("there is another conflict, apart from the one shown, among %s", list(q.devices))
		return nil
	}
	c, sure := q.conflict()
	v.plan.Conflict = c
	if !sure {
		v.note("the conflict is proven, but fewer facts may be enough for it")
	}
	if len(c.WouldFree) == 0 {
		v.note("no single change frees the conflict")
	}
	return nil
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
