package order

import (
	"fmt"
	"slices"

	"cardwright/manifest"
	"cardwright/manifest/version"
)

// problem is one vessel's planning question in small numbers: devices and, for
// each, the versions that it can be on. A state says, for each device, which.
type problem struct {
	devices []device
	alike   [][]int // devices that end on one version
}

// state holds, for each device, an index into its options.
type state []int

type device struct {
	*manifest.Device
	model   *manifest.Model
	options []option // oldest first; the first is what is installed
	hosts   []int    // in the order of `through`; nil: takes the card itself
	slot    bool     // takes the card itself, or has a host
}

// option is one version that a device can be on.
type option struct {
	version version.V
	release *manifest.Release // nil: installed, and not in the catalogue
	over    set               // the device's own options that it can be installed over
	start   []demand
	end     []demand
	passed  []set // for each host, its options that can pass this on
	last    bool  // the device may end here
}

// demand is what a need asks of one device.
type demand struct {
	need *manifest.Need
	on   int
	in   set // options of that device that meet it
}

// set is a set of options of one device.
type set []uint64

func newSet(n int) set       { return make(set, (n+63)/64) }
func (s set) add(i int)      { s[i/64] |= 1 << (i % 64) }
func (s set) has(i int) bool { return s[i/64]>>(i%64)&1 == 1 }
func (s set) raises(n int) int { // the first option of n that is missing above one that is there, or -1
	for i := 1; i < n; i++ {
		if s.has(i-1) && !s.has(i) {
			return i
		}
	}
	return -1
}

// fact names something a person wrote that rules plans out. Struck from the
// question, it rules out nothing.
type fact struct {
	kind string
	of   any // *manifest.Need, *manifest.Release, *manifest.Device or *manifest.Model
}

// The kinds of fact.
const (
	factNeed      = "need"
	factOver      = "over"
	factPassedOn  = "passed on by"
	factThrough   = "through"
	factNoSlot    = "no slot"
	factHold      = "hold"
	factAlike     = "alike"
	factWithdrawn = "withdrawn"
)

// ask puts the planning question, without the facts that are struck.
func ask(shop *manifest.Shop, vessel *manifest.Vessel, struck map[fact]bool) (*problem, error) {
	b := builder{vessel: vessel, struck: struck, p: &problem{}}
	for _, d := range vessel.Devices {
		m := shop.Model(d.Model)
		if m == nil {
			return nil, fmt.Errorf("planning %s: %s: device %s is of model %s, which the catalogue doesn't have",
				vessel.ID, d.At("model"), d.ID, d.Model)
		}
		b.p.devices = append(b.p.devices, device{Device: d, model: m})
	}
	for i := range b.p.devices {
		b.options(&b.p.devices[i])
	}
	for i := range b.p.devices {
		if err := b.hosts(&b.p.devices[i]); err != nil {
			return nil, err
		}
		b.demands(&b.p.devices[i])
	}
	b.alike()
	return b.p, nil
}

type builder struct {
	vessel *manifest.Vessel
	struck map[fact]bool
	p      *problem
}

func (b *builder) stands(kind string, of any) bool { return !b.struck[fact{kind, of}] }

// options lists what is installed and every newer release that may be.
func (b *builder) options(d *device) {
	d.options = []option{{version: d.Version, release: d.model.Release(d.Version, d.Variant)}}
	for _, r := range newer(d.model, d.Device) {
		if r.Withdrawn == "" || !b.stands(factWithdrawn, r) {
			d.options = append(d.options, option{version: r.Version, release: r})
		}
	}
	for i := range d.options {
		o := &d.options[i]
		o.last = d.Hold.Allows(o.version) || !b.stands(factHold, d.Device)
	}
}

// newer lists the model's releases of the device's variant that are newer
// than what it runs, oldest first, withdrawn ones too.
func newer(m *manifest.Model, d *manifest.Device) []*manifest.Release {
	var rs []*manifest.Release
	for _, r := range m.Releases {
		if r.Variant == d.Variant && version.Compare(r.Version, d.Version) > 0 {
			rs = append(rs, r)
		}
	}
	byVersion := func(a, b *manifest.Release) int { return version.Compare(a.Version, b.Version) }
	slices.SortStableFunc(rs, byVersion)
	return slices.CompactFunc(rs, func(a, b *manifest.Release) bool { return byVersion(a, b) == 0 })
}

