package order

import (
	"fmt"
	"maps"
	"slices"

	"cardwright/manifest"
	"cardwright/manifest/version"
)

// conflict tells why a question has no answer, and what would free it.
func (q *question) conflict() (c *Conflict, sure bool) {
	kept, sure := q.proof()
	c = &Conflict{Because: []Fact{}, WouldFree: []string{}, Circle: q.circle(kept)}
	for _, f := range kept {
		c.Because = append(c.Because, q.say(f))
		if change := q.frees(f); change != "" {
			c.WouldFree = append(c.WouldFree, change)
		}
	}
	return c, sure
}

// frees describes the change that strikes a fact, if it is one that a person may
// make and if a plan made with it has no conflict where this one is; or it is
// empty. A maker's rule is never to be skipped.
func (q *question) frees(f fact) string {
	switch of := f.of.(type) {
	case *manifest.Device:
		switch f.kind {
		case KindHold:
			return q.lifting(of)
		case KindAsked:
			return q.letting(of)
		case KindInstalled:
			return q.exchanging(of)
		}
	case *manifest.Model:
		switch f.kind {
		case KindAsked:
			return q.dropping(of)
		case KindCatalogue:
			return q.adding(of)
		}
	}
	return ""
}

// planned tells whether, with a change made, the conflict's devices can be
// planned: every group that any of them is in then.
func (q *question) planned(shop *manifest.Shop, vessel *manifest.Vessel, ask Ask) bool {
	for _, devices := range components(shop, vessel, ask) {
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

// with is the vessel with a device changed.
func (q *question) with(d *manifest.Device, change func(*manifest.Device)) *manifest.Vessel {
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

func (q *question) lifting(d *manifest.Device) string {
	if !q.planned(q.shop, q.with(d, func(e *manifest.Device) { e.Hold = nil }), q.ask) {
		return ""
	}
	return fmt.Sprintf("lift the hold on %s (%s)", d.ID, d.At("hold"))
}

func (q *question) letting(d *manifest.Device) string {
	ask := q.ask
	ask.Hold = slices.DeleteFunc(slices.Clone(ask.Hold), func(id string) bool { return id == d.ID })
	if len(ask.Only) > 0 && !slices.Contains(ask.Only, d.ID) {
		ask.Only = append(slices.Clone(ask.Only), d.ID)
	}
	if !q.planned(q.shop, q.vessel, ask) {
		return ""
	}
	return fmt.Sprintf("let %s be updated", d.ID)
}

func (q *question) dropping(m *manifest.Model) string {
	ask := q.ask
	ask.Aim = maps.Clone(ask.Aim)
	delete(ask.Aim, m.ID)
	if !q.planned(q.shop, q.vessel, ask) {
		return ""
	}
	return fmt.Sprintf("drop the aim %s of %s", q.ask.Aim[m.ID], m.ID)
}

// exchanging names the version that another device of the model would have to
// run: of the newest release that isn't withdrawn, or else of none that the catalogue
// has.
func (q *question) exchanging(d *manifest.Device) string {
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
		if ok && version.Compare(v, d.Version) != 0 && q.planned(q.shop, q.with(d, func(e *manifest.Device) { e.Version = v }), q.ask) {
			return fmt.Sprintf("exchange %s for one that runs %s", d.ID, at)
		}
	}
	return ""
}

// adding names a release that the catalogue would have to have: one that fits, or
// else what devices can go through.
func (q *question) adding(m *manifest.Model) string {
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
				if q.planned(q.having(m, r), q.vessel, q.ask) {
					return fmt.Sprintf("add to the catalogue a release of %s that fits, %s", m.ID, named(at.String(), variant))
				}
			}
		}
	}
	if !q.planned(q.having(m, missing...), q.vessel, q.ask) {
		return ""
	}
	return fmt.Sprintf("add to the catalogue a release of %s that its devices can go through", m.ID)
}

// having is the shop with more releases of a model, which need nothing.
func (q *question) having(m *manifest.Model, more ...*manifest.Release) *manifest.Shop {
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
