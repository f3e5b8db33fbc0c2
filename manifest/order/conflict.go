package order

import (
	"fmt"
	"slices"
	"strings"

	"cardwright/manifest"
	"cardwright/manifest/version"
)

// conflict strikes facts one by one for as long as nothing fits, and tells
// those that are left, with what the devices they speak of run.
func conflict(shop *manifest.Shop, vessel *manifest.Vessel, p *problem) *Conflict {
	struck := map[fact]bool{}
	var left []fact
	for _, f := range p.facts() {
		struck[f] = true
		q, err := ask(shop, vessel, struck)
		if err != nil || q.raiseOnly() != nil || q.newest() != nil {
			delete(struck, f)
			left = append(left, f)
		}
	}
	c := &Conflict{Because: []Fact{}, WouldFree: []string{}}
	for _, f := range left {
		c.Because = append(c.Because, p.say(f))
		if d, ok := f.of.(*manifest.Device); ok && f.kind == factHold {
			c.WouldFree = append(c.WouldFree, fmt.Sprintf("lift the hold on %s (%s)", d.ID, d.At("hold")))
		}
	}
	p.installed(left, c)
	return c
}

// facts lists what people wrote that can rule a plan out.
func (p *problem) facts() []fact {
	var fs []fact
	seen := map[fact]bool{}
	add := func(kind string, of any) {
		if f := (fact{kind, of}); !seen[f] {
			seen[f] = true
			fs = append(fs, f)
		}
	}
	for i := range p.devices {
		d := &p.devices[i]
		for _, r := range newer(d.model, d.Device) {
			add(factWithdrawn, r)
			add(factOver, r)
			add(factPassedOn, r)
			for _, n := range r.Needs {
				add(factNeed, n)
			}
		}
		add(factThrough, d.Device)
		add(factNoSlot, d.Device)
		add(factAlike, d.model)
		add(factHold, d.Device)
		if r := d.options[0].release; r != nil {
			for _, n := range r.Needs {
				add(factNeed, n)
			}
		}
	}
	return fs
}

func (p *problem) say(f fact) Fact {
	switch of := f.of.(type) {
	case *manifest.Need:
		model, r := p.whose(of)
		return Fact{fmt.Sprintf("%s %s needs %s %s %s", model, r.Version, of.Model, of.Version, by(of)), of.At("version")}
	case *manifest.Release:
		return p.sayRelease(f.kind, of)
	case *manifest.Model:
		return Fact{fmt.Sprintf("all %s aboard run one version", of.ID), of.At("alike")}
	}
	d := f.of.(*manifest.Device)
	switch f.kind {
	case factHold:
		return Fact{fmt.Sprintf("%s is kept to %s%s", d.ID, d.Hold, because(d.HoldWhy)), d.At("hold")}
	case factThrough:
		return Fact{fmt.Sprintf("%s is updated through %s", d.ID, strings.Join(d.Through, " or ")), d.At("through")}
	default:
		return Fact{fmt.Sprintf("%s has no card slot and is updated through no other device", d.ID), d.At("")}
	}
}

func (p *problem) sayRelease(kind string, r *manifest.Release) Fact {
	model := p.model(r).ID
	switch kind {
	case factOver:
		return Fact{fmt.Sprintf("%s %s is installed over %s", model, r.Version, r.Over), r.At("over")}
	case factPassedOn:
		return Fact{fmt.Sprintf("%s %s is passed on by a device that runs %s", model, r.Version, r.PassedOnBy), r.At("passed_on_by")}
	default:
		return Fact{fmt.Sprintf("%s %s was withdrawn: %s", model, r.Version, r.Withdrawn), r.At("withdrawn")}
	}
}

func by(n *manifest.Need) string {
	if n.By == manifest.ByStart {
		return "before it is installed"
	}
	return "when the visit ends"
}

func because(why string) string {
	if why == "" {
		return ""
	}
	return ": " + why
}

func (p *problem) whose(n *manifest.Need) (model string, r *manifest.Release) {
	for i := range p.devices {
		for _, r := range p.devices[i].model.Releases {
			for _, m := range r.Needs {
				if m == n {
					return p.devices[i].Model, r
				}
			}
		}
	}
	panic("a need of no release aboard")
}

func (p *problem) model(r *manifest.Release) *manifest.Model {
	for i := range p.devices {
		for _, s := range p.devices[i].model.Releases {
			if s == r {
				return p.devices[i].model
			}
		}
	}
	panic("a release of no model aboard")
}

// installed adds what the devices run that the facts speak of, and the newest
// that the catalogue has for them.
func (p *problem) installed(facts []fact, c *Conflict) {
	about := map[string]bool{}
	for _, f := range facts {
		switch of := f.of.(type) {
		case *manifest.Need:
			model, _ := p.whose(of)
			about[model], about[of.Model] = true, true
		case *manifest.Release:
			about[p.model(of).ID] = true
		case *manifest.Model:
			about[of.ID] = true
		case *manifest.Device:
			about[of.Model] = true
		}
	}
	for i := range p.devices {
		d := &p.devices[i]
		if !about[d.Model] {
			continue
		}
		c.Because = append(c.Because, Fact{fmt.Sprintf("%s runs %s %s", d.ID, d.Model, d.Device.Version), d.At("version")})
		last := d.options[len(d.options)-1].version
		free := fmt.Sprintf("a release of %s newer than %s that fits, in the catalogue (%s)", d.Model, last, d.model.At("releases"))
		if version.Compare(last, d.Device.Version) >= 0 && !slices.Contains(c.WouldFree, free) {
			c.WouldFree = append(c.WouldFree, free)
		}
	}
}
