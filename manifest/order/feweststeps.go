package order

import "slices"

// walker finds how few steps lead from a state to a target, depth first. Each
// device's own releases say how few it could take alone (ownSteps); slack is how
// many steps more than those an order may take.
type walker struct {
	p         *problem
	target    state
	work      *work
	ownSteps  [][]int // for each device and option: steps to the target, were it alone
	asGoodAs  [][]set // for each device and option: the options that it is as good as, for the others
	pairs     []pair
	pairsOf   [][]int        // for each device, its pairs
	firstRise []int          // for each device, the number of its first rise
	failed    map[string]int // state → the most slack that didn't do
	graph     graph          // room for circular
	reached   map[string]int // state → the least slack that is known to do
}

const (
	far       = 1 << 20 // more steps than there can be
	unlimited = far / 2 // slack that leaves nothing out
	anySlack  = far     // slack that didn't do, and no other would
)

func newWalker(p *problem, target state, w *work) *walker {
	k := &walker{p: p, target: target, work: w, failed: map[string]int{}, reached: map[string]int{}}
	k.ownSteps = make([][]int, len(p.devices))
	k.asGoodAs = make([][]set, len(p.devices))
	for i := range p.devices {
		k.ownSteps[i] = p.ownSteps(i, target[i])
	}
	k.findPairs()
	for i, rules := range k.rulesOn() {
		k.asGoodAs[i] = k.asGood(i, rules)
	}
	return k
}

// ownSteps counts, for each option up to the target, the steps from it to there
// that a device's own releases allow.
func (p *problem) ownSteps(i, target int) []int {
	d := &p.devices[i]
	ownSteps := make([]int, target+1)
	for from := target - 1; from >= 0; from-- {
		ownSteps[from] = far
		for to := from + 1; to <= target; to++ {
			if d.options[to].over.has(from) || d.exchanged && from == 0 && d.options[to].canBegin {
				ownSteps[from] = min(ownSteps[from], ownSteps[to]+1)
			}
		}
	}
	return ownSteps
}

// rulesOn lists, for each device, the sets of its options that a release on
// the way to the target may ask for. What a host needs by the end counts, since
// it may be out of service without it.
func (k *walker) rulesOn() [][]set {
	rules := make([][]set, len(k.p.devices))
	for j := range k.p.devices {
		d := &k.p.devices[j]
		for to := 0; to <= k.target[j]; to++ {
			o := &d.options[to]
			for _, n := range o.start {
				rules[n.on] = append(rules[n.on], n.in)
			}
			for h, in := range o.passed {
				rules[d.hosts[h]] = append(rules[d.hosts[h]], in)
			}
			for _, n := range o.end {
				if d.hosting {
					rules[n.on] = append(rules[n.on], n.in)
				}
			}
		}
	}
	return rules
}

// asGood is, for each option of device i up to the target, those that are in no
// rule that it isn't in itself. A later release's `over` is a rule too.
func (k *walker) asGood(i int, rules []set) []set {
	rules = distinct(rules)
	target := k.target[i]
	good := make([]set, target+1)
	for w := range good {
		good[w] = allBelow(target + 1)
		for _, r := range rules {
			good[w].dropUnless(r, w)
		}
		for to := w + 1; to <= target; to++ {
			good[w].dropUnless(k.p.devices[i].options[to].over, w)
		}
	}
	return good
}

func distinct(sets []set) []set {
	slices.SortFunc(sets, func(a, b set) int { return slices.Compare(a, b) })
	return slices.CompactFunc(sets, func(a, b set) bool { return slices.Equal(a, b) })
}

// stepsAlone is the number of steps from a state to the target if each device could
// be updated alone: no order has fewer.
func (k *walker) stepsAlone(s state) int {
	n := 0
	for i := range s {
		n += k.ownSteps[i][s[i]]
	}
	return n
}

// steps is the least number of steps from a state to the target, or -1 where
// no order leads there. Neither is sure when the work is over.
func (k *walker) steps(s state) int {
	least := k.leastExtraSteps(s)
	if k.stepsAlone(s) >= far || least >= far || !k.reaches(s, unlimited) {
		return -1
	}
	for slack, leftOut := least, true; leftOut && !k.work.over(); slack++ {
		var ok bool
		if ok, leftOut = k.search(slices.Clone(s), slack); ok {
			return k.stepsAlone(s) + slack
		}
	}
	return -1
}

// reaches reports whether the target can be reached in stepsAlone+slack steps.
func (k *walker) reaches(s state, slack int) bool {
	ok, _ := k.search(slices.Clone(s), slack)
	return ok
}

// search is reaches, and reports whether it left something out for want of slack. It
// may change s.
func (k *walker) search(s state, slack int) (ok, leftOut bool) {
	k.takeHarmless(s, slack)
	var room [128]byte
	short := appendKey(room[:0], s)
	if least, found := k.reached[string(short)]; found && slack >= least {
		return true, true
	}
	if most, found := k.failed[string(short)]; found && slack <= most {
		return false, most < anySlack
	}
	key := string(short)
	ok, leftOut = k.branch(s, slack)
	switch {
	case ok:
		k.remember(k.reached, key, slack)
	case k.work.over():
	case leftOut:
		k.remember(k.failed, key, slack)
	default:
		k.remember(k.failed, key, anySlack)
	}
	return ok, leftOut
}

func (k *walker) remember(in map[string]int, key string, slack int) {
	if _, found := in[key]; !found {
		k.work.kept++
	}
	in[key] = slack
}

