package order

import (
	"fmt"
	"slices"

	"cardwright/manifest"
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

// frees describes the change that strikes a fact, if it is one that a person
// may make and if it frees the whole question; or it is empty. A maker's rule
// is never to be skipped.
func (q *question) frees(f fact) string {
	if !slices.Contains([]Kind{KindAsked, KindHold, KindInstalled, KindCatalogue}, f.kind) {
		return ""
	}
	freed := *q
	freed.struck = map[fact]bool{f: true}
	freed.known = true
	p := freed.problem()
	o, ok := p.solve(q.limits.work())
	if o.target == nil {
		freed.known = false
		p = freed.problem()
		o, ok = p.solve(q.limits.work())
	}
	if !ok || o.target == nil {
		return ""
	}
	switch of := f.of.(type) {
	case *manifest.Device:
		return freesDevice(f.kind, of, o)
	case *manifest.Model:
		return q.freesModel(f.kind, of, p, o)
	}
	return ""
}

func freesDevice(kind Kind, d *manifest.Device, o outcome) string {
	switch kind {
	case KindHold:
		return fmt.Sprintf("lift the hold on %s (%s)", d.ID, d.At("hold"))
	case KindAsked:
		return fmt.Sprintf("let %s be updated", d.ID)
	}
	return fmt.Sprintf("exchange %s for one that runs %s", d.ID, o.fitted(d))
}

// fitted is a version that a blank device can begin with.
func (o outcome) fitted(d *manifest.Device) point {
	k := o.walker
	i := slices.IndexFunc(k.p.devices, func(e device) bool { return e.Device == d })
	options := k.p.devices[i].options
	var found point
	for to := 1; to < len(options) && to <= o.target[i]; to++ {
		next := k.p.start()
		next[i] = to
		spare := o.steps - 1 - k.left(next)
		if options[to].fitted && (found == point{} || found.after) && spare >= 0 && k.can(next, spare) {
			found = options[to].point
		}
	}
	return found
}

func (q *question) freesModel(kind Kind, m *manifest.Model, p *problem, o outcome) string {
	if kind == KindAsked {
		return fmt.Sprintf("drop the aim %s of %s", q.ask.Aim[m.ID], m.ID)
	}
	for i, d := range p.devices {
		if at := d.options[o.target[i]]; d.model == m && o.target[i] > 0 && at.release == nil {
			return fmt.Sprintf("add to the catalogue a release of %s that fits, %s", m.ID, named(at.String(), d.Variant))
		}
	}
	return fmt.Sprintf("add to the catalogue a release of %s that its devices can go through", m.ID)
}
