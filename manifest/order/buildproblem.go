package order

import (
	"iter"
	"maps"
	"slices"

	"cardwright/manifest"
	"cardwright/manifest/version"
)

// maxDevices and maxSize bound what is planned at once: connected devices, and
// demands of all the releases that they could be given, each counted once for
// every device that it binds. maxAboard bounds the devices of a vessel.
const (
	maxDevices = 200
	maxSize    = 200_000
	maxAboard  = 1_000
)

// fact is something that a person wrote and that rules plans out.
type fact struct {
	kind  Kind
	about any // *manifest.Need, *manifest.Release, *manifest.Device or *manifest.Model
}

// question is what is to be planned: devices, what is asked of them, and the
// facts that are struck from it.
type question struct {
	shop    *manifest.Shop
	vessel  *manifest.Vessel
	devices []*manifest.Device
	ask     Ask
	end     map[*manifest.Device]version.V // versions that single devices must end on
	struck  map[fact]bool
	limits  limits
}

func (q *question) stands(kind Kind, of any) bool { return !q.struck[fact{kind, of}] }

// problem puts the question in small numbers.
func (q *question) problem() *problem {
	b := builder{question: q, p: &problem{back: len(q.ask.Back) > 0}, points: map[*manifest.Model][]point{}, sets: map[setKey]set{}}
	for _, d := range q.devices {
		b.addDevice(d)
	}
	for i := range b.p.devices {
		b.addOptions(&b.p.devices[i])
		b.addHosts(i)
	}
	for i := range b.p.devices {
		b.addRules(i)
	}
	b.addAlike()
	b.p.prune()
	return b.p
}

// builder turns one question into one problem.
type builder struct {
	*question
	p      *problem
	models []*manifest.Model
	points map[*manifest.Model][]point
	sets   map[setKey]set
}

func (b *builder) addDevice(d *manifest.Device) {
	m := b.shop.Model(d.Model)
	if !slices.Contains(b.models, m) {
		b.models = append(b.models, m)
	}
	b.p.devices = append(b.p.devices, device{
		Device: d, model: m,
		exchanged: !b.stands(KindInstalled, d),
		slot:      m.Card != nil || !b.stands(KindNoSlot, d),
		direct:    m.Card != nil && m.Route != manifest.ByNobody || m.Route != "" && m.Route != manifest.ByNobody || !b.stands(KindNoSlot, d),
		route:     m.RouteOf(d),
		display:   m.Kind == "chart display",
		weight:    weight(m),
	})
	b.p.anyExchanged = b.p.anyExchanged || !b.stands(KindInstalled, d)
}

// addOptions lists every version that the device can be on.
func (b *builder) addOptions(d *device) {
	if d.exchanged {
		d.options = []option{{point: point{after: true}}}
	} else {
		d.options = []option{{point: point{version: d.Version}, release: d.model.Release(d.Version, d.Variant)}}
	}
	if len(b.ask.Back) > 0 {
		b.addOlder(d)
	} else {
		for _, at := range b.versions(d) {
			if o, ok := b.option(d, at); ok {
				d.options = append(d.options, o)
			}
		}
	}
	for i := range d.options {
		o := &d.options[i]
		o.last = (i > 0 || !d.exchanged) && b.mayEnd(d, o)
		o.behind = len(d.options) - 1 - i
		if len(b.ask.Back) > 0 {
			o.behind = i
		} else {
			o.noneGiven = o.givesNone()
			o.noWayBack = o.noneGiven || o.saysNothing() && b.ask.Earlier != UnsaidGoesBack
		}
	}
}

// versions are those that can make a difference to a device: its releases, or, where
// facts are struck, every point.
func (b *builder) versions(d *device) []point {
	if d.exchanged || !b.stands(KindCatalogue, d.model) {
		if b.points[d.model] == nil {
			b.points[d.model] = points(d.model, b.question.devices, b.models, b.ask)
		}
		return b.points[d.model]
	}
	var ps []point
	for _, r := range releases(d.model, d.Variant) {
		ps = append(ps, point{version: r.Version})
	}
	return ps
}