func (k *walker) key(s state) string { return string(appendKey(nil, s)) }

func appendKey(b []byte, s state) []byte {
	for _, o := range s {
		b = append(b, byte(o), byte(o>>8))
	}
	return b
}

// branch tries every step that the slack allows.
func (k *walker) branch(s state, slack int) (ok, leftOut bool) {
	if slices.Equal(s, k.target) {
		return true, false
	}
	if hopeless, forGood := k.hopeless(s, slack); hopeless {
		return false, !forGood
	}
	for i := range s {
		for to := s[i] + 1; to <= k.target[i]; to++ {
			done, out := k.tryStep(s, i, to, slack)
			if leftOut = leftOut || out; done || k.work.over() {
				return done, true
			}
		}
	}
	return false, leftOut
}

// tryStep goes on with one step.
func (k *walker) tryStep(s state, i, to, slack int) (ok, leftOut bool) {
	cost := 1 + k.ownSteps[i][to] - k.ownSteps[i][s[i]]
	if cost > unlimited/2 || k.allowedBy(s, i, to) == nowhere {
		return false, false
	}
	child := slices.Clone(s)
	child[i] = to
	if beyond := cost + k.extraSteps(child, i); beyond > slack {
		return false, beyond < far
	}
	return k.search(child, slack-cost)
}

// hopeless reports whether it is certain, without a search, that the target can't be
// reached from s within the slack, and whether no slack would help.
func (k *walker) hopeless(s state, slack int) (hopeless, forGood bool) {
	k.work.test(len(s) + len(k.pairs))
	switch {
	case !k.withinReach(s):
		return true, true
	case k.leastExtraSteps(s) > slack:
		return true, false
	case k.circular(s, slack):
		return true, k.circular(s, unlimited)
	}
	return false, false
}

// extraSteps is a number of steps that device i and one that it is paired with take
// at least beyond their own, or far.
func (k *walker) extraSteps(s state, i int) int {
	most := 0
	for _, n := range k.pairsOf[i] {
		d := &k.pairs[n]
		most = max(most, d.extra[s[d.i]][s[d.j]])
	}
	return most
}

// leastExtraSteps is a number of steps that all devices take at least beyond their
// own: pairs of which no device is in two add up.
func (k *walker) leastExtraSteps(s state) int {
	counted := newSet(len(s))
	sum := 0
	for n := range k.pairs {
		d := &k.pairs[n]
		if extra := d.extra[s[d.i]][s[d.j]]; extra > 0 && !counted.has(d.i) && !counted.has(d.j) {
			counted.add(d.i)
			counted.add(d.j)
			sum += extra
		}
	}
	return sum
}

func (k *walker) allowedBy(s state, i, to int) int {
	k.work.test(1)
	return k.p.allowed(s, i, to)
}

// withinReach is false for a state from which the target can't be reached.
func (k *walker) withinReach(s state) bool {
	reached := k.p.reach(s, k.target)
	for i := range s {
		if !reached[i].has(k.target[i]) {
			return false
		}
	}
	return true
}

// takeHarmless takes the steps that can't block any other.
func (k *walker) takeHarmless(s state, slack int) {
	for again := true; again; {
		again = false
		for i := range s {
			for to := k.target[i]; to > s[i]; to-- {
				if k.harmless(s, i, to, slack) && k.allowedBy(s, i, to) != nowhere {
					s[i], again = to, true
				}
			}
		}
	}
}

// harmless reports whether any walk from s within the slack can as well begin
// with putting device i on option to, if that is allowed: then no rule on the
// device is met by what the walk would have it on meanwhile and not by this
// option, and the device can't be out of service on it when it has to pass
// something on.
//
// Where the option is the last, the walk would have the device on anything up
// to there. Without slack, it would have it first where it is, and then on some
// option that is one hop nearer.
func (k *walker) harmless(s state, i, to, slack int) bool {
	from := s[i]
	if k.ownSteps[i][to] != k.ownSteps[i][from]-1 || k.p.exchangePending(s) || !k.staysInService(s, i, to) {
		return false
	}
	good := k.asGoodAs[i][to]
	if to == k.target[i] {
		return k.covers(good, from, to, func(int) bool { return true })
	}
	nearer := func(x int) bool { return x == from || k.ownSteps[i][x] == k.ownSteps[i][to] }
	return slack == 0 && k.covers(good, from, k.target[i], nearer) && k.nearest(i, from, to)
}

// covers reports whether all options from..to that matter are in good.
func (k *walker) covers(good set, from, to int, matters func(int) bool) bool {
	for x := from; x <= to; x++ {
		if matters(x) && !good.has(x) {
			return false
		}
	}
	return true
}

// nearest reports whether no option between is nearer to the target than to.
func (k *walker) nearest(i, from, to int) bool {
	for x := from + 1; x < to; x++ {
		if k.ownSteps[i][x] < k.ownSteps[i][to] {
			return false
		}
	}
	return true
}

// staysInService reports whether what the option needs by the end is met now and
// whatever steps follow, so that device i can be a host throughout.
func (k *walker) staysInService(s state, i, to int) bool {
	d := &k.p.devices[i]
	if !d.hosting {
		return true
	}
	for _, n := range d.options[to].end {
		if k.p.suffers(i, n.on) != i {
			continue
		}
		for x := s[n.on]; x <= k.target[n.on]; x++ {
			if !n.in.has(x) {
				return false
			}
		}
	}
	return true
}