func (b *builder) hosts(d *device) error {
	d.slot = d.model.Card != nil || !b.stands(factNoSlot, d.Device)
	if len(d.Through) == 0 || !b.stands(factThrough, d.Device) {
		d.slot = d.slot || len(d.Through) > 0
		return nil
	}
	d.slot = true
	for _, id := range d.Through {
		h := slices.IndexFunc(b.p.devices, func(h device) bool { return h.ID == id })
		if h < 0 {
			return fmt.Errorf("planning %s: %s: device %s is updated through %s, which is not aboard",
				b.vessel.ID, d.At("through"), d.ID, id)
		}
		d.hosts = append(d.hosts, h)
	}
	return nil
}

// demands works out what each option asks of the device and of the others.
func (b *builder) demands(d *device) {
	for i := range d.options {
		o := &d.options[i]
		if o.release == nil {
			continue
		}
		over := o.release.Over
		if !b.stands(factOver, o.release) {
			over = nil
		}
		o.over = d.inRange(over)
		for _, h := range d.hosts {
			passed := o.release.PassedOnBy
			if !b.stands(factPassedOn, o.release) {
				passed = nil
			}
			o.passed = append(o.passed, b.p.devices[h].inRange(passed))
		}
		for _, n := range o.release.Needs {
			b.need(o, n)
		}
	}
}

func (b *builder) need(o *option, n *manifest.Need) {
	if !b.stands(factNeed, n) {
		return
	}
	for on := range b.p.devices {
		if e := &b.p.devices[on]; e.Model == n.Model {
			d := demand{need: n, on: on, in: e.inRange(n.Version)}
			if n.By == manifest.ByStart {
				o.start = append(o.start, d)
			} else {
				o.end = append(o.end, d)
			}
		}
	}
}

func (b *builder) alike() {
	groups := map[*manifest.Model]int{}
	for i, d := range b.p.devices {
		if !d.model.Alike || !b.stands(factAlike, d.model) {
			continue
		}
		g, ok := groups[d.model]
		if !ok {
			g = len(b.p.alike)
			groups[d.model] = g
			b.p.alike = append(b.p.alike, nil)
		}
		b.p.alike[g] = append(b.p.alike[g], i)
	}
}

func (d *device) inRange(r version.Range) set {
	s := newSet(len(d.options))
	for i, o := range d.options {
		if r.Allows(o.version) {
			s.add(i)
		}
	}
	return s
}

// met tells whether the state has what the demands ask.
func (s state) met(demands []demand) bool {
	for _, d := range demands {
		if !d.in.has(s[d.on]) {
			return false
		}
	}
	return true
}

// outOfService tells whether device i is out in a state between two steps.
func (p *problem) outOfService(s state, i int) bool {
	for j := range p.devices {
		d := &p.devices[j]
		for _, n := range d.options[s[j]].end {
			if !n.in.has(s[n.on]) && p.suffers(j, n.on) == i {
				return true
			}
		}
	}
	return false
}

// suffers says which of two devices is out while the needing one lacks what
// it needs of the other.
func (p *problem) suffers(needing, needed int) int {
	if slices.Contains(p.devices[needed].hosts, needing) {
		return needed
	}
	return needing
}

// allowed tells whether device i can be given option to in this state, and
// through which host (-1: it takes the card itself).
func (p *problem) allowed(s state, i, to int) (through int, ok bool) {
	d := &p.devices[i]
	o := &d.options[to]
	if to <= s[i] || !d.slot || !o.over.has(s[i]) || !s.met(o.start) {
		return -1, false
	}
	if d.hosts == nil {
		return -1, true
	}
	for k, h := range d.hosts {
		if o.passed[k].has(s[h]) && p.devices[h].model.Card != nil && !p.outOfService(s, h) {
			return h, true
		}
	}
	return -1, false
}

// fits tells whether a visit may end in this state.
func (p *problem) fits(s state) bool {
	for i := range p.devices {
		o := &p.devices[i].options[s[i]]
		if !o.last || !s.met(o.end) {
			return false
		}
	}
	for _, group := range p.alike {
		for _, i := range group[1:] {
			if version.Compare(p.version(s, i), p.version(s, group[0])) != 0 {
				return false
			}
		}
	}
	return true
}

func (p *problem) version(s state, i int) version.V { return p.devices[i].options[s[i]].version }