// option is the device's option at a version: a release to install, or what a
// device that was exchanged may begin with.
func (b *builder) option(d *device, at point) (option, bool) {
	o := option{point: at, canBegin: d.exchanged}
	if !at.after {
		o.release = d.model.Release(at.version, d.Variant)
	}
	newer := d.exchanged || at.compare(d.options[0].point) > 0
	if newer && b.installable(d, o.release) {
		o.over = newSet(len(d.options) + 1)
		return o, true
	}
	return o, o.canBegin
}

// installable says whether a release can be installed; nil is one that
// the catalogue doesn't have.
func (b *builder) installable(d *device, r *manifest.Release) bool {
	switch {
	case b.ask.leaves(d.ID) && b.stands(KindAsked, d.Device):
		return false
	case r == nil:
		return !b.stands(KindCatalogue, d.model)
	}
	return r.Withdrawn == "" || !b.stands(KindWithdrawn, r)
}

// mayEnd reports whether hold and aim let the device end on an option.
func (b *builder) mayEnd(d *device, o *option) bool {
	if b.stands(KindHold, d.Device) && !o.in(d.Hold) {
		return false
	}
	if v, ok := b.end[d.Device]; ok && o.compare(point{version: v}) != 0 {
		return false
	}
	if back := b.ask.goesBack(d.ID); back != nil && b.stands(KindAsked, back) {
		return o != &d.options[0] && (back.To == "" || o.compare(point{version: back.To}) == 0)
	}
	v, aimed := b.ask.Aim[d.Model]
	return !aimed || !b.stands(KindAsked, d.model) || o.compare(point{version: v}) == 0
}

// releases lists a model's releases for one variant, oldest first, each version
// once.
func releases(m *manifest.Model, variant string) []*manifest.Release {
	var rs []*manifest.Release
	for _, r := range m.Releases {
		if r.Variant == variant {
			rs = append(rs, r)
		}
	}
	byVersion := func(a, b *manifest.Release) int { return version.Compare(a.Version, b.Version) }
	slices.SortStableFunc(rs, byVersion)
	return slices.CompactFunc(rs, func(a, b *manifest.Release) bool { return byVersion(a, b) == 0 })
}

// addHosts finds the devices that one is updated through. Where one of them isn't
// in the question, no host is needed.
func (b *builder) addHosts(i int) {
	d := &b.p.devices[i]
	for _, id := range d.Through {
		h := slices.IndexFunc(b.p.devices, func(h device) bool { return h.ID == id })
		if h >= 0 {
			d.connectedTo = append(d.connectedTo, h)
			b.p.devices[h].hosting = true
		}
	}
	if len(d.Through) > 0 && (len(d.connectedTo) < len(d.Through) || !b.stands(KindThrough, d.Device)) {
		d.slot, d.direct = true, true
		return
	}
	d.hosts = d.connectedTo
}

// addRules works out what each option asks of the device and of the others.
func (b *builder) addRules(i int) {
	d := &b.p.devices[i]
	for k := range d.options {
		o := &d.options[k]
		over, passed := version.Range(nil), version.Range(nil)
		if o.release != nil && b.stands(KindOver, o.release) {
			over = o.release.Over
		}
		if o.release != nil && b.stands(KindPassedOn, o.release) {
			passed = o.release.PassedOnBy
		}
		if len(b.ask.Back) > 0 {
			o.over = b.backFrom(d, k)
		} else if o.over != nil && k > 0 {
			o.over = b.inRange(i, over)
		} else {
			o.over = newSet(len(d.options))
		}
		for _, h := range d.hosts {
			o.passed = append(o.passed, b.inRange(h, passed))
		}
		b.addNeeds(i, o)
	}
}

