package order

import (
	"slices"

	"cardwright/manifest"
)

// proof finds facts that rule out every end of a question together, none of
// which could be left out. Which facts those are depends on the order in which
// they are listed: earlier ones are kept rather than later ones. sure is false
// where the work was over before all could be tried: then some may be more than
// are needed.
//
// The method is Junker's (QuickXplain, 2004): halve the facts, and find what
// each half adds to the other.
func (q *question) proof() (kept []fact, sure bool) {
	p := prover{q: q, all: q.facts(), work: newWork()}
	p.work.maxLooks *= proofWork
	kept = p.add(nil, false, p.all)
	return kept, !p.unsure
}

// proofWork is how many times the work of one search a proof may take.
const proofWork = 4

type prover struct {
	q      *question
	all    []fact
	work   *work
	unsure bool
}

// add is what facts have to be added to base, with more being what was added
// to it last, for nothing to be left.
func (p *prover) add(base []fact, more bool, facts []fact) []fact {
	if more && p.ruledOut(base) {
		return nil
	}
	if len(facts) == 1 {
		return facts
	}
	half := len(facts) / 2
	late := p.add(slices.Concat(base, facts[:half]), half > 0, facts[half:])
	early := p.add(slices.Concat(base, late), len(late) > 0, facts[:half])
	return slices.Concat(early, late)
}

// ruledOut tells whether these facts alone leave no end.
func (p *prover) ruledOut(facts []fact) bool {
	q := *p.q
	q.struck = map[fact]bool{}
	for _, f := range p.all {
		q.struck[f] = true
	}
	for _, f := range facts {
		delete(q.struck, f)
	}
	if p.work.over() {
		p.unsure = true
		return false
	}
	w := newWork()
	o, ok := q.problem().solve(w)
	p.work.looks += w.looks
	if !ok {
		p.unsure = true
	}
	return ok && o.target == nil
}

// facts lists what people wrote that can rule ends out, beginning with what is
// most easily changed.
func (q *question) facts() []fact {
	l := lister{seen: map[fact]bool{}}
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
		q.rulesOf(d, &l)
	}
	for _, d := range q.devices {
		l.add(KindInstalled, d)
	}
	for _, d := range q.devices {
		l.add(KindCatalogue, q.shop.Model(d.Model))
	}
	return l.facts
}

// rulesOf lists what the maker wrote about a device's model, and how the device
// is updated.
func (q *question) rulesOf(d *manifest.Device, l *lister) {
	m := q.shop.Model(d.Model)
	for _, r := range releases(m, d.Variant) {
		for _, n := range r.Needs {
			if q.aboard(n.Model) {
				l.add(KindNeed, n)
			}
		}
		if len(r.Over) > 0 {
			l.add(KindOver, r)
		}
		if len(r.PassedOnBy) > 0 && len(d.Through) > 0 {
			l.add(KindPassedOn, r)
		}
		if r.Withdrawn != "" {
			l.add(KindWithdrawn, r)
		}
	}
	if len(d.Through) > 0 {
		l.add(KindThrough, d)
	}
	if m.Card == nil {
		l.add(KindNoSlot, d)
	}
	if m.Alike {
		l.add(KindAlike, m)
	}
}

func (q *question) aboard(model string) bool {
	return slices.ContainsFunc(q.devices, func(d *manifest.Device) bool { return d.Model == model })
}

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
