package order

import (
	"slices"
	"strings"
)

// move is one step of an order, in small numbers. Devices are numbered in the
// order of the vessel's file.
type move struct {
	device, from, to int
	host             int // a number in the device's hosts, or itself
	pack             int // the package, by number
}

// arranger brings the steps of all groups into one order: as few steps as can be,
// then the least cost, then the order of the file.
type arranger struct {
	groups           []*groupState
	places           []place // for each device of the vessel
	packs            []pack
	number           map[pack]int
	packOf           [][][]int // for each device, option and host, the package
	cantShare        []set     // for each package, those that it can't share a card with
	swapsAfter       [][][]int // for each device, option and host: swaps after that step, on the device's own way
	swapsOnly        bool      // as plans were made before time out of service counted: swaps only
	noWayBack        int       // steps without a way back, or none that is said, that were taken
	noneGiven        int       // those of them whose maker gives none
	sums             sums      // over all groups
	ruledOut         map[string]cost
	ruledOutWithCard map[string]cost
	postponed        []choice // room for next
	outageTries      int      // steps tried for less time out of service
	swapTries        int      // steps tried for fewer swaps
	limits           limits
}

// place is a device's group and its number there.
type place struct{ group, device int }

func newArranger(groups []*groupState, at []place, swapsOnly bool, limits limits) *arranger {
	a := &arranger{
		groups: groups, places: at, swapsOnly: swapsOnly, limits: limits,
		number: map[pack]int{}, ruledOut: map[string]cost{}, ruledOutWithCard: map[string]cost{},
	}
	for i := range at {
		g, j := a.group(i)
		of := make([][]int, g.target[j]+1)
		for to := g.now[j] + 1; to <= g.target[j]; to++ {
			for h := range max(1, len(g.p.devices[j].hosts)) {
				of[to] = append(of[to], a.addPack(g.pack(j, to, h)))
			}
		}
		a.packOf = append(a.packOf, of)
	}
	for _, g := range groups {
		a.sums.add(g.sums(), 1)
	}
	for n, p := range a.packs {
		a.cantShare = append(a.cantShare, newSet(len(a.packs)))
		for m, q := range a.packs {
			if n != m && p.rules != nil && q.rules != nil && !share(p, q) {
				a.cantShare[n].add(m)
			}
		}
	}
	collide(a.packs, func(n, m int) {
		a.cantShare[n].add(m)
		a.cantShare[m].add(n)
	})
	for i := range at {
		a.swapsAfter = append(a.swapsAfter, swapsAfterEach(a, i))
	}
	return a
}

func (a *arranger) group(device int) (*groupState, int) {
	return a.groups[a.places[device].group], a.places[device].device
}

// addPack numbers a package; what no card can bring has number 0.
func (a *arranger) addPack(p pack) int {
	n, ok := a.number[p]
	if !ok && p.release != nil {
		n = len(a.packs)
		a.number[p] = n
		a.packs = append(a.packs, p)
	}
	return n
}

// pack is the package of putting device i on option to, by its k-th host if it
// has hosts.
func (g *groupState) pack(i, to, host int) pack {
	d := &g.p.devices[i]
	p := pack{d.options[to].release, d.model, d.model.Card, true}
	if d.route != "" {
		p.rules = nil // it comes from no card
	}
	if d.hosts != nil {
		p.rules, p.itself = g.p.devices[d.hosts[host]].model.Card, false
	}
	return p
}

// shortestMoves lists the steps that a shortest order can go on with, in the order of
// preference.
func (a *arranger) shortestMoves(yield func(move) bool) {
	var last move
	onTheWay := false
	for m := range a.allowedMoves {
		if m.device != last.device || m.to != last.to {
			g, j := a.group(m.device)
			last, onTheWay = m, g.onTheWay(j, m.to)
		}
		if onTheWay && !yield(m) {
			return
		}
	}
}

// allowedMoves lists the steps that are allowed now, whether a shortest order can go
// on with them or not.
func (a *arranger) allowedMoves(yield func(move) bool) {
	for i := range a.places {
		g, j := a.group(i)
		for to := g.target[j]; to > g.now[j]; to-- {
			for host := g.allowedBy(g.now, j, to); host != nowhere; host = g.p.host(g.now, j, to, host+1) {
				m := move{i, g.now[j], to, host, a.packOf[i][to][max(host, 0)]}
				if !yield(m) {
					return
				}
				if host == itself {
					break
				}
			}
		}
	}
}

// onTheWay reports whether a shortest order can go on with this step, which is
// allowed.
func (g *groupState) onTheWay(i, to int) bool {
	slack := g.left - g.walker.stepsAlone(g.now)
	if g.harmless(g.now, i, to, slack) {
		return true
	}
	next := slices.Clone(g.now)
	next[i] = to
	slack = g.left - 1 - g.walker.stepsAlone(next)
	return slack >= 0 && g.reaches(next, slack)
}

// take takes a step, and says what it costs but for swaps.
func (a *arranger) take(m move) cost {
	g, j := a.group(m.device)
	o := &g.p.devices[j].options[m.to]
	out := a.sums.weight
	out += a.put(g, j, m.to, -1)
	if a.swapsOnly {
		return cost{}
	}
	c := cost{outage: o.minutes() * out}
	switch {
	case o.noneGiven:
		a.noWayBack++
		a.noneGiven++
	case o.noWayBack:
		c.beforeUnsaid = a.noneGiven
		a.noWayBack++
	default:
		c.beforeBack = a.noWayBack
	}
	return c
}

func (a *arranger) takeBack(m move) {
	g, j := a.group(m.device)
	a.put(g, j, m.from, 1)
	if a.swapsOnly {
		return
	}
	if g.p.devices[j].options[m.to].noWayBack {
		a.noWayBack--
	}
	if g.p.devices[j].options[m.to].noneGiven {
		a.noneGiven--
	}
}

