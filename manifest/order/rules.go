package order

import (
	"slices"

	"cardwright/manifest"
)

// problem is a planning question in small numbers, which the searches work on:
// devices and, for each, the versions that it can be on and what these ask.
type problem struct {
	back         bool // options go down from what is installed: a way back
	devices      []device
	alike        [][]int // devices that end on one version
	anyExchanged bool    // some device is exchanged before the visit
}

// state holds, for each device, the number of the option it is on. A visit
// begins with 0 for all.
type state []int

// device is a device aboard with its options and the ways in which it gets a release.
type device struct {
	*manifest.Device
	model       *manifest.Model
	options     []option // oldest first; the first is what is installed
	exchanged   bool     // before the visit, for one that runs any option but the first, which is a gap
	slot        bool     // reads a card, its own or what it passes on
	direct      bool     // takes what it gets itself: from a card, or by route
	route       string   // how, where no card does it: manifest.ByCable …; "": a card
	hosts       []int    // one of these must pass on what it gets; in the order of `through`
	connectedTo []int    // the devices of `through`, also when it was struck
	hosting     bool     // some device is updated through it
	display     bool
	weight      int // of a minute out of service
}

// option is one version that a device can be on.
type option struct {
	point
	release   *manifest.Release // nil: nothing that the catalogue knows
	canBegin  bool              // an exchanged device can begin with it
	over      set               // the device's options that it can be installed over
	start     []demand
	end       []demand
	passed    []set // for each of hosts, its options that can pass this on
	last      bool  // the device may end here
	behind    int   // releases that are newer; on a way back, those that were given back
	noWayBack bool  // no way back from it is counted on; on a way back that doesn't matter
	noneGiven bool  // its maker gives none; the same
}

// demand is what a release asks of one device.
type demand struct {
	on int
	in set // options of that device that meet it
}

// met reports whether the state has what the demands ask.
func (s state) met(demands []demand) bool {
	for i := range demands {
		if !demands[i].in.has(s[demands[i].on]) {
			return false
		}
	}
	return true
}

// outOfService reports whether device i is out in a state between two steps.
func (p *problem) outOfService(s state, i int) bool {
	if p.lacks(s, i, i) {
		return true
	}
	for _, h := range p.devices[i].connectedTo {
		if p.lacks(s, h, i) {
			return true
		}
	}
	return false
}

// lacks reports whether device i is out because the needing device lacks
// something.
func (p *problem) lacks(s state, needing, i int) bool {
	end := p.devices[needing].options[s[needing]].end
	for k := range end {
		if !end[k].in.has(s[end[k].on]) && p.suffers(needing, end[k].on) == i {
			return true
		}
	}
	return false
}

// suffers is which of two devices is out of service while the needing one lacks what it
// needs of the other.
func (p *problem) suffers(needing, needed int) int {
	if slices.Contains(p.devices[needed].connectedTo, needing) {
		return needed
	}
	return needing
}

// exchangeInOrder lets exchanged devices be chosen one after the other, before any
// step.
func (p *problem) exchangeInOrder(s state, i, to int) int {
	for j := range i {
		if p.devices[j].exchanged && s[j] == 0 {
			return nowhere
		}
	}
	if !p.devices[i].options[to].canBegin {
		return nowhere
	}
	return itself
}

// exchangePending reports whether some exchanged device isn't chosen yet.
func (p *problem) exchangePending(s state) bool {
	if !p.anyExchanged {
		return false
	}
	for j := range p.devices {
		if p.devices[j].exchanged && s[j] == 0 {
			return true
		}
	}
	return false
}

func (p *problem) start() state { return make(state, len(p.devices)) }

// fits reports whether a visit may end in this state.
func (p *problem) fits(s state) bool {
	for i := range p.devices {
		o := &p.devices[i].options[s[i]]
		if !o.last || !s.met(o.end) {
			return false
		}
	}
	for _, group := range p.alike {
		for _, i := range group[1:] {
			if !p.same(group[0], s[group[0]], i, s[i]) {
				return false
			}
		}
	}
	return true
}

// same reports whether two options of devices of one model are one version.
func (p *problem) same(i, a, j, b int) bool {
	return p.devices[i].options[a].compare(p.devices[j].options[b].point) == 0
}
