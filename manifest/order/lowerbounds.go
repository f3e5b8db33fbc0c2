package order

import "slices"

// ahead is what a part's orders can't avoid to cost from where it is: sums over
// devices and pairs of devices, each as if it were alone.
type ahead struct {
	back    [][]int // for each device and option: the least steps with a way back from there
	unsaid  [][]int // the same of steps whose maker doesn't say if they have one
	own     [][]int // for each device and option: pairs among its own steps
	between []table // for each pair of devices: pairs of a step of one and a step of the other

	backLeft, unsaidLeft int     // the sums, for the state that the part is in
	forced, outage       int     // of them too
	further              bool    // between and the bonds' least are known
	worst                []int   // for each device, the most of its bonds' least
	worstOf              [][]int // for each device, the bonds by which it suffers
}

// table has a number for each option of two devices.
type table [][]int

// lookAhead works out what devices take by themselves.
func (p *part) lookAhead() {
	a := &p.ahead
	a.worst, a.worstOf = make([]int, len(p.target)), make([][]int, len(p.target))
	for i := range p.target {
		back, unsaid, own := p.alone(i)
		a.back, a.unsaid, a.own = append(a.back, back), append(a.unsaid, unsaid), append(a.own, own)
		a.backLeft += back[p.now[i]]
		a.unsaidLeft += unsaid[p.now[i]]
		a.forced += own[p.now[i]]
	}
}

// lookFurther works out what pairs of devices take. It is much more, and only
// wanted where an order that costs nothing wasn't found at once.
func (p *part) lookFurther() {
	a := &p.ahead
	a.further = true
	for n, d := range p.pairs {
		a.between = append(a.between, p.betweenTwo(d.i, d.j))
		a.forced += a.between[n][p.now[d.i]][p.now[d.j]]
	}
	for n := range p.bonds {
		p.lookAtBond(n)
	}
}

// alone is, for each option of a device, what its own releases make it take: steps
// with a way back, steps whose maker doesn't say, and pairs.
func (p *part) alone(i int) (back, unsaid, own []int) {
	d := &p.p.devices[i]
	back, unsaid, own = make([]int, p.target[i]+1), make([]int, p.target[i]+1), make([]int, p.target[i]+1)
	for from := p.target[i] - 1; from >= 0; from-- {
		back[from], unsaid[from], own[from] = far, far, far
		for to := from + 1; to <= p.target[i]; to++ {
			o := &d.options[to]
			switch {
			case !o.over.has(from):
			case o.final:
				more := 1
				if o.never {
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

// fill works a table out from the targets of two devices back: step is what a
// step of x costs, from and to which options of it, while the other is on b.
func (p *part) fill(i, j int, step func(x, from, to, b int) int) table {
	t := make(table, p.target[i]+1)
	mayI, mayJ := p.may(i, j), p.may(j, i)
	for a := p.target[i]; a >= 0; a-- {
		t[a] = make([]int, p.target[j]+1)
		for b := p.target[j]; b >= 0; b-- {
			if a == p.target[i] && b == p.target[j] {
				continue
			}
			least := far
			for to := a + 1; to <= p.target[i]; to++ {
				if t[to][b] < least && mayI[to].has(b) && p.p.devices[i].options[to].over.has(a) {
					least = min(least, t[to][b]+step(i, a, to, b))
				}
			}
			for to := b + 1; to <= p.target[j]; to++ {
				if t[a][to] < least && mayJ[to].has(a) && p.p.devices[j].options[to].over.has(b) {
					least = min(least, t[a][to]+step(j, b, to, a))
				}
			}
			t[a][b] = least
		}
	}
	return t
}

// may is, for each option of device i, those of device j with which it can be
// installed, as far as the two are concerned.
func (p *part) may(i, j int) []set {
	d, all := &p.p.devices[i], within(len(p.p.devices[j].options))
	may := make([]set, p.target[i]+1)
	for to := range may {
		may[to] = all
		o := &d.options[to]
		for k := range o.start {
			if n := &o.start[k]; n.on == j {
				may[to] = may[to].clone()
				may[to].keep(n.in)
			}
		}
		if to > 0 && len(d.hosts) == 1 && d.hosts[0] == j {
			may[to] = may[to].clone()
			may[to].keep(o.passed[0])
		}
	}
	return may
}

// betweenTwo is the pairs that two devices make, where rules between them force
// a step of one without a way back before one of the other.
func (p *part) betweenTwo(i, j int) table {
	return p.fill(i, j, func(x, _, to, b int) int {
		if p.p.devices[x].options[to].final {
			return p.ahead.back[i+j-x][b]
		}
		return 0
	})
}

// lookAtBond works out for how long the one that suffers by it can't avoid to be
// out of service.
func (p *part) lookAtBond(n int) {
	b := &p.bonds[n]
	if b.needing == b.needed {
		return
	}
	least := p.fill(b.needing, b.needed, func(x, from, to, other int) int {
		lacks := x == b.needing && (b.lackingAt(from, other) || b.lackingAt(to, other)) ||
			x == b.needed && (b.lackingAt(other, from) || b.lackingAt(other, to))
		if lacks {
			return p.p.devices[x].options[to].minutes()
		}
		return 0
	})
	if slices.ContainsFunc(least, func(row []int) bool { return slices.Max(row) > 0 }) {
		b.least = least
		p.ahead.worstOf[b.suffers] = append(p.ahead.worstOf[b.suffers], n)
		p.weigh(n)
	}
}

// weigh looks again for how long the device that suffers by a bond can't avoid to
// be out of service.
func (p *part) weigh(n int) {
	b := &p.bonds[n]
	if b.least == nil {
		return
	}
	worst := &p.ahead.worst[b.suffers]
	was := b.now
	b.now = b.least[p.now[b.needing]][p.now[b.needed]]
	most := max(b.now, *worst)
	if b.now < was && was == *worst {
		most = 0
		for _, m := range p.ahead.worstOf[b.suffers] {
			most = max(most, p.bonds[m].now)
		}
	}
	p.ahead.outage += (most - *worst) * p.weightOf(b.suffers)
	*worst = most
}

// forget takes out of the sums what device i's option decides; remember puts it
// in.
func (p *part) forget(i int)   { p.count(i, -1) }
func (p *part) remember(i int) { p.count(i, 1) }

func (p *part) count(i, sign int) {
	a := &p.ahead
	a.backLeft += sign * a.back[i][p.now[i]]
	a.unsaidLeft += sign * a.unsaid[i][p.now[i]]
	a.forced += sign * a.own[i][p.now[i]]
	if !a.further {
		return
	}
	for _, n := range p.pairsOf[i] {
		a.forced += sign * a.between[n][p.now[p.pairs[n].i]][p.now[p.pairs[n].j]]
	}
	if sign > 0 {
		for _, n := range p.bondsOf[i] {
			p.weigh(n)
		}
	}
}
