package order

import "slices"

// greedy is an order that takes, each time, the first step that adds nothing to what
// can't be avoided, or else the one that adds least; with what it costs. Where
// nothing is ever added it is the preferred order. With free it gives up, without
// moves, where the next step would cost more than swaps. ok is false where a bound
// was reached first.
func (a *arranger) greedy(card set, free bool) (moves []move, total cost, ok bool) {
	card, moves, ok = card.clone(), []move{}, true
	for ok && !a.done() {
		c := a.greedyStep(card)
		if ok = c.found && !a.over(); !ok {
			break
		}
		if free && c.total.withoutSwaps() != (cost{}) {
			a.takeAllBack(moves)
			return nil, c.total, true
		}
		if c.cost.swaps > 0 {
			card = newSet(len(a.packs))
		}
		card.add(c.move.pack)
		a.take(c.move)
		total = total.plus(c.cost)
		moves = append(moves, c.move)
	}
	a.takeAllBack(moves)
	return moves, total, ok
}

// takeAllBack takes an order's steps back, the last first.
func (a *arranger) takeAllBack(moves []move) {
	for _, m := range slices.Backward(moves) {
		a.takeBack(m)
	}
}

// choice is a step that an order can go on with.
type choice struct {
	move  move
	cost  cost // of the step
	total cost // with what can't be avoided after it
	found bool
}

// greedyStep is the step that greedy goes on with.
func (a *arranger) greedyStep(card set) choice {
	least := a.leastCost()
	rest := a.postponed[:0]
	for m := range a.allowedMoves {
		c := a.costOf(m)
		if card.overlaps(a.cantShare[m.pack]) {
			c.cost.swaps, c.total.swaps = 1, c.total.swaps+1
		}
		if c.total.compare(least) > 0 {
			rest = append(rest, c)
		} else if a.onTheWay(m) {
			return c
		}
	}
	for a.postponed = rest; len(rest) > 0; {
		n := 0
		for i := range rest {
			if rest[i].total.compare(rest[n].total) < 0 {
				n = i
			}
		}
		if c := rest[n]; a.onTheWay(c.move) {
			return c
		}
		rest = slices.Delete(rest, n, n+1)
	}
	return choice{}
}

func (a *arranger) onTheWay(m move) bool {
	g, j := a.group(m.device)
	return g.onTheWay(j, m.to)
}

// costOf is a step with what it costs, but for swaps.
func (a *arranger) costOf(m move) choice {
	c := a.take(m)
	whole := c.plus(a.leastCost())
	a.takeBack(m)
	return choice{m, c, whole, true}
}

// leastOutageOrder looks for the order that costs least, where every order costs
// something; then for fewer swaps at that cost.
func (a *arranger) leastOutageOrder(card set) ([]move, settled) {
	bonds := 0
	for _, g := range a.groups {
		bonds += len(g.bonds)
	}
	if bonds <= a.limits.bonds {
		for _, g := range a.groups {
			a.sums.add(g.sums(), -1)
			g.boundPairs()
			a.sums.add(g.sums(), 1)
		}
	}
	floor := a.leastCost()
	moves, total, ok := a.greedy(card, false)
	if !ok {
		return a.fallback(card)
	}
	if total == floor {
		return moves, settled{true, true}
	}
	if bonds > a.limits.bonds {
		return moves, settled{}
	}
	for floor != total.withoutSwaps() {
		better := a.searchOutage(total.withoutSwaps().minus(cost{outage: 1}))
		if better == nil {
			break
		}
		moves, total = better, a.costOfOrder(better)
	}
	if floor != total.withoutSwaps() && (a.outageTries > a.limits.outageTries || a.over()) {
		return moves, settled{}
	}
	return a.fewerSwaps(moves, total)
}

// costOfOrder is what an order costs.
func (a *arranger) costOfOrder(moves []move) (sum cost) {
	card := newSet(len(a.packs))
	for _, m := range moves {
		c := a.take(m)
		if card.overlaps(a.cantShare[m.pack]) {
			card, c.swaps = newSet(len(a.packs)), 1
		}
		card.add(m.pack)
		sum = sum.plus(c)
	}
	a.takeAllBack(moves)
	return sum
}

// searchOutage finds an order that costs at most so much, swaps not counted; nil
// where there is none, or a bound was reached first.
func (a *arranger) searchOutage(most cost) []move {
	if a.done() {
		return []move{}
	}
	key := a.key(nil)
	if a.isRuledOut(a.ruledOut, key, most) || a.outageTries > a.limits.outageTries || a.over() {
		return nil
	}
	for _, c := range a.affordable(most) {
		if !a.onTheWay(c.move) {
			continue
		}
		a.take(c.move)
		rest := a.searchOutage(most.minus(c.cost))
		a.takeBack(c.move)
		if rest != nil {
			return slices.Insert(rest, 0, c.move)
		}
		if a.outageTries > a.limits.outageTries || a.over() {
			return nil
		}
	}
	a.ruledOut[key] = most
	return nil
}

// affordable are the allowed steps with which an order may cost at most so much, the
// cheapest first; each by one host only.
func (a *arranger) affordable(most cost) []choice {
	var all []choice
	var last move
	for m := range a.allowedMoves {
		if m.device == last.device && m.to == last.to {
			continue
		}
		last = m
		a.outageTries += len(a.places)
		if c := a.costOf(m); c.total.compare(most) <= 0 {
			all = append(all, c)
		}
	}
	slices.SortStableFunc(all, func(x, y choice) int { return x.total.compare(y.total) })
	return all
}
