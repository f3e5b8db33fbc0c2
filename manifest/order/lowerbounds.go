package order

import "slices"

// bounds is what the orders of a group cost at least from where it is: sums over
// devices and pairs of devices, each as if it were alone.
type bounds struct {
	back    [][]int // for each device and option: the least steps with a way back from there
	unsaid  [][]int // the same of steps whose maker doesn't say if they have one
	own     [][]int // for each device and option: pairs among its own steps
	between []table // for each pair of devices: pairs of a step of one and a step of the other

	backLeft, unsaidLeft int     // the sums, for the state that the group is in
	forced, outage       int     // of them too
	withPairs            bool    // between and the bonds' least are known
	worst                []int   // for each device, the most of its bonds' least
	worstOf              [][]int // for each device, the bonds by which it suffers
}

// table has a number for each option of two devices.
type table [][]int

// boundDevices works out what each device takes by itself.
func (g *groupState) boundDevices() {
	a := &g.bounds
	a.worst, a.worstOf = make([]int, len(g.target)), make([][]int, len(g.target))
	for i := range g.target {
		back, unsaid, own := g.alone(i)
		a.back, a.unsaid, a.own = append(a.back, back), append(a.unsaid, unsaid), append(a.own, own)
		a.backLeft += back[g.now[i]]
		a.unsaidLeft += unsaid[g.now[i]]
		a.forced += own[g.now[i]]
	}
}

// boundPairs works out what each pair of devices takes. That is much more work, done
// only where an order that costs nothing wasn't found at once.
func (g *groupState) boundPairs() {
	a := &g.bounds
	a.withPairs = true
	for n, d := range g.pairs {
		a.between = append(a.between, g.forcedPairs(d.i, d.j))
		a.forced += a.between[n][g.now[d.i]][g.now[d.j]]
	}
	for n := range g.bonds {
		g.boundOutage(n)
	}
}

// alone is, for each option of a device, what its own releases make it take: steps
// with a way back, steps whose maker doesn't say, and pairs.
func (g *groupState) alone(i int) (back, unsaid, own []int) {
	d := &g.p.devices[i]
	back, unsaid, own = make([]int, g.target[i]+1), make([]int, g.target[i]+1), make([]int, g.target[i]+1)
	for from := g.target[i] - 1; from >= 0; from-- {
		back[from], unsaid[from], own[from] = far, far, far
		for to := from + 1; to <= g.target[i]; to++ {
			o := &d.options[to]
			switch {
			case !o.over.has(from):
			case o.noWayBack:
				more := 1
				if o.noneGiven {
					more = 0
				}
				unsaid[from] = min(unsaid[from], unsaid[to]+more)
				back[from] = min(back[from], back[to])
				own[from] = min(own[from], own[to]+back[to])
			default:
				unsaid[from] = min(unsaid[from], unsaid[to])
				back[from] = min(back[from], back[to]+1)
				own[from] = min(own[from], own[to])
			}
		}
	}
	return back, unsaid, own
}

// pairTable has, for each option of two devices, the least that their steps to the
// target cost by themselves: step is what a step of x costs, between two of its
// options while the other device is on b.
func (g *groupState) pairTable(i, j int, step func(x, from, to, b int) int) table {
	t := make(table, g.target[i]+1)
	mayI, mayJ := g.allowedWith(i, j), g.allowedWith(j, i)
	for a := g.target[i]; a >= 0; a-- {
		t[a] = make([]int, g.target[j]+1)
		for b := g.target[j]; b >= 0; b-- {
			if a == g.target[i] && b == g.target[j] {
				continue
			}
			least := far
			for to := a + 1; to <= g.target[i]; to++ {
				if t[to][b] < least && mayI[to].has(b) && g.p.devices[i].options[to].over.has(a) {
					least = min(least, t[to][b]+step(i, a, to, b))
				}
			}
			for to := b + 1; to <= g.target[j]; to++ {
				if t[a][to] < least && mayJ[to].has(a) && g.p.devices[j].options[to].over.has(b) {
					least = min(least, t[a][to]+step(j, b, to, a))
				}
			}
			t[a][b] = least
		}
	}
	return t
}

// allowedWith is, for each option of device i, those of device j with which it can be
// installed, as far as the two are concerned.
func (g *groupState) allowedWith(i, j int) []set {
	d, all := &g.p.devices[i], allBelow(len(g.p.devices[j].options))
	may := make([]set, g.target[i]+1)
	for to := range may {
		may[to] = all
		o := &d.options[to]
		for k := range o.start {
			if n := &o.start[k]; n.on == j {
				may[to] = may[to].clone()
				may[to].intersect(n.in)
			}
		}
		if to > 0 && len(d.hosts) == 1 && d.hosts[0] == j {
			may[to] = may[to].clone()
			may[to].intersect(o.passed[0])
		}
	}
	return may
}

// forcedPairs counts the steps without a way back that rules between two devices
// force before steps of the other one that have a way back.
func (g *groupState) forcedPairs(i, j int) table {
	return g.pairTable(i, j, func(x, _, to, b int) int {
		if g.p.devices[x].options[to].noWayBack {
			return g.bounds.back[i+j-x][b]
		}
		return 0
	})
}

// boundOutage works out how many minutes the device that suffers by a bond is out of
// service at least.
func (g *groupState) boundOutage(n int) {
	b := &g.bonds[n]
	if b.needing == b.needed {
		return
	}
	least := g.pairTable(b.needing, b.needed, func(x, from, to, other int) int {
		lacks := x == b.needing && (b.lackingAt(from, other) || b.lackingAt(to, other)) ||
			x == b.needed && (b.lackingAt(other, from) || b.lackingAt(other, to))
		if lacks {
			return g.p.devices[x].options[to].minutes()
		}
		return 0
	})
	if slices.ContainsFunc(least, func(row []int) bool { return slices.Max(row) > 0 }) {
		b.least = least
		g.bounds.worstOf[b.suffers] = append(g.bounds.worstOf[b.suffers], n)
		g.updateOutage(n)
	}
}

// updateOutage works out anew how many minutes the device that suffers by a bond is
// out of service at least, from where the two are now.
func (g *groupState) updateOutage(n int) {
	b := &g.bonds[n]
	if b.least == nil {
		return
	}
	worst := &g.bounds.worst[b.suffers]
	was := b.now
	b.now = b.least[g.now[b.needing]][g.now[b.needed]]
	most := max(b.now, *worst)
	if b.now < was && was == *worst {
		most = 0
		for _, m := range g.bounds.worstOf[b.suffers] {
			most = max(most, g.bonds[m].now)
		}
	}
	g.bounds.outage += (most - *worst) * g.weightOf(b.suffers)
	*worst = most
}

// countBounds adds what device i's option decides to the sums, or, with sign -1,
// takes it out.
func (g *groupState) countBounds(i, sign int) {
	a := &g.bounds
	a.backLeft += sign * a.back[i][g.now[i]]
	a.unsaidLeft += sign * a.unsaid[i][g.now[i]]
	a.forced += sign * a.own[i][g.now[i]]
	if !a.withPairs {
		return
	}
	for _, n := range g.pairsOf[i] {
		a.forced += sign * a.between[n][g.now[g.pairs[n].i]][g.now[g.pairs[n].j]]
	}
	if sign > 0 {
		for _, n := range g.bondsOf[i] {
			g.updateOutage(n)
		}
	}
}
