package order

import "slices"

// fitter finds states that a visit may end in, newest first, without asking for
// more of an order than that any two devices have one: branch and bound over the
// devices in the order of the file, with arc consistency. Devices are variables
// here, options their values.
type fitter struct {
	p    *problem
	arcs [][]arc // from each device
	work *work
	best fit // the newest found so far in this round
	past fit // only what comes after this one counts
}

// arc says which options of another device go with each option of one.
type arc struct {
	to   int
	with []set
}

// fit is a state that fits, with what it is preferred by.
type fit struct {
	state         state
	sum, displays int // releases behind
	back          bool
}

func newFitter(p *problem, w *work) *fitter {
	f := &fitter{p: p, arcs: make([][]arc, len(p.devices)), work: w}
	for i := range p.devices {
		for k := range p.devices[i].options {
			for _, n := range p.devices[i].options[k].end {
				f.relate(i, k, n.on, n.in)
			}
		}
	}
	for i, bound := range p.pairs() {
		for _, j := range bound {
			if i < j && !w.over() {
				f.relatePair(i, j)
			}
		}
	}
	for _, group := range p.alike {
		for k := 1; k < len(group); k++ {
			f.relateAlike(group[k-1], group[k])
		}
	}
	return f
}

// relate notes that option k of device i goes only with these of device j.
func (f *fitter) relate(i, k, j int, with set) {
	if i == j {
		if !with.has(k) {
			f.p.devices[i].options[k].last = false
		}
		return
	}
	f.arc(i, j).with[k].intersect(with)
	back := f.arc(j, i)
	for b := range back.with {
		if !with.has(b) {
			back.with[b].drop(k)
		}
	}
}

// relatePair notes what two devices can come to by themselves.
func (f *fitter) relatePair(i, j int) {
	f.work.test(len(f.p.devices[i].options) * len(f.p.devices[j].options))
	for k, with := range f.p.reachableTogether(i, j) {
		f.relate(i, k, j, with)
	}
}

func (f *fitter) relateAlike(i, j int) {
	for k := range f.p.devices[i].options {
		with := newSet(len(f.p.devices[j].options))
		for l := range f.p.devices[j].options {
			if f.p.same(i, k, j, l) {
				with.add(l)
			}
		}
		f.relate(i, k, j, with)
	}
}

// arc is the arc from i to j, made when it is first asked for.
func (f *fitter) arc(i, j int) *arc {
	for k := range f.arcs[i] {
		if f.arcs[i][k].to == j {
			return &f.arcs[i][k]
		}
	}
	a := arc{to: j, with: make([]set, len(f.p.devices[i].options))}
	for k := range a.with {
		a.with[k] = allBelow(len(f.p.devices[j].options))
	}
	f.arcs[i] = append(f.arcs[i], a)
	return &f.arcs[i][len(f.arcs[i])-1]
}

// next is the newest state that fits after the last one given, or nil.
func (f *fitter) next() state {
	f.best = fit{}
	open := make([]set, len(f.p.devices))
	all := make([]int, len(f.p.devices))
	for i := range f.p.devices {
		open[i] = newSet(len(f.p.devices[i].options))
		for k, o := range f.p.devices[i].options {
			if o.last {
				open[i].add(k)
			}
		}
		all[i] = i
	}
	if f.narrow(open, all, nil) {
		f.branch(open, 0)
	}
	f.past = f.best
	return f.best.state
}

// branch tries what is open for device i and those after it, newest first.
func (f *fitter) branch(open []set, i int) {
	least := f.p.score(f.preferred(open))
	if f.best.state != nil && !least.newer(f.best) || f.work.over() {
		return
	}
	for i < len(open) && open[i].count() == 1 {
		i++
	}
	if i == len(open) {
		if f.past.state == nil || f.past.before(least) {
			f.best = least
		}
		return
	}
	reached := furthest(open)
	for k := f.newest(open[i]); k >= 0; k = f.newest(open[i]) {
		open[i].drop(k)
		child := f.p.emptySets()
		for j := range open {
			if j != i {
				copy(child[j], open[j])
			}
		}
		child[i].add(k)
		if f.narrow(child, []int{i}, reached) {
			f.branch(child, i+1)
		}
	}
}

// score is a state with what it is preferred by.
func (p *problem) score(s state) fit {
	v := fit{state: s, back: p.back}
	for i := range s {
		v.sum += p.devices[i].options[s[i]].behind
		if p.devices[i].display {
			v.displays += p.devices[i].options[s[i]].behind
		}
	}
	return v
}

// newer compares sums; what has the same ones is found in the order of the
// file.
func (a fit) newer(b fit) bool {
	return a.sum < b.sum || a.sum == b.sum && a.displays < b.displays
}

// before reports whether a is preferred to b.
func (a fit) before(b fit) bool {
	if a.newer(b) || b.newer(a) {
		return a.newer(b)
	}
	for i := range a.state {
		if a.state[i] != b.state[i] {
			return (a.state[i] > b.state[i]) != a.back
		}
	}
	return false
}

// narrow takes out what can't be the end together with what else is open,
// beginning with the devices that changed. It is false when a device has nothing
// left. reached says up to where each device was when it was last asked what can
// be reached.
func (f *fitter) narrow(open []set, changed []int, reached state) bool {
	for len(changed) > 0 {
		if !f.consistent(open, changed) {
			return false
		}
		limit := furthest(open)
		if slices.Equal(limit, reached) {
			return true
		}
		changed, reached = f.unreached(open, limit), limit
	}
	return true
}

// preferred is, for each device, the option that it would end on were it alone: the
// newest, which on a way back is the first.
func (f *fitter) preferred(open []set) state {
	s := make(state, len(open))
	for i := range open {
		s[i] = f.newest(open[i])
	}
	return s
}

func (f *fitter) newest(open set) int {
	if f.p.back {
		return open.first()
	}
	return open.last()
}

func furthest(open []set) state {
	s := make(state, len(open))
	for i := range open {
		s[i] = open[i].last()
	}
	return s
}

// unreached takes out what can't be reached when no device goes further than
// the limit, and lists the devices that changed.
func (f *fitter) unreached(open []set, limit state) (changed []int) {
	f.work.test(len(open))
	for i, reached := range f.p.reach(f.p.start(), limit) {
		before := open[i].count()
		if open[i].intersect(reached); open[i].count() < before {
			changed = append(changed, i)
		}
	}
	return changed
}

// consistent takes out what has nothing to go with any more on some other
// device, beginning with those that changed. It is false when a device has
// nothing left.
func (f *fitter) consistent(open []set, changed []int) bool {
	for len(changed) > 0 {
		j := changed[len(changed)-1]
		changed = changed[:len(changed)-1]
		if open[j].first() < 0 {
			return false
		}
		for k := range f.arcs[j] {
			if f.revise(open, j, &f.arcs[j][k]) {
				changed = append(changed, f.arcs[j][k].to)
			}
		}
	}
	return true
}

// revise takes out of the other device what nothing open on device j goes with.
func (f *fitter) revise(open []set, j int, a *arc) (changed bool) {
	f.work.test(1)
	goes := newSet(len(f.p.devices[a.to].options))
	for k := open[j].first(); k >= 0; k = open[j].from(k + 1) {
		goes.unite(a.with[k])
	}
	before := open[a.to].count()
	open[a.to].intersect(goes)
	return open[a.to].count() < before
}