// addNeeds notes what a release needs of which device. What it needs of its own
// device at the start only narrows what it can be installed over.
func (b *builder) addNeeds(i int, o *option) {
	if o.release == nil {
		return
	}
	for _, n := range o.release.Needs {
		if !b.stands(KindNeed, n) {
			continue
		}
		for on := range b.p.devices {
			if b.p.devices[on].Model != n.Model {
				continue
			}
			switch d := (demand{on, b.inRange(on, n.Version)}); {
			case n.By == manifest.ByEnd:
				o.end = append(o.end, d)
			case on == i:
				o.over = o.over.clone()
				o.over.intersect(d.in)
			default:
				o.start = append(o.start, d)
			}
		}
	}
}

func (b *builder) addAlike() {
	groups := map[string]int{}
	for i, d := range b.p.devices {
		if !d.model.Alike || !b.stands(KindAlike, d.model) {
			continue
		}
		g, ok := groups[d.Model]
		if !ok {
			g = len(b.p.alike)
			groups[d.Model] = g
			b.p.alike = append(b.p.alike, nil)
		}
		b.p.alike[g] = append(b.p.alike[g], i)
	}
}

// setKey tells ranges apart by their text.
type setKey struct {
	device int
	text   string
}

// inRange is the set of a device's options in a range, made once.
func (b *builder) inRange(i int, r version.Range) set {
	key := setKey{i, r.String()}
	if s, ok := b.sets[key]; ok {
		return s
	}
	d := &b.p.devices[i]
	s := newSet(len(d.options))
	for k, o := range d.options {
		if o.in(r) && !(d.exchanged && k == 0) {
			s.add(k)
		}
	}
	b.sets[key] = s
	return s
}

// prune takes out what can't be reached even if every device could be on all
// its options at once.
func (p *problem) prune() {
	reached := p.reach(p.start(), nil)
	for i := range p.devices {
		for k := range p.devices[i].options {
			if o := &p.devices[i].options[k]; !reached[i].has(k) {
				o.last, o.over = false, newSet(len(p.devices[i].options))
			}
		}
	}
}

// reach is, for each device, the options that it could get to from a state,
// none above limit (nil: no limit), if being on one option didn't mean to have
// left the others. What isn't in it can't be reached.
func (p *problem) reach(from, limit state) []set {
	reached := p.emptySets()
	for i := range p.devices {
		reached[i].add(from[i])
	}
	for again := true; again; {
		again = false
		for i := range p.devices {
			top := len(p.devices[i].options) - 1
			if limit != nil {
				top = limit[i]
			}
			for to := from[i] + 1; to <= top; to++ {
				if !reached[i].has(to) && p.reachable(reached, i, to) {
					reached[i].add(to)
					again = true
				}
			}
		}
	}
	return reached
}

// emptySets has a set for each device's options, in one piece of memory.
func (p *problem) emptySets() []set {
	words := 0
	for i := range p.devices {
		words += (len(p.devices[i].options) + 63) / 64
	}
	sets, room := make([]set, len(p.devices)), make(set, words)
	for i := range p.devices {
		n := (len(p.devices[i].options) + 63) / 64
		sets[i], room = room[:n:n], room[n:]
	}
	return sets
}

func (p *problem) reachable(reached []set, i, to int) bool {
	d := &p.devices[i]
	o := &d.options[to]
	if d.exchanged && o.canBegin && reached[i].has(0) {
		return true
	}
	if !o.over.overlaps(reached[i]) {
		return false
	}
	for _, n := range o.start {
		if !n.in.overlaps(reached[n.on]) {
			return false
		}
	}
	for k, h := range d.hosts {
		if p.devices[h].slot && o.passed[k].overlaps(reached[h]) {
			return true
		}
	}
	return d.hosts == nil && d.direct
}

// ordered goes through a map in the order of its keys.
func ordered[V any](m map[string]V) iter.Seq2[string, V] {
	return func(yield func(string, V) bool) {
		for _, k := range slices.Sorted(maps.Keys(m)) {
			if !yield(k, m[k]) {
				return
			}
		}
	}
}
