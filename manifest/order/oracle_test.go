package order

// The oracle answers a planning question by going through everything, straight
// from the rules in doc.go and from the manifest's types. It shares no code with
// the planner. It works where all versions are whole numbers from 1 to its grid:
// a version n is the number 2n here, and the gap after it 2n+1.

import (
	"fmt"
	"slices"
	"strings"

	"cardwright/manifest"
	"cardwright/manifest/version"
)

type oracle struct {
	shop   *manifest.Shop
	vessel *manifest.Vessel
	ask    Ask
	top    int // the greatest number that a version can have
	struck map[factKey]bool
}

// factKey names a fact by its kind and place; what was asked, by its text.
type factKey struct {
	kind         Kind
	line, column int
	asked        string
}

func keyOf(kind Kind, at manifest.Pos) factKey { return factKey{kind, at.Line, at.Column, ""} }

func askedKey(text string) factKey { return factKey{KindAsked, 0, 0, text} }

func (o *oracle) stands(kind Kind, at manifest.Pos) bool {
	return o.struck == nil || !o.struck[keyOf(kind, at)]
}

func (o *oracle) asked(text string) bool { return !o.struck[askedKey(text)] }

func (o *oracle) alone(d *manifest.Device) bool {
	only := len(o.ask.Only) == 0 || slices.Contains(o.ask.Only, d.ID)
	return (slices.Contains(o.ask.Hold, d.ID) || !only) && o.asked("asked: "+d.ID+" is left alone")
}

// facts lists every fact there is, by key.
func (o *oracle) facts() []factKey {
	var keys []factKey
	ofDevice := []Kind{KindHold, KindThrough, KindNoSlot, KindInstalled}
	if len(o.ask.Back) > 0 {
		ofDevice[3] = KindWayBack
	}
	for _, d := range o.vessel.Devices {
		for _, k := range ofDevice {
			keys = append(keys, keyOf(k, d.At("")))
		}
		keys = append(keys, askedKey(goesBack(o.ask.back(d.ID))))
		keys = append(keys, askedKey("asked: "+d.ID+" is left alone"))
	}
	for _, m := range o.shop.Models {
		keys = append(keys, keyOf(KindAlike, m.At("")))
		if len(o.ask.Back) == 0 {
			keys = append(keys, keyOf(KindCatalogue, m.At("")))
		}
		keys = append(keys, askedKey(fmt.Sprintf("asked: %s ends on %s", m.ID, o.ask.Aim[m.ID])))
		for _, r := range m.Releases {
			for _, k := range []Kind{KindOver, KindPassedOn, KindWithdrawn, KindWayBack} {
				keys = append(keys, keyOf(k, r.At("")))
			}
			for _, n := range r.Needs {
				keys = append(keys, keyOf(KindNeed, n.At("")))
			}
		}
	}
	return keys
}

func number(v version.V) int {
	n := 0
	for _, digit := range v {
		n = 10*n + int(digit-'0')
	}
	return 2 * n
}

func inside(n int, r version.Range) bool {
	for _, b := range r {
		c, ok := number(b.V), false
		switch b.Op {
		case version.AtLeast:
			ok = n >= c
		case version.After:
			ok = n > c
		case version.AtMost:
			ok = n <= c
		case version.Before:
			ok = n < c
		case version.Exactly:
			ok = n == c
		}
		if !ok {
			return false
		}
	}
	return true
}

// running is the release that a device on version n runs, or nil.
func (o *oracle) running(d *manifest.Device, n int) *manifest.Release {
	for _, r := range o.shop.Model(d.Model).Releases {
		if r.Variant == d.Variant && number(r.Version) == n {
			return r
		}
	}
	return nil
}

// starts lists every state that the visit can begin with.
func (o *oracle) starts() [][]int {
	states := [][]int{{}}
	for _, d := range o.vessel.Devices {
		var versions []int
		if o.stands(KindInstalled, d.At("")) {
			versions = []int{number(d.Version)}
		} else {
			for n := 1; n <= o.top; n++ {
				versions = append(versions, n)
			}
		}
		var longer [][]int
		for _, s := range states {
			for _, n := range versions {
				longer = append(longer, append(slices.Clone(s), n))
			}
		}
		states = longer
	}
	return states
}

// met reports whether every device that a need binds is in its range.
func (o *oracle) met(s []int, n *manifest.Need) bool {
	if !o.stands(KindNeed, n.At("")) {
		return true
	}
	for j, e := range o.vessel.Devices {
		if e.Model == n.Model && !inside(s[j], n.Version) {
			return false
		}
	}
	return true
}

