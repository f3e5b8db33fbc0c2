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

// arranger brings the steps of all components into one order: as few steps as
// can be, then the least cost, then the order of the file.
type arranger struct {
	parts   []*part
	at      []place // for each device of the vessel
	packs   []pack
	number  map[pack]int
	packOf  [][][]int // for each device, option and host, the package
	apart   []set     // for each package, those that it can't share a card with
	ownWay  [][][]int // for each device, option and host: swaps after that step, on the device's own way
	earlier bool      // as plans were made before time out of service counted: swaps only
	finals  int       // steps without a way back, or none that is said, that were taken
	nevers  int       // those of them whose maker gives none
	sums    sums      // over all parts
	calmed  map[string]cost
	failed  map[string]cost
	rest    []choice // room for next
	weighed int      // steps tried for less time out of service
	tried   int      // steps tried for fewer swaps
	limits  limits
}

// place is a device's component and its number there.
type place struct{ part, device int }

func newArranger(parts []*part, at []place, earlier bool, limits limits) *arranger {
	a := &arranger{
		parts: parts, at: at, earlier: earlier, limits: limits,
		number: map[pack]int{}, calmed: map[string]cost{}, failed: map[string]cost{},
	}
	for i := range at {
		k, j := a.part(i)
		of := make([][]int, k.target[j]+1)
		for to := k.now[j] + 1; to <= k.target[j]; to++ {
			for h := range max(1, len(k.p.devices[j].hosts)) {
				of[to] = append(of[to], a.addPack(k.pack(j, to, h)))
			}
		}
		a.packOf = append(a.packOf, of)
	}
	for _, k := range parts {
		a.sums.add(k.sums(), 1)
	}
	for n, p := range a.packs {
		a.apart = append(a.apart, newSet(len(a.packs)))
		for m, q := range a.packs {
			if n != m && p.rules != nil && q.rules != nil && !share(p, q) {
				a.apart[n].add(m)
			}
		}
	}
	collide(a.packs, func(n, m int) {
		a.apart[n].add(m)
		a.apart[m].add(n)
	})
	for i := range at {
		a.ownWay = append(a.ownWay, a.swapsOnOwnWay(i))
	}
	return a
}

