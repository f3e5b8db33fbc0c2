package order

// groupState is a group of connected devices on the way to its target: the state that
// the steps taken so far have brought it to, and what follows from that.
type groupState struct {
	*walker
	now    state
	left   int // least steps to the target
	weight int // of the devices that are out of service now
	bounds bounds

	leftOut bool // it stays as it is
	bonds   []bond
	bondsOf [][]int // for each device, the bonds that it is in
	lacking []int   // for each device, the number of bonds by which it is out of service now
	ended   []int   // the bonds that a put ended; memory that is used again
}

// sums are over the devices of a group, or of all groups, where they are now.
type sums struct {
	left   int // steps
	weight int // of the devices that are out of service
	back   int // steps with a way back that are left
	unsaid int // steps that are left whose maker doesn't say if they have one
	forced int // pairs of steps that can't be avoided, one without a way back before one that has one
	outage int // weighted minutes that can't be avoided
}

func (s *sums) add(t sums, sign int) {
	s.left += sign * t.left
	s.weight += sign * t.weight
	s.back += sign * t.back
	s.unsaid += sign * t.unsaid
	s.forced += sign * t.forced
	s.outage += sign * t.outage
}

func (g *groupState) sums() sums {
	return sums{g.left, g.weight, g.bounds.backLeft, g.bounds.unsaidLeft, g.bounds.forced, g.bounds.outage}
}

// bond is that options of a needing device ask something of a needed one by the
// end. While it isn't met one of the two is out of service.
type bond struct {
	needing, needed, suffers int
	asks                     []set // for each option of the needing device, what it asks; nil: nothing
	lacking                  bool  // now

	least table // minutes that the two can't avoid, from any options on; nil: none, or not worked out
	now   int   // of least
}

func newGroupState(k *walker, steps int) *groupState {
	n := len(k.target)
	g := &groupState{walker: k, now: k.p.start(), left: steps, bondsOf: make([][]int, n), lacking: make([]int, n)}
	for i := range n {
		g.bind(i)
	}
	for n := range g.bonds {
		g.updateBond(n)
	}
	g.boundDevices()
	return g
}

// bind finds the bonds in which a device is the needing one.
func (g *groupState) bind(i int) {
	number := map[int]int{}
	for to := 0; to <= g.target[i]; to++ {
		for _, d := range g.p.devices[i].options[to].end {
			if !g.canLack(d) {
				continue
			}
			n, ok := number[d.on]
			if !ok {
				n = len(g.bonds)
				number[d.on] = n
				g.bonds = append(g.bonds, bond{needing: i, needed: d.on, suffers: g.p.suffers(i, d.on), asks: make([]set, g.target[i]+1)})
				g.bondsOf[i] = append(g.bondsOf[i], n)
				if d.on != i {
					g.bondsOf[d.on] = append(g.bondsOf[d.on], n)
				}
			}
			if asks := &g.bonds[n].asks[to]; *asks == nil {
				*asks = d.in.clone()
			} else {
				asks.intersect(d.in)
			}
		}
	}
}

// canLack reports whether a demand isn't met by some option on the way.
func (g *groupState) canLack(d demand) bool {
	for x := 0; x <= g.target[d.on]; x++ {
		if !d.in.has(x) {
			return true
		}
	}
	return false
}

// lackingAt reports whether a bond lacks something while the two are on these
// options.
func (b *bond) lackingAt(needing, needed int) bool {
	return b.asks[needing] != nil && !b.asks[needing].has(needed)
}

func (g *groupState) weightOf(i int) int { return g.p.devices[i].weight }

// updateBond works out anew whether a bond lacks something, and gives the weight of
// the device that goes out of service by it.
func (g *groupState) updateBond(n int) (lost int) {
	b := &g.bonds[n]
	is := b.lackingAt(g.now[b.needing], g.now[b.needed])
	if is == b.lacking {
		return 0
	}
	if b.lacking = is; !is {
		g.ended = append(g.ended, n)
		return 0
	}
	if g.lacking[b.suffers]++; g.lacking[b.suffers] == 1 {
		lost = g.weightOf(b.suffers)
		g.weight += lost
	}
	return lost
}

// put brings device i to an option, and gives the weight of the devices that go out
// of service by it. What ends is counted after what begins: a device that is out by
// one bond before and by another after doesn't go out anew.
func (g *groupState) put(i, option int) (lost int) {
	g.countBounds(i, -1)
	g.now[i] = option
	g.countBounds(i, 1)
	g.ended = g.ended[:0]
	for _, n := range g.bondsOf[i] {
		lost += g.updateBond(n)
	}
	for _, n := range g.ended {
		s := g.bonds[n].suffers
		if g.lacking[s]--; g.lacking[s] == 0 {
			g.weight -= g.weightOf(s)
		}
	}
	return lost
}

// fitsTogether reports whether the work can stop here: what is installed needs
// nothing that isn't there, and what must be alike is.
func (g *groupState) fitsTogether() bool {
	if g.leftOut {
		return true // it is as it was
	}
	if g.weight > 0 {
		return false
	}
	for _, group := range g.p.alike {
		for _, i := range group[1:] {
			if !g.p.same(group[0], g.now[group[0]], i, g.now[i]) {
				return false
			}
		}
	}
	return true
}
