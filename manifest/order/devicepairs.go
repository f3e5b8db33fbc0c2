package order

import "slices"

// Two devices by themselves have few states. What no order of the two alone can
// do, no order of all can: this rules out most ends and most dead ends cheaply.

// pairs lists, for each device, those that it asks something of before a step,
// or that ask something of it, and those that alone can pass something on.
func (p *problem) pairs() [][]int {
	pairs := make([][]int, len(p.devices))
	add := func(i, j int) {
		if !slices.Contains(pairs[i], j) {
			pairs[i] = append(pairs[i], j)
			pairs[j] = append(pairs[j], i)
		}
	}
	for i := range p.devices {
		d := &p.devices[i]
		if len(d.hosts) == 1 && d.hosts[0] != i {
			add(i, d.hosts[0])
		}
		for k := range d.options {
			for _, n := range d.options[k].start {
				add(i, n.on)
			}
		}
	}
	return pairs
}

// pairAllows reports whether device i can go from option a to option to while
// device j is on option b, as far as the two are concerned.
func (p *problem) pairAllows(i, a, to, j, b int) bool {
	d, e := &p.devices[i], &p.devices[j]
	if d.exchanged && a == 0 {
		return d.options[to].canBegin
	}
	o := &d.options[to]
	if e.exchanged && b == 0 || !o.over.has(a) {
		return false
	}
	for k := range o.start {
		switch n := &o.start[k]; {
		case n.on == i && !n.in.has(a), n.on == j && !n.in.has(b):
			return false
		}
	}
	return len(d.hosts) != 1 || d.hosts[0] != j || o.passed[0].has(b)
}

// reachableTogether is, for each option of device i, the options of device j that
// the two can come to from the start.
func (p *problem) reachableTogether(i, j int) []set {
	with := make([]set, len(p.devices[i].options))
	for a := range with {
		with[a] = newSet(len(p.devices[j].options))
	}
	with[0].add(0)
	for a := range with { // devices only rise, so that one pass is enough
		for b := with[a].first(); b >= 0; b = with[a].from(b + 1) {
			for to := b + 1; to < len(p.devices[j].options); to++ {
				if p.pairAllows(j, b, to, i, a) {
					with[a].add(to)
				}
			}
			for to := a + 1; to < len(with); to++ {
				if p.pairAllows(i, a, to, j, b) {
					with[to].add(b)
				}
			}
		}
	}
	return with
}