func (a *arranger) part(device int) (*part, int) {
	return a.parts[a.at[device].part], a.at[device].device
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
func (k *part) pack(i, to, host int) pack {
	d := &k.p.devices[i]
	p := pack{d.options[to].release, d.model, d.model.Card, true}
	if d.route != "" {
		p.rules = nil // it comes from no card
	}
	if d.hosts != nil {
		p.rules, p.itself = k.p.devices[d.hosts[host]].model.Card, false
	}
	return p
}

// moves lists the steps that a shortest order can go on with, in the order of
// preference.
func (a *arranger) moves(yield func(move) bool) {
	var last move
	onTheWay := false
	for m := range a.allowed {
		if m.device != last.device || m.to != last.to {
			k, j := a.part(m.device)
			last, onTheWay = m, k.onTheWay(j, m.to)
		}
		if onTheWay && !yield(m) {
			return
		}
	}
}

// allowed lists the steps that are allowed now, whether a shortest order can go
// on with them or not.
func (a *arranger) allowed(yield func(move) bool) {
	for i := range a.at {
		k, j := a.part(i)
		for to := k.target[j]; to > k.now[j]; to-- {
			for host := k.way(k.now, j, to); host != nowhere; host = k.p.host(k.now, j, to, host+1) {
				m := move{i, k.now[j], to, host, a.packOf[i][to][max(host, 0)]}
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

// onTheWay tells whether a shortest order can go on with this step, which is
// allowed.
func (k *part) onTheWay(i, to int) bool {
	slack := k.left - k.walker.left(k.now)
	if k.harmless(k.now, i, to, slack) {
		return true
	}
	next := slices.Clone(k.now)
	next[i] = to
	slack = k.left - 1 - k.walker.left(next)
	return slack >= 0 && k.can(next, slack)
}

// take takes a step, and says what it costs but for swaps.
func (a *arranger) take(m move) cost {
	k, j := a.part(m.device)
	o := &k.p.devices[j].options[m.to]
	out := a.sums.weight
	out += a.put(k, j, m.to, -1)
	if a.earlier {
		return cost{}
	}
	c := cost{outage: o.minutes() * out}
	switch {
	case o.never:
		a.finals++
		a.nevers++
	case o.final:
		c.never = a.nevers
		a.finals++
	default:
		c.early = a.finals
	}
	return c
}

func (a *arranger) takeBack(m move) {
	k, j := a.part(m.device)
	a.put(k, j, m.from, 1)
	if a.earlier {
		return
	}
	if k.p.devices[j].options[m.to].final {
		a.finals--
	}
	if k.p.devices[j].options[m.to].never {
		a.nevers--
	}
}

// put brings a part's device to an option, by so many steps left, and gives the
// weight that is lost by it.
func (a *arranger) put(k *part, j, option, left int) int {
	a.sums.add(k.sums(), -1)
	lost := k.put(j, option)
	k.left += left
	a.sums.add(k.sums(), 1)
	return lost
}

// least is a cost that can't be avoided from here, but for swaps.
func (a *arranger) least() cost {
	if a.earlier {
		return cost{}
	}
	return cost{early: a.sums.forced + a.finals*a.sums.back, never: a.nevers * a.sums.unsaid, outage: a.sums.outage}
}

func (a *arranger) done() bool { return a.sums.left == 0 }

// settled says what of an order is sure to be as preferred.
type settled struct{ calm, swaps bool }

// order is the preferred order, or nil when the work was over before there was
// one.
func (a *arranger) order() (moves []move, sure settled) {
	card := newSet(len(a.packs))
	if a.earlier {
		moves, swaps := a.quick(card)
		return a.fewerSwaps(moves, cost{swaps: swaps})
	}
	switch moves, total, ok := a.greedy(card, true); {
	case !ok:
		return a.anyOrder(card)
	case total == (cost{}):
		return moves, settled{true, true}
	case moves != nil:
		return a.fewerSwaps(moves, total)
	}
	return a.calmest(card)
}

// anyOrder is what is left where the work is over.
func (a *arranger) anyOrder(card set) ([]move, settled) {
	for _, k := range a.parts {
		k.work = a.limits.work()
	}
	moves, _ := a.quick(card)
	return moves, settled{}
}

// fewerSwaps looks for the order with the fewest swaps, and the first of those
// in the order of the file, among those that cost no more otherwise.
func (a *arranger) fewerSwaps(moves []move, total cost) ([]move, settled) {
	if moves == nil || a.earlier && total.swaps == 0 {
		return moves, settled{true, true}
	}
	card := newSet(len(a.packs))
	for swaps := a.leastSwaps(card); swaps <= total.swaps && a.tried <= a.limits.arranged; swaps++ {
		clear(a.failed)
		if better, ok := a.search(card, cost{total.early, total.never, total.outage, swaps}); ok {
			return better, settled{true, true}
		}
	}
	return moves, settled{calm: true}
}

// quick is an order made by never swapping cards before it must.
func (a *arranger) quick(card set) (moves []move, swaps int) {
	card, moves = card.clone(), []move{}
	for !a.done() {
		var next move
		found := false
		for m := range a.moves {
			if stays := !card.meets(a.apart[m.pack]); stays || !found {
				next, found = m, true
				if stays {
					break
				}
			}
		}
		if !found {
			return nil, 0
		}
		if card.meets(a.apart[next.pack]) {
			card, swaps = newSet(len(a.packs)), swaps+1
		}
		card.add(next.pack)
		a.take(next)
		moves = append(moves, next)
	}
	a.undo(moves)
	return moves, swaps
}

// search finds the first order, in the order of preference, that costs at most
// so much, depth first.
func (a *arranger) search(card set, most cost) ([]move, bool) {
	if a.done() {
		return nil, true
	}
	least := a.least()
	if least.swaps = a.leastSwaps(card); least.compare(most) > 0 {
		return nil, false
	}
	if !a.earlier && a.known(a.calmed, a.key(nil), most.calm()) {
		return nil, false
	}
	key := a.key(card)
	if a.known(a.failed, key, most) {
		return nil, false
	}
	for m := range a.moves {
		rest, ok := a.goOn(card, most, m)
		if ok {
			return append([]move{m}, rest...), true
		}
		if a.tried++; a.tried > a.limits.arranged || !a.earlier && a.over() {
			return nil, false
		}
	}
	a.failed[key] = most
	return nil, false
}

// known tells whether it is remembered that no order from here costs so little.
func (a *arranger) known(failed map[string]cost, key string, most cost) bool {
	c, ok := failed[key]
	return ok && most.compare(c) <= 0
}

func (a *arranger) over() bool {
	return slices.ContainsFunc(a.parts, func(k *part) bool { return k.work.over() })
}

func (a *arranger) goOn(card set, most cost, m move) ([]move, bool) {
	next := card.clone()
	if card.meets(a.apart[m.pack]) {
		next = newSet(len(a.packs))
		most.swaps--
	}
	if next.add(m.pack); a.apart[m.pack].first() < 0 {
		next.drop(m.pack) // it never matters
	}
	most = most.minus(a.take(m))
	defer a.takeBack(m)
	if (cost{}).compare(most) > 0 {
		return nil, false
	}
	return a.search(next, most)
}

// leastSwaps is a number of swaps that can't be avoided from here.
func (a *arranger) leastSwaps(card set) int {
	most := a.crowd(card)
	for i := range a.at {
		k, j := a.part(i)
		if k.now[j] < k.target[j] {
			most = max(most, a.own(card, i))
		}
	}
	return most
}

// own is the swaps that a device's own steps take, one after the other.
func (a *arranger) own(card set, device int) int {
	k, j := a.part(device)
	least := far
	for to := k.now[j] + 1; to <= k.target[j]; to++ {
		if !k.p.devices[j].options[to].over.has(k.now[j]) {
			continue
		}
		for host, after := range a.ownWay[device][to] {
			if card.meets(a.apart[a.packOf[device][to][host]]) {
				after++
			}
			least = min(least, after)
		}
	}
	return least
}

// swapsOnOwnWay fills in ownWay for one device, from its last step back.
func (a *arranger) swapsOnOwnWay(device int) [][]int {
	k, j := a.part(device)
	d := &k.p.devices[j]
	ahead := make([][]int, k.target[j]+1)
	for x := k.target[j]; x > 0; x-- {
		ahead[x] = make([]int, max(1, len(d.hosts)))
		for host := range ahead[x] {
			if x < k.target[j] {
				ahead[x][host] = far
			}
			pack := newSet(len(a.packs))
			pack.add(a.packOf[device][x][host])
			for to := x + 1; to <= k.target[j]; to++ {
				if !d.options[to].over.has(x) {
					continue
				}
				for other, after := range ahead[to] {
					if pack.meets(a.apart[a.packOf[device][to][other]]) {
						after++
					}
					ahead[x][host] = min(ahead[x][host], after)
				}
			}
		}
	}
	return ahead
}

// crowd is the swaps for packages that are still to come and of which no two
// can share a card, less one that the card at hand can still take.
func (a *arranger) crowd(card set) int {
	clique := within(len(a.packs)) // what can share with none of those counted
	n, fitting := 0, 0
	for i := range a.at {
		p, ok := a.lastPack(i)
		if !ok || !clique.has(p) {
			continue
		}
		n++
		clique.keep(a.apart[p])
		if !card.meets(a.apart[p]) {
			fitting = 1
		}
	}
	return n - fitting
}

// lastPack is the package of a device's last step, where that is sure.
func (a *arranger) lastPack(device int) (int, bool) {
	k, j := a.part(device)
	if k.now[j] == k.target[j] {
		return 0, false
	}
	first := k.pack(j, k.target[j], 0)
	for h := range k.p.devices[j].hosts {
		if k.pack(j, k.target[j], h) != first {
			return 0, false
		}
	}
	n, ok := a.number[first]
	return n, ok
}

func (a *arranger) key(card set) string {
	var b strings.Builder
	for _, k := range a.parts {
		b.WriteString(k.key(k.now))
	}
	b.WriteByte(byte(a.finals))
	b.WriteByte(byte(a.finals >> 8))
	b.WriteByte(byte(a.nevers))
	b.WriteByte(byte(a.nevers >> 8))
	for _, w := range card {
		for i := range 8 {
			b.WriteByte(byte(w >> (8 * i)))
		}
	}
	return b.String()
}
