package order

// What must come before what. Two devices of which one asks something of the
// other have few states by themselves: some rises of one must come before some
// of the other in every order of the two. Where, over all such pairs, this goes
// round in a circle, no order of all leads to the target.

// pair is two such devices on their way to a target.
type pair struct {
	i, j        int
	extra       [][]int // steps beyond their own, for each option of either; far: no way
	most        int     // the greatest of extra that isn't far
	beforesFrom map[pairState][]before
	target      [2]int
}

// pairState is where the two are, and how many steps more than their own they
// may take.
type pairState struct{ a, b, slack int }

// before says that a device rises above an option before the other rises above
// one of its own.
type before struct{ device, above, other, otherAbove int }

// findPairs prepares every such pair.
func (k *walker) findPairs() {
	k.pairsOf = make([][]int, len(k.target))
	k.firstRise = make([]int, len(k.target)+1)
	for i, bound := range k.p.pairs() {
		k.firstRise[i+1] = k.firstRise[i] + k.target[i]
		for _, j := range bound {
			if i > j || k.work.over() {
				continue
			}
			k.work.test((k.target[i] + 1) * (k.target[j] + 1))
			k.pairsOf[i] = append(k.pairsOf[i], len(k.pairs))
			k.pairsOf[j] = append(k.pairsOf[j], len(k.pairs))
			k.pairs = append(k.pairs, k.newPair(i, j))
		}
	}
}

func (k *walker) newPair(i, j int) pair {
	d := pair{i: i, j: j, extra: k.extraStepsOfPair(i, j), beforesFrom: map[pairState][]before{}, target: [2]int{k.target[i], k.target[j]}}
	for _, row := range d.extra {
		for _, n := range row {
			if n < far {
				d.most = max(d.most, n)
			}
		}
	}
	return d
}

// extraStepsOfPair is how many steps two devices need to their targets beyond those
// that each would need alone, for each option of either up to there.
func (k *walker) extraStepsOfPair(i, j int) [][]int {
	extra := make([][]int, k.target[i]+1)
	steps := make([][]int, k.target[i]+1)
	for a := k.target[i]; a >= 0; a-- {
		extra[a] = make([]int, k.target[j]+1)
		steps[a] = make([]int, k.target[j]+1)
		for b := k.target[j]; b >= 0; b-- {
			steps[a][b] = k.pairSteps(steps, i, a, j, b)
			if extra[a][b] = far; steps[a][b] < far {
				extra[a][b] = steps[a][b] - k.ownSteps[i][a] - k.ownSteps[j][b]
			}
		}
	}
	return extra
}

func (k *walker) pairSteps(steps [][]int, i, a, j, b int) int {
	if a == k.target[i] && b == k.target[j] {
		return 0
	}
	n := far
	for to := a + 1; to <= k.target[i]; to++ {
		if steps[to][b]+1 < n && k.p.pairAllows(i, a, to, j, b) {
			n = steps[to][b] + 1
		}
	}
	for to := b + 1; to <= k.target[j]; to++ {
		if steps[a][to]+1 < n && k.p.pairAllows(j, b, to, i, a) {
			n = steps[a][to] + 1
		}
	}
	return n
}

// befores is what must come before what from a state of the two.
func (k *walker) befores(d *pair, at pairState) []before {
	at.slack = min(at.slack, d.most)
	all, ok := d.beforesFrom[at]
	if !ok {
		all = d.befores(at, k.meetings(d, at))
		d.beforesFrom[at] = all
	}
	return all
}

// meetings are, for each option of i, the options of j that j can be on meanwhile, in
// some order of the two from there to their targets.
func (k *walker) meetings(d *pair, at pairState) []set {
	met := make([]set, d.target[0]+1)
	for a := range met {
		met[a] = newSet(d.target[1] + 1)
	}
	met[at.a].add(at.b)
	for a := at.a; a <= d.target[0]; a++ {
		for b := met[a].first(); b >= 0; b = met[a].from(b + 1) {
			if d.extra[a][b] > at.slack {
				met[a].drop(b)
				continue
			}
			for to := b + 1; to <= d.target[1]; to++ {
				if k.p.pairAllows(d.j, b, to, d.i, a) {
					met[a].add(to)
				}
			}
			for to := a + 1; to <= d.target[0]; to++ {
				if k.p.pairAllows(d.i, a, to, d.j, b) {
					met[to].add(b)
				}
			}
		}
	}
	return met
}

// befores reads off what two devices meet on: while i is not above a, j gets no
// further than the last that any such option of i is met with.
func (d *pair) befores(at pairState, met []set) []before {
	var all []before
	reach := -1
	for a := at.a; a < d.target[0]; a++ {
		reach = max(reach, met[a].last())
		if reach >= 0 && reach < d.target[1] {
			all = append(all, before{d.i, a, d.j, reach})
		}
	}
	reach = -1
	for b := at.b; b < d.target[1]; b++ {
		for a := d.target[0]; a > reach; a-- {
			if met[a].has(b) {
				reach = a
			}
		}
		if reach >= 0 && reach < d.target[0] {
			all = append(all, before{d.j, b, d.i, reach})
		}
	}
	return all
}

// circular reports whether what must come before what goes round in a circle, for
// walks from s with so much slack. The rises of all devices are numbered: that
// of device i above option a is firstRise[i]+a.
func (k *walker) circular(s state, slack int) bool {
	g := &k.graph
	g.reset(k.firstRise[len(s)])
	for i, a := range s {
		for ; a < k.target[i]-1; a++ {
			g.arrow(k.firstRise[i]+a, k.firstRise[i]+a+1)
		}
	}
	for n := range k.pairs {
		d := &k.pairs[n]
		for _, b := range k.befores(d, pairState{s[d.i], s[d.j], slack}) {
			g.arrow(k.firstRise[b.device]+b.above, k.firstRise[b.other]+b.otherAbove)
		}
	}
	return g.circle()
}

// graph is arrows between numbers, in memory that is used again.
type graph struct {
	first    []int // for each number, its last arrow, from 1; 0: none
	next, to []int // for each arrow, the one before it from the same number; where it leads
	into     []int // for each number, how many arrows lead there
	free     []int
}

func (g *graph) reset(n int) {
	if len(g.first) < n {
		g.first, g.into = make([]int, n), make([]int, n)
	}
	g.first, g.into = g.first[:n], g.into[:n]
	clear(g.first)
	clear(g.into)
	g.next, g.to = append(g.next[:0], 0), append(g.to[:0], 0)
}

func (g *graph) arrow(from, to int) {
	g.next, g.to = append(g.next, g.first[from]), append(g.to, to)
	g.first[from] = len(g.to) - 1
	g.into[to]++
}

// circle reports whether the arrows go round in one.
func (g *graph) circle() bool {
	g.free = g.free[:0]
	for v, n := range g.into {
		if n == 0 {
			g.free = append(g.free, v)
		}
	}
	for gone := 0; gone < len(g.free); gone++ {
		for a := g.first[g.free[gone]]; a > 0; a = g.next[a] {
			if g.into[g.to[a]]--; g.into[g.to[a]] == 0 {
				g.free = append(g.free, g.to[a])
			}
		}
	}
	return len(g.free) < len(g.first)
}
