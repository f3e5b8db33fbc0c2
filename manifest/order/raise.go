package order

import (
	"fmt"

	"cardwright/manifest"
	"cardwright/manifest/version"
)

// NotYet is a question that can't be planned yet.
type NotYet struct {
	At   manifest.Pos
	What string // what stands there
}

func (e *NotYet) Error() string { return fmt.Sprintf("%s: can't plan this yet: %s", e.At, e.What) }

// raiseOnly refuses problems in which raising a device can break what held.
func (p *problem) raiseOnly() error {
	for i := range p.devices {
		d := &p.devices[i]
		if d.Device.Version == version.Unknown || d.Device.Version == "" {
			return &NotYet{d.At("version"), fmt.Sprintf("device %s runs an unknown version; read it off the device", d.ID)}
		}
		for to := range d.options {
			if err := p.optionRaises(d, to); err != nil {
				return err
			}
		}
	}
	return nil
}

func (p *problem) optionRaises(d *device, to int) error {
	o := &d.options[to]
	if to > 0 && o.over.raises(to) >= 0 {
		return &NotYet{o.release.At("over"), fmt.Sprintf("%s %s goes over %s only, and the device may be newer", d.Model, o.version, o.release.Over)}
	}
	for _, n := range append(o.start[:len(o.start):len(o.start)], o.end...) {
		if n.in.raises(len(p.devices[n.on].options)) >= 0 {
			return &NotYet{n.need.At("version"), fmt.Sprintf("%s %s needs %s %s, and a release of it may be newer", d.Model, o.version, n.need.Model, n.need.Version)}
		}
	}
	for k, h := range d.hosts {
		if to > 0 && o.passed[k].raises(len(p.devices[h].options)) >= 0 {
			return &NotYet{o.release.At("passed_on_by"), fmt.Sprintf("%s %s is passed on by %s only, and %s may be newer", d.Model, o.version, o.release.PassedOnBy, p.devices[h].ID)}
		}
	}
	return nil
}

// newest finds the newest state that can be reached and that fits, or nil.
// Where raising a device breaks nothing, there is one state that is newest
// for every device at once: raise all as far as they go, forbid what can't be
// the end there, and try again.
func (p *problem) newest() state {
	limit := make(state, len(p.devices))
	for i, d := range p.devices {
		limit[i] = len(d.options) - 1
	}
	for {
		s := p.raised(limit)
		i := p.misfit(s)
		if i < 0 {
			return s
		}
		if s[i] == 0 {
			return nil
		}
		limit[i] = s[i] - 1
	}
}

// raised raises every device as far as it goes within the limits.
func (p *problem) raised(limit state) state {
	s := make(state, len(p.devices))
	for again := true; again; {
		again = false
		for i := range p.devices {
			for to := limit[i]; to > s[i]; to-- {
				if p.allowedOutages(s, i, to) {
					s[i], again = to, true
				}
			}
		}
	}
	return s
}

// allowedOutages is allowed, but for hosts being out of service.
func (p *problem) allowedOutages(s state, i, to int) bool {
	d := &p.devices[i]
	o := &d.options[to]
	if !d.slot || !o.over.has(s[i]) || !s.met(o.start) {
		return false
	}
	for k, h := range d.hosts {
		if o.passed[k].has(s[h]) && p.devices[h].model.Card != nil {
			return true
		}
	}
	return d.hosts == nil
}

// misfit names a device that can't end where it is, or -1.
func (p *problem) misfit(s state) int {
	for i := range p.devices {
		if o := &p.devices[i].options[s[i]]; !o.last || !s.met(o.end) {
			return i
		}
	}
	for _, group := range p.alike {
		for _, i := range group {
			for _, j := range group {
				if version.Compare(p.version(s, i), p.version(s, j)) > 0 {
					return i
				}
			}
		}
	}
	return -1
}

// maxDeadEnds bounds the search for an order.
const maxDeadEnds = 100_000

// move is one step of an order, in small numbers.
type move struct{ device, from, to, through int }

// sequence finds an order of steps that ends on target, or nil: devices in
// file order, each as far as it goes.
func (p *problem) sequence(target state) []move {
	dead := map[string]bool{}
	s := make(state, len(p.devices))
	var moves []move
	var walk func() bool
	walk = func() bool {
		key := fmt.Sprint(s)
		if dead[key] || len(dead) > maxDeadEnds {
			return false
		}
		done := true
		for i := range p.devices {
			from := s[i]
			done = done && from == target[i]
			for to := target[i]; to > from; to-- {
				h, ok := p.allowed(s, i, to)
				if !ok {
					continue
				}
				s[i] = to
				moves = append(moves, move{i, from, to, h})
				if walk() {
					return true
				}
				s[i] = from
				moves = moves[:len(moves)-1]
			}
		}
		dead[key] = !done
		return done
	}
	if !walk() {
		return nil
	}
	return moves
}
