package order

import (
	"slices"

	"cardwright/manifest"
)

// proof finds facts that rule out every end of a question together, none of
// which could be left out. Earlier ones in the list are kept rather than later ones.
// sure is false where a bound was reached before all could be tried: then fewer
// facts may do.
func (q *question) proof() (kept []fact, sure bool) {
	p := prover{question: *q}
	p.devices = q.devicesOf(fewest(q.models(), func(models []*manifest.Model) bool {
		return p.ruledOut(question{shop: q.shop, devices: q.devicesOf(models), ask: q.ask, end: q.end, limits: q.limits})
	}))
	all := p.facts()
	kept = fewest(all, func(facts []fact) bool {
		return p.ruledOut(p.striking(all, facts))
	})
	return kept, !p.unsure
}

// fewest finds items that are enough, none of which could be left out, where
// all together are and none is not. The method is Junker's (QuickXplain, 2004):
// halve the items, and find what each half adds to the other.
func fewest[T any](items []T, enough func([]T) bool) []T {
	var add func(base []T, more bool, items []T) []T
	add = func(base []T, more bool, items []T) []T {
		if more && enough(base) {
			return nil
		}
		if len(items) == 1 {
			return items
		}
		half := len(items) / 2
		late := add(slices.Concat(base, items[:half]), true, items[half:])
		early := add(slices.Concat(base, late), len(late) > 0, items[:half])
		return slices.Concat(early, late)
	}
	return add(nil, false, items)
}

// prover asks whether questions have no answer, and counts its work over all of them.
type prover struct {
	question
	tested int
	unsure bool
}

// ruledOut reports whether a question is sure to have no answer.
func (p *prover) ruledOut(q question) bool {
	w := p.limits.work()
	o, ok := outcome{}, false
	if p.tested < proofWork*p.limits.ruleTests {
		o, ok = q.problem().solve(w)
	}
	p.tested += w.tested
	p.unsure = p.unsure || !ok
	return ok && o.target == nil
}

// striking is the question with all facts but some struck.
func (q question) striking(all, but []fact) question {
	q.struck = map[fact]bool{}
	for _, f := range all {
		q.struck[f] = true
	}
	for _, f := range but {
		delete(q.struck, f)
	}
	return q
}

// models lists the models aboard, in the order of their first devices.
func (q *question) models() []*manifest.Model {
	var ms []*manifest.Model
	for _, d := range q.devices {
		if m := q.shop.Model(d.Model); !slices.Contains(ms, m) {
			ms = append(ms, m)
		}
	}
	return ms
}

// devicesOf lists the devices of some models.
func (q *question) devicesOf(models []*manifest.Model) []*manifest.Device {
	return slices.DeleteFunc(slices.Clone(q.devices), func(d *manifest.Device) bool {
		return !slices.Contains(models, q.shop.Model(d.Model))
	})
}

// facts lists what people wrote that can rule ends out, beginning with what is
// most easily changed.
func (q *question) facts() []fact {
	l := lister{seen: map[fact]bool{}}
	for i := range q.ask.Back {
		if q.hasDevice(q.ask.Back[i].Device) {
			l.add(KindAsked, &q.ask.Back[i])
		}
	}
	for _, d := range q.devices {
		if q.ask.leaves(d.ID) {
			l.add(KindAsked, d)
		}
		if _, ok := q.ask.Aim[d.Model]; ok {
			l.add(KindAsked, q.shop.Model(d.Model))
		}
	}
	for _, d := range q.devices {
		if len(d.Hold) > 0 {
			l.add(KindHold, d)
		}
	}
	for _, d := range q.devices {
		q.makerRules(d, &l)
	}
	if len(q.ask.Back) > 0 {
		return l.facts // nothing else is installed or published for the sake of a way back
	}
	for _, d := range q.devices {
		l.add(KindInstalled, d)
	}
	for _, d := range q.devices {
		l.add(KindCatalogue, q.shop.Model(d.Model))
	}
	return l.facts
}

// makerRules lists what the maker wrote about a device's model, and how the device
// is updated.
func (q *question) makerRules(d *manifest.Device, l *lister) {
	m := q.shop.Model(d.Model)
	connected := len(d.Through) > 0 && q.hasAll(d.Through)
	for _, r := range releases(m, d.Variant) {
		for _, n := range r.Needs {
			if q.aboard(n.Model) {
				l.add(KindNeed, n)
			}
		}
		if len(r.Over) > 0 {
			l.add(KindOver, r)
		}
		if len(r.PassedOnBy) > 0 && connected {
			l.add(KindPassedOn, r)
		}
		if r.Withdrawn != "" {
			l.add(KindWithdrawn, r)
		}
	}
	if len(q.ask.Back) > 0 {
		q.waysBack(d, l)
	}
	if connected {
		l.add(KindThrough, d)
	}
	if m.Card == nil || m.Route == manifest.ByNobody {
		l.add(KindNoSlot, d)
	}
	if m.Alike {
		l.add(KindAlike, m)
	}
}

func (q *question) aboard(model string) bool {
	return slices.ContainsFunc(q.devices, func(d *manifest.Device) bool { return d.Model == model })
}

func (q *question) hasDevice(id string) bool {
	return slices.ContainsFunc(q.devices, func(d *manifest.Device) bool { return d.ID == id })
}

// hasAll reports whether all these devices are in the question.
func (q *question) hasAll(ids []string) bool {
	for _, id := range ids {
		if !q.hasDevice(id) {
			return false
		}
	}
	return true
}

// lister lists facts, each once.
type lister struct {
	facts []fact
	seen  map[fact]bool
}

func (l *lister) add(kind Kind, of any) {
	if f := (fact{kind, of}); !l.seen[f] {
		l.seen[f] = true
		l.facts = append(l.facts, f)
	}
}