func (o *oracle) out(s []int, i int) bool {
	me := o.vessel.Devices[i]
	for j, a := range o.vessel.Devices {
		r := o.running(a, s[j])
		if r == nil {
			continue
		}
		for _, n := range r.Needs {
			if n.By == manifest.ByStart || !o.stands(KindNeed, n.At("")) {
				continue
			}
			for k, b := range o.vessel.Devices {
				if b.Model != n.Model || inside(s[k], n.Version) {
					continue
				}
				suffers := a
				if slices.Contains(b.Through, a.ID) {
					suffers = b
				}
				if suffers == me {
					return true
				}
			}
		}
	}
	return false
}

// step is one step that the oracle takes: which device, to which version, and
// through which host ("" for none).
type step struct {
	device, to int
	through    string
}

// steps lists the steps allowed in a state, in the order of preference.
func (o *oracle) steps(s []int) []step {
	var all []step
	for i := range o.vessel.Devices {
		for to := o.top; to > s[i] && len(o.ask.Back) == 0; to-- {
			for _, way := range o.ways(s, i, to) {
				all = append(all, step{i, to, way})
			}
		}
		for to := 1; to < s[i] && len(o.ask.Back) > 0; to++ { // the furthest back first
			for _, way := range o.ways(s, i, to) {
				all = append(all, step{i, to, way})
			}
		}
	}
	return all
}

func (o *oracle) ways(s []int, i, to int) []string {
	d := o.vessel.Devices[i]
	m := o.shop.Model(d.Model)
	r := o.running(d, to)
	switch {
	case o.alone(d):
		return nil
	case r == nil && o.stands(KindCatalogue, m.At("")):
		return nil
	case r != nil && r.Withdrawn != "" && o.stands(KindWithdrawn, r.At("")) && !o.byName(d, to):
		return nil
	case to < s[i] && !o.leadsBack(d, s[i], to):
		return nil
	}
	var passed version.Range
	if r != nil {
		if to > s[i] && o.stands(KindOver, r.At("")) && !inside(s[i], r.Over) {
			return nil
		}
		for _, n := range r.Needs {
			if n.By == manifest.ByStart && !o.met(s, n) {
				return nil
			}
		}
		if o.stands(KindPassedOn, r.At("")) {
			passed = r.PassedOnBy
		}
	}
	if len(d.Through) == 0 || !o.stands(KindThrough, d.At("")) {
		struck := len(d.Through) > 0 || !o.stands(KindNoSlot, d.At(""))
		switch m.Route {
		case "cable", "program", "maker":
			return []string{""}
		case "none":
			if !struck {
				return nil
			}
		}
		if m.Card != nil || struck {
			return []string{""}
		}
		return nil
	}
	var ways []string
	for _, id := range d.Through {
		h := slices.IndexFunc(o.vessel.Devices, func(e *manifest.Device) bool { return e.ID == id })
		host := o.vessel.Devices[h]
		slot := o.shop.Model(host.Model).Card != nil || !o.stands(KindNoSlot, host.At(""))
		if slot && inside(s[h], passed) && !o.out(s, h) {
			ways = append(ways, id)
		}
	}
	return ways
}

// leadsBack reports whether there is a way back from one version to an older one.
func (o *oracle) leadsBack(d *manifest.Device, n, to int) bool {
	from, older := o.running(d, n), o.running(d, to)
	if older == nil || len(older.Files) == 0 {
		return false
	}
	over := !o.stands(KindOver, older.At("")) || inside(n, older.Over)
	if from == nil {
		return over && !o.stands(KindWayBack, d.At(""))
	}
	said := from.WayBack != nil && *from.WayBack
	if len(from.BackTo) == 0 {
		return over && (said || !o.stands(KindWayBack, from.At("")))
	}
	return said && inside(to, from.BackTo) || !o.stands(KindWayBack, from.At(""))
}

// byName reports whether a device was asked to go back to this very version, with why.
func (o *oracle) byName(d *manifest.Device, n int) bool {
	back := o.ask.back(d.ID)
	return back.Why != "" && back.To != "" && number(back.To) == n
}

func (a Ask) back(id string) Return {
	for _, b := range a.Back {
		if b.Device == id {
			return b
		}
	}
	return Return{}
}

func goesBack(b Return) string {
	text := "asked: " + b.Device + " goes back"
	if b.To != "" {
		text += " to " + string(b.To)
	}
	return text
}

