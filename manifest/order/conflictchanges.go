package order

import (
	"fmt"
	"maps"
	"slices"

	"cardwright/manifest"
	"cardwright/manifest/version"
)

// conflict says why a question has no answer, and what would resolve it.
func (q *question) conflict() (c *Conflict, sure bool) {
	kept, sure := q.proof()
	c = &Conflict{Because: []Fact{}, WouldFree: []string{}, Circle: circleAmong(q, kept)}
	for _, f := range kept {
		c.Because = append(c.Because, describe(q, f))
		if change := changeFor(q, f); change != "" {
			c.WouldFree = append(c.WouldFree, change)
		}
	}
	return c, sure
}

// changeFor describes the change that strikes a fact, if a person may make it and
// it was tried: the conflict's devices can then be planned. Else it is "". Skipping
// a maker's rule is never one.
func changeFor(q *question, f fact) string {
	switch of := f.about.(type) {
	case *manifest.Device:
		switch f.kind {
		case KindHold:
			return liftHold(q, of)
		case KindAsked:
			return letUpdate(q, of)
		case KindInstalled:
			return exchangeDevice(q, of)
		}
	case *manifest.Model:
		switch f.kind {
		case KindAsked:
			return dropAim(q, of)
		case KindCatalogue:
			return addRelease(q, of)
		}
	}
	return ""
}

// canPlan reports whether the conflict's devices can be planned with a change made:
// every group that any of them is in then.
func (q *question) canPlan(shop *manifest.Shop, vessel *manifest.Vessel, ask Ask) bool {
	for _, devices := range connectedGroups(shop, vessel, ask) {
		if !slices.ContainsFunc(devices, func(d *manifest.Device) bool { return slices.Contains(ids(q.devices), d.ID) }) {
			continue
		}
		again := question{shop: shop, vessel: vessel, devices: devices, ask: ask, limits: q.limits}
		if o, ok := again.problem().solve(q.limits.work()); !ok || o.target == nil {
			return false
		}
	}
	return true
}

// vesselWith is the vessel with a device changed.
func (q *question) vesselWith(d *manifest.Device, change func(*manifest.Device)) *manifest.Vessel {
	v := *q.vessel
	v.Devices = slices.Clone(v.Devices)
	for i, e := range v.Devices {
		if e.ID == d.ID {
			changed := *e
			change(&changed)
			v.Devices[i] = &changed
		}
	}
	return &v
}

func liftHold(q *question, d *manifest.Device) string {
	if !q.canPlan(q.shop, q.vesselWith(d, func(e *manifest.Device) { e.Hold = nil }), q.ask) {
		return ""
	}
	return fmt.Sprintf("lift the hold on %s (%s)", d.ID, d.At("hold"))
}

func letUpdate(q *question, d *manifest.Device) string {
	ask := q.ask
	ask.Hold = slices.DeleteFunc(slices.Clone(ask.Hold), func(id string) bool { return id == d.ID })
	if len(ask.Only) > 0 && !slices.Contains(ask.Only, d.ID) {
		ask.Only = append(slices.Clone(ask.Only), d.ID)
	}
	if !q.canPlan(q.shop, q.vessel, ask) {
		return ""
	}
	return fmt.Sprintf("let %s be updated", d.ID)
}

func dropAim(q *question, m *manifest.Model) string {
	ask := q.ask
	ask.Aim = maps.Clone(ask.Aim)
	delete(ask.Aim, m.ID)
	if !q.canPlan(q.shop, q.vessel, ask) {
		return ""
	}
	return fmt.Sprintf("drop the aim for %s to run %s", m.ID, q.ask.Aim[m.ID])
}

// exchangeDevice names the version that another device of the model would have to
// run: the newest release that isn't withdrawn and does, or else a version that the
// catalogue doesn't have.
func exchangeDevice(q *question, d *manifest.Device) string {
	m := q.shop.Model(d.Model)
	var released, others []point
	for _, at := range slices.Backward(points(m, q.devices, q.models(), q.ask)) {
		switch r := m.Release(at.version, d.Variant); {
		case at.after || r == nil:
			others = append(others, at)
		case r.Withdrawn == "":
			released = append(released, at)
		}
	}
	for _, at := range slices.Concat(released, others) {
		v, ok := at.example()
		if ok && version.Compare(v, d.Version) != 0 && q.canPlan(q.shop, q.vesselWith(d, func(e *manifest.Device) { e.Version = v }), q.ask) {
			return fmt.Sprintf("exchange %s for one that runs %s", d.ID, at)
		}
	}
	return ""
}

// addRelease names a release that the catalogue would have to have: one to end on, or
// else one on the way.
func addRelease(q *question, m *manifest.Model) string {
	var variants []string
	for _, d := range q.devices {
		if d.Model == m.ID && !slices.Contains(variants, d.Variant) {
			variants = append(variants, d.Variant)
		}
	}
	var missing []*manifest.Release
	for _, at := range slices.Backward(points(m, q.devices, q.models(), q.ask)) {
		for _, variant := range variants {
			if v, ok := at.example(); ok && m.Release(v, variant) == nil {
				r := &manifest.Release{Version: v, Variant: variant}
				missing = append(missing, r)
				if q.canPlan(q.shopWith(m, r), q.vessel, q.ask) {
					return fmt.Sprintf("add to the catalogue a release of %s that fits, %s", m.ID, named(at.String(), variant))
				}
			}
		}
	}
	if !q.canPlan(q.shopWith(m, missing...), q.vessel, q.ask) {
		return ""
	}
	return fmt.Sprintf("add to the catalogue a release of %s to go through on the way", m.ID)
}

// shopWith is the shop with more releases of a model, which need nothing.
func (q *question) shopWith(m *manifest.Model, more ...*manifest.Release) *manifest.Shop {
	shop := *q.shop
	shop.Models = slices.Clone(shop.Models)
	for i := range shop.Models {
		if shop.Models[i] == m {
			changed := *m
			changed.Releases = slices.Concat(m.Releases, more)
			shop.Models[i] = &changed
		}
	}
	return &shop
}