// put brings a group's device to an option, and gives the weight of the devices that
// go out of service by it; left is by how much the steps left change.
func (a *arranger) put(g *groupState, j, option, left int) int {
	a.sums.add(g.sums(), -1)
	lost := g.put(j, option)
	g.left += left
	a.sums.add(g.sums(), 1)
	return lost
}

// leastCost is what every order costs at least from here, but for swaps.
func (a *arranger) leastCost() cost {
	if a.swapsOnly {
		return cost{}
	}
	return cost{beforeBack: a.sums.forced + a.noWayBack*a.sums.back, beforeUnsaid: a.noneGiven * a.sums.unsaid, outage: a.sums.outage}
}

func (a *arranger) done() bool { return a.sums.left == 0 }

// settled says which of an order's costs are sure to be the least.
type settled struct{ outage, swaps bool }

// order is the preferred order, or nil when the work was over before there was
// one.
func (a *arranger) order() (moves []move, sure settled) {
	card := newSet(len(a.packs))
	if a.swapsOnly {
		moves, swaps := a.lazyOrder(card)
		return a.fewerSwaps(moves, cost{swaps: swaps})
	}
	switch moves, total, ok := a.greedy(card, true); {
	case !ok:
		return a.fallback(card)
	case total == (cost{}):
		return moves, settled{true, true}
	case moves != nil:
		return a.fewerSwaps(moves, total)
	}
	return a.leastOutageOrder(card)
}

// fallback is a safe order of fewest steps, where a bound was reached before the
// preferred one was found.
func (a *arranger) fallback(card set) ([]move, settled) {
	for _, g := range a.groups {
		g.work = a.limits.work()
	}
	moves, _ := a.lazyOrder(card)
	return moves, settled{}
}

// fewerSwaps looks for the order with the fewest swaps, and the first of those
// in the order of the file, among those that cost no more otherwise.
func (a *arranger) fewerSwaps(moves []move, total cost) ([]move, settled) {
	if moves == nil || a.swapsOnly && total.swaps == 0 {
		return moves, settled{true, true}
	}
	card := newSet(len(a.packs))
	for swaps := leastSwaps(a, card); swaps <= total.swaps && a.swapTries <= a.limits.swapTries; swaps++ {
		clear(a.ruledOutWithCard)
		if better, ok := a.searchSwaps(card, cost{total.beforeBack, total.beforeUnsaid, total.outage, swaps}); ok {
			return better, settled{true, true}
		}
	}
	return moves, settled{outage: true}
}

// lazyOrder is an order that swaps cards only when it must.
func (a *arranger) lazyOrder(card set) (moves []move, swaps int) {
	card, moves = card.clone(), []move{}
	for !a.done() {
		var next move
		found := false
		for m := range a.shortestMoves {
			if stays := !card.overlaps(a.cantShare[m.pack]); stays || !found {
				next, found = m, true
				if stays {
					break
				}
			}
		}
		if !found {
			return nil, 0
		}
		if card.overlaps(a.cantShare[next.pack]) {
			card, swaps = newSet(len(a.packs)), swaps+1
		}
		card.add(next.pack)
		a.take(next)
		moves = append(moves, next)
	}
	a.takeAllBack(moves)
	return moves, swaps
}

// searchSwaps finds the first order, in the order of preference, that costs at most
// so much, depth first.
func (a *arranger) searchSwaps(card set, most cost) ([]move, bool) {
	if a.done() {
		return nil, true
	}
	least := a.leastCost()
	if least.swaps = leastSwaps(a, card); least.compare(most) > 0 {
		return nil, false
	}
	if !a.swapsOnly && a.isRuledOut(a.ruledOut, a.key(nil), most.withoutSwaps()) {
		return nil, false
	}
	key := a.key(card)
	if a.isRuledOut(a.ruledOutWithCard, key, most) {
		return nil, false
	}
	for m := range a.shortestMoves {
		rest, ok := a.searchSwapsFrom(card, most, m)
		if ok {
			return append([]move{m}, rest...), true
		}
		if a.swapTries++; a.swapTries > a.limits.swapTries || !a.swapsOnly && a.over() {
			return nil, false
		}
	}
	a.ruledOutWithCard[key] = most
	return nil, false
}

// isRuledOut reports whether it is known already that no order from here costs so
// little.
func (a *arranger) isRuledOut(failed map[string]cost, key string, most cost) bool {
	c, ok := failed[key]
	return ok && most.compare(c) <= 0
}

func (a *arranger) over() bool {
	return slices.ContainsFunc(a.groups, func(g *groupState) bool { return g.work.over() })
}

func (a *arranger) searchSwapsFrom(card set, most cost, m move) ([]move, bool) {
	next := card.clone()
	if card.overlaps(a.cantShare[m.pack]) {
		next = newSet(len(a.packs))
		most.swaps--
	}
	if next.add(m.pack); a.cantShare[m.pack].first() < 0 {
		next.drop(m.pack) // it never matters
	}
	most = most.minus(a.take(m))
	defer a.takeBack(m)
	if (cost{}).compare(most) > 0 {
		return nil, false
	}
	return a.searchSwaps(next, most)
}

func (a *arranger) key(card set) string {
	var b strings.Builder
	for _, g := range a.groups {
		b.WriteString(g.key(g.now))
	}
	b.WriteByte(byte(a.noWayBack))
	b.WriteByte(byte(a.noWayBack >> 8))
	b.WriteByte(byte(a.noneGiven))
	b.WriteByte(byte(a.noneGiven >> 8))
	for _, w := range card {
		for i := range 8 {
			b.WriteByte(byte(w >> (8 * i)))
		}
	}
	return b.String()
}
