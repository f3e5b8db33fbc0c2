package order

import "slices"

// greedy is an order made by taking the first step that adds nothing to what
// can't be avoided, or the one that adds least; with what it costs. Where it adds
// nothing from end to end, it is the preferred order. With free it stops where the
// next step would cost more than swaps, and there are no moves then. ok is false
// when the work was over first.
func (a *arranger) greedy(card set, free bool) (moves []move, total cost, ok bool) {
	card, moves, ok = card.clone(), []move{}, true
	for ok && !a.done() {
		c := a.next(card)
		if ok = c.found && !a.over(); !ok {
			break
		}
		if free && c.whole.calm() != (cost{}) {
			a.undo(moves)
			return nil, c.whole, true
		}
		if c.cost.swaps > 0 {
			card = newSet(len(a.packs))
		}
		card.add(c.move.pack)
		a.take(c.move)
		total = total.plus(c.cost)
		moves = append(moves, c.move)
	}
	a.undo(moves)
	return moves, total, ok
}

// undo takes back all that was taken.
func (a *arranger) undo(moves []move) {
	for _, m := range slices.Backward(moves) {
		a.takeBack(m)
	}
}

// choice is a step that an order can go on with.
type choice struct {
	move  move
	cost  cost // of the step
	whole cost // with what can't be avoided after it
	found bool
}

// next is the step that greedy goes on with.
func (a *arranger) next(card set) choice {
	least := a.least()
	rest := a.rest[:0]
	for m := range a.allowed {
		c := a.weigh(m)
		if card.meets(a.apart[m.pack]) {
			c.cost.swaps, c.whole.swaps = 1, c.whole.swaps+1
		}
		if c.whole.compare(least) > 0 {
			rest = append(rest, c)
		} else if a.onTheWay(m) {
			return c
		}
	}
	for a.rest = rest; len(rest) > 0; {
		n := 0
		for i := range rest {
			if rest[i].whole.compare(rest[n].whole) < 0 {
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
	k, j := a.part(m.device)
	return k.onTheWay(j, m.to)
}

// weigh looks what a step costs, but for swaps.
func (a *arranger) weigh(m move) choice {
	c := a.take(m)
	whole := c.plus(a.least())
	a.takeBack(m)
	return choice{m, c, whole, true}
}

// calmest looks for the order that costs least, where any may cost something. Then
// it looks for fewer swaps.
func (a *arranger) calmest(card set) ([]move, settled) {
	bonds := 0
	for _, k := range a.parts {
		bonds += len(k.bonds)
	}
	if bonds <= a.limits.bonds {
		for _, k := range a.parts {
			a.sums.add(k.sums(), -1)
			k.lookFurther()
			a.sums.add(k.sums(), 1)
		}
	}
	floor := a.least()
	moves, total, ok := a.greedy(card, false)
	if !ok {
		return a.anyOrder(card)
	}
	if total == floor {
		return moves, settled{true, true}
	}
	if bonds > a.limits.bonds {
		return moves, settled{}
	}
	for floor != total.calm() {
		better := a.calm(total.calm().minus(cost{outage: 1}))
		if better == nil {
			break
		}
		moves, total = better, a.total(better)
	}
	if floor != total.calm() && (a.weighed > a.limits.weighed || a.over()) {
		return moves, settled{}
	}
	return a.fewerSwaps(moves, total)
}

// total is what an order costs.
func (a *arranger) total(moves []move) (sum cost) {
	card := newSet(len(a.packs))
	for _, m := range moves {
		c := a.take(m)
		if card.meets(a.apart[m.pack]) {
			card, c.swaps = newSet(len(a.packs)), 1
		}
		card.add(m.pack)
		sum = sum.plus(c)
	}
	a.undo(moves)
	return sum
}

// calm finds an order that costs at most so much but for its swaps, or nil where
// there is none, or the work is over.
func (a *arranger) calm(most cost) []move {
	if a.done() {
		return []move{}
	}
	key := a.key(nil)
	if a.known(a.calmed, key, most) || a.weighed > a.limits.weighed || a.over() {
		return nil
	}
	for _, c := range a.choices(most) {
		if !a.onTheWay(c.move) {
			continue
		}
		a.take(c.move)
		rest := a.calm(most.minus(c.cost))
		a.takeBack(c.move)
		if rest != nil {
			return slices.Insert(rest, 0, c.move)
		}
		if a.weighed > a.limits.weighed || a.over() {
			return nil
		}
	}
	a.calmed[key] = most
	return nil
}

// choices are the allowed steps with which an order may cost so much, the least
// first; each by one host only.
func (a *arranger) choices(most cost) []choice {
	var all []choice
	var last move
	for m := range a.allowed {
		if m.device == last.device && m.to == last.to {
			continue
		}
		last = m
		a.weighed += len(a.at)
		if c := a.weigh(m); c.whole.compare(most) <= 0 {
			all = append(all, c)
		}
	}
	slices.SortStableFunc(all, func(x, y choice) int { return x.whole.compare(y.whole) })
	return all
}
