package order

// part is a component with the state that an order has brought it to.
type part struct {
	*walker
	now    state
	left   int // least steps to the target
	weight int // of the devices that are out of service now
	ahead  ahead

	leftOut bool // it stays as it is
	bonds   []bond
	bondsOf [][]int // for each device, the bonds that it is in
	lacking []int   // for each device, the bonds by which it is out of service now
	ended   []int   // room for put
}

// sums are over the devices of a part, or of all parts, where they are now.
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

func (p *part) sums() sums {
	return sums{p.left, p.weight, p.ahead.backLeft, p.ahead.unsaidLeft, p.ahead.forced, p.ahead.outage}
}

// bond is that options of a needing device ask something of a needed one by the
// end. While it isn't met one of the two is out of service.
type bond struct {
	needing, needed, suffers int
	asks                     []set // for each option of the needing device, what it asks; nil: nothing
	lacks                    bool  // now

	least table // minutes that the two can't avoid, from any options on; nil: not looked for, or none
	now   int   // of least
}

func newPart(k *walker, steps int) *part {
	n := len(k.target)
	p := &part{walker: k, now: k.p.start(), left: steps, bondsOf: make([][]int, n), lacking: make([]int, n)}
	for i := range n {
		p.bind(i)
	}
	for n := range p.bonds {
		p.judge(n)
	}
	p.lookAhead()
	return p
}

// bind finds the bonds in which a device is the needing one.
func (p *part) bind(i int) {
	number := map[int]int{}
	for to := 0; to <= p.target[i]; to++ {
		for _, d := range p.p.devices[i].options[to].end {
			if !p.canLack(d) {
				continue
			}
			n, ok := number[d.on]
			if !ok {
				n = len(p.bonds)
				number[d.on] = n
				p.bonds = append(p.bonds, bond{needing: i, needed: d.on, suffers: p.p.suffers(i, d.on), asks: make([]set, p.target[i]+1)})
				p.bondsOf[i] = append(p.bondsOf[i], n)
				if d.on != i {
					p.bondsOf[d.on] = append(p.bondsOf[d.on], n)
				}
			}
			if asks := &p.bonds[n].asks[to]; *asks == nil {
				*asks = d.in.clone()
			} else {
				asks.keep(d.in)
			}
		}
	}
}

// canLack tells whether a demand isn't met by some option on the way.
func (p *part) canLack(d demand) bool {
	for x := 0; x <= p.target[d.on]; x++ {
		if !d.in.has(x) {
			return true
		}
	}
	return false
}

// lackingAt tells whether a bond lacks something while the two are on these
// options.
func (b *bond) lackingAt(needing, needed int) bool {
	return b.asks[needing] != nil && !b.asks[needing].has(needed)
}

func (p *part) weightOf(i int) int { return p.p.devices[i].weight }

// judge looks again whether a bond lacks something, and gives the weight of the
// device that is lost by it.
func (p *part) judge(n int) (lost int) {
	b := &p.bonds[n]
	is := b.lackingAt(p.now[b.needing], p.now[b.needed])
	if is == b.lacks {
		return 0
	}
	if b.lacks = is; !is {
		p.ended = append(p.ended, n)
		return 0
	}
	if p.lacking[b.suffers]++; p.lacking[b.suffers] == 1 {
		lost = p.weightOf(b.suffers)
		p.weight += lost
	}
	return lost
}

// put brings device i to an option, and gives the weight of the devices that are
// lost by it. What ends is counted after what begins: a device that is out by one
// bond before and by another after is not lost anew.
func (p *part) put(i, option int) (lost int) {
	p.forget(i)
	p.now[i] = option
	p.remember(i)
	p.ended = p.ended[:0]
	for _, n := range p.bondsOf[i] {
		lost += p.judge(n)
	}
	for _, n := range p.ended {
		s := p.bonds[n].suffers
		if p.lacking[s]--; p.lacking[s] == 0 {
			p.weight -= p.weightOf(s)
		}
	}
	return lost
}

// fitsTogether tells whether the work can stop here: what is installed needs
// nothing that isn't there, and what must be alike is.
func (p *part) fitsTogether() bool {
	if p.leftOut {
		return true // it is as it was
	}
	if p.weight > 0 {
		return false
	}
	for _, group := range p.p.alike {
		for _, i := range group[1:] {
			if !p.p.same(group[0], p.now[group[0]], i, p.now[i]) {
				return false
			}
		}
	}
	return true
}