// mayEnd reports whether the visit may end in a state.
func (o *oracle) mayEnd(s []int) bool {
	for i, d := range o.vessel.Devices {
		m := o.shop.Model(d.Model)
		if o.stands(KindHold, d.At("")) && !inside(s[i], d.Hold) {
			return false
		}
		if v, ok := o.ask.Aim[d.Model]; ok && s[i] != number(v) && o.asked(fmt.Sprintf("asked: %s ends on %s", d.Model, v)) {
			return false
		}
		if b := o.ask.back(d.ID); b.Device != "" && o.asked(goesBack(b)) {
			if s[i] >= number(d.Version) || b.To != "" && s[i] != number(b.To) {
				return false
			}
		}
		if r := o.running(d, s[i]); r != nil {
			for _, n := range r.Needs {
				if n.By == manifest.ByEnd && !o.met(s, n) {
					return false
				}
			}
		}
		for j, e := range o.vessel.Devices {
			if e.Model == d.Model && m.Alike && o.stands(KindAlike, m.At("")) && s[j] != s[i] {
				return false
			}
		}
	}
	return true
}

// ends lists every state that the visit may end in and that steps lead to, or
// just one of them.
func (o *oracle) ends(one bool) [][]int {
	states := 1
	for range o.vessel.Devices {
		states *= o.top + 1
	}
	seen := make([]bool, states)
	var todo, ends [][]int
	add := func(s []int) {
		if key := o.place(s); !seen[key] {
			seen[key] = true
			todo = append(todo, slices.Clone(s))
		}
	}
	for _, s := range o.starts() {
		add(s)
	}
	for len(todo) > 0 {
		s := todo[len(todo)-1]
		todo = todo[:len(todo)-1]
		if o.mayEnd(s) {
			if ends = append(ends, slices.Clone(s)); one {
				break
			}
		}
		for _, st := range o.steps(s) {
			from := s[st.device]
			s[st.device] = st.to
			add(s)
			s[st.device] = from
		}
	}
	return ends
}

// place is a state as one number.
func (o *oracle) place(s []int) int {
	key := 0
	for _, n := range s {
		key = key*(o.top+1) + n
	}
	return key
}

func after(s []int, st step) []int {
	t := slices.Clone(s)
	t[st.device] = st.to
	return t
}

// behind counts, for each device, the newer versions of its variant that are
// not withdrawn.
func (o *oracle) behind(s []int) []int {
	b := make([]int, len(s))
	for i, d := range o.vessel.Devices {
		for _, r := range o.shop.Model(d.Model).Releases {
			n := number(r.Version)
			if r.Variant == d.Variant && r.Withdrawn == "" && n > s[i] && len(o.ask.Back) == 0 {
				b[i]++
			}
			// given back: what it ran counts for what it goes to
			if r.Variant == d.Variant && (r.Withdrawn == "" || o.byName(d, n)) && n >= s[i] && n < number(d.Version) && len(o.ask.Back) > 0 {
				b[i]++
			}
		}
	}
	return b
}

// newest is the end that is preferred, or nil.
func (o *oracle) newest() []int {
	var best, bestKey []int
	for _, s := range o.ends(false) {
		b := o.behind(s)
		sum, displays := 0, 0
		for i, n := range b {
			sum += n
			if o.shop.Model(o.vessel.Devices[i].Model).Kind == "chart display" {
				displays += n
			}
		}
		key := append([]int{sum, displays}, b...)
		if best == nil || slices.Compare(key, bestKey) < 0 {
			best, bestKey = s, key
		}
	}
	return best
}

// route is an order with what it costs, in the order in which that matters.
type route struct {
	steps                              []step
	count, early, never, outage, swaps int
	ok                                 bool
}

func (r route) costs() []int { return []int{r.count, r.early, r.never, r.outage, r.swaps} }

// best is the preferred order to an end.
func (o *oracle) best(end []int) route {
	memo := map[string]route{}
	var from func(s []int, finals, nevers int, card []step) route
	from = func(s []int, finals, nevers int, card []step) route {
		if slices.Equal(s, end) {
			return route{ok: true}
		}
		key := fmt.Sprint(s, finals, nevers, sortedSteps(card))
		if r, ok := memo[key]; ok {
			return r
		}
		var best route
		for _, st := range o.steps(s) {
			if beyond := st.to > end[st.device]; st.to != end[st.device] && beyond == (len(o.ask.Back) == 0) {
				continue
			}
			swap, onCard := 0, append(slices.Clone(card), st)
			for _, other := range card {
				if o.apart(st, other) {
					swap, onCard = 1, []step{st}
				}
			}
			taken, early, noneTaken, never := finals, finals, nevers, 0
			if o.final(st) && len(o.ask.Back) == 0 {
				taken, early, never = finals+1, 0, nevers
				if r := o.running(o.vessel.Devices[st.device], st.to); r.WayBack != nil {
					noneTaken, never = nevers+1, 0
				}
			}
			rest := from(after(s, st), taken, noneTaken, onCard)
			r := route{
				append([]step{st}, rest.steps...), rest.count + 1, rest.early + early, rest.never + never,
				rest.outage + o.outage(s, st), rest.swaps + swap, rest.ok,
			}
			if o.ask.Earlier == SwapsOnly {
				r.early, r.never, r.outage = 0, 0, 0
			}
			if r.ok && (!best.ok || slices.Compare(r.costs(), best.costs()) < 0) {
				best = r // of equal ones, the first is preferred
			}
		}
		memo[key] = best
		return best
	}
	start := make([]int, len(o.vessel.Devices))
	for i, d := range o.vessel.Devices {
		start[i] = number(d.Version)
	}
	return from(start, 0, 0, nil)
}

// final reports whether a step has no way back that its maker says there is; builds
// before took one that isn't said for one that is there.
func (o *oracle) final(st step) bool {
	r := o.running(o.vessel.Devices[st.device], st.to)
	if r == nil || r.WayBack != nil && *r.WayBack {
		return false
	}
	return r.WayBack != nil || o.ask.Earlier != UnsaidGoesBack
}

// outage is a step's minutes, for every device that is out of service before it
// or after it, times the device's weight.
func (o *oracle) outage(s []int, st step) int {
	minutes := 10 // where the catalogue doesn't say
	if r := o.running(o.vessel.Devices[st.device], st.to); r != nil && r.Minutes > 0 {
		minutes = r.Minutes
	}
	sum := 0
	for i, d := range o.vessel.Devices {
		if o.out(s, i) || o.out(after(s, st), i) {
			switch o.shop.Model(d.Model).Kind {
			case "autopilot computer", "heading sensor":
				sum += 4 * minutes
			case "position sensor", "chart display", "radar", "sounder":
				sum += 3 * minutes
			case "transponder", "radio":
				sum += 2 * minutes
			default:
				sum += minutes
			}
		}
	}
	return sum
}

func sortedSteps(card []step) []string {
	var all []string
	for _, st := range card {
		all = append(all, fmt.Sprint(st))
	}
	slices.Sort(all)
	return all
}

// apart reports whether two steps can't share a card.
func (o *oracle) apart(a, b step) bool {
	ra, ca, ma := o.carried(a)
	rb, cb, mb := o.carried(b)
	if ca == nil || cb == nil {
		return false
	}
	if 105*int64(ca.Most) < 92*int64(cb.Least) || 105*int64(cb.Most) < 92*int64(ca.Least) {
		return true
	}
	if ra == rb {
		return false
	}
	if ca.Alone || cb.Alone || ma == mb && a.through == "" && b.through == "" && ca.AtPowerUp && cb.AtPowerUp {
		return true
	}
	if ca.Folder == manifest.AnyFolder || cb.Folder == manifest.AnyFolder {
		return false
	}
	fa, fb := strings.ToLower(strings.TrimSuffix(ca.Folder, "/")+"/"), strings.ToLower(strings.TrimSuffix(cb.Folder, "/")+"/")
	if ma == mb && (strings.HasPrefix(fa, fb) || strings.HasPrefix(fb, fa)) {
		return true
	}
	if fa != fb {
		return false
	}
	for _, f := range ra.Files {
		for _, g := range rb.Files {
			if strings.EqualFold(f.Name, g.Name) && f.SHA256 != g.SHA256 {
				return true
			}
		}
	}
	return false
}

func (o *oracle) carried(st step) (*manifest.Release, *manifest.CardRules, *manifest.Model) {
	d := o.vessel.Devices[st.device]
	carrier := d
	if st.through != "" {
		carrier = o.vessel.Device(st.through)
	} else if o.shop.Model(d.Model).Route != "" {
		return o.running(d, st.to), nil, o.shop.Model(d.Model) // from no card
	}
	return o.running(d, st.to), o.shop.Model(carrier.Model).Card, o.shop.Model(d.Model)
}
