package order

import "slices"

// greedy is an order made by taking the first step that adds nothing to what
// can't be avoided, or the one that adds least; with what it costs. Where it adds
// nothing from end to end, it is the preferred order. ok is false when the work
// was over first.
func (a *arranger) greedy(card set) (moves []move, total cost, ok bool) {
	card, moves, ok = card.clone(), []move{}, true
	for ok && !a.done() {
		c := a.next(card)
		if ok = c.found && !a.over(); !ok {
			break
		}
		if c.cost.swaps > 0 {
			card = newSet(len(a.packs))
		}
		card.add(c.move.pack)
		a.take(c.move)
		total = total.plus(c.cost)
		moves = append(moves, c.move)
	}
	for _, m := range slices.Backward(moves) {
		a.takeBack(m)
	}
	return moves, total, ok
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
	a.rest = rest
	slices.SortStableFunc(rest, func(x, y choice) int { return x.whole.compare(y.whole) })
	for _, c := range rest {
		if a.onTheWay(c.move) {
			return c
		}
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

// calmest looks for the order that costs least, beginning with one that costs
// something. Then it looks for fewer swaps.
func (a *arranger) calmest(moves []move, total cost) ([]move, settled) {
	bonds := 0
	for _, k := range a.parts {
		if bonds += k.lookFurther(a.limits.bonds - bonds); bonds > a.limits.bonds {
			return moves, settled{}
		}
	}
	card := newSet(len(a.packs))
	floor := a.least()
	if floor != total.calm() {
		if again, cost, ok := a.greedy(card); ok && cost.compare(total) <= 0 {
			moves, total = again, cost
			if cost == floor {
				return moves, settled{true, true}
			}
		}
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
	for _, m := range slices.Backward(moves) {
		a.takeBack(m)
	}
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

// choices are the steps that may come next where an order may cost so much, the
// least first; each by one host only.
func (a *arranger) choices(most cost) []choice {
	var all []choice
	var last move
	for m := range a.allowed {
		if m.device == last.device && m.to == last.to {
			continue
		}
		last = m
		a.weighed += len(a.at)
		if c := a.weigh(m); c.whole.compare(most) <= 0 && a.onTheWay(m) {
			all = append(all, c)
		}
	}
	slices.SortStableFunc(all, func(x, y choice) int { return x.whole.compare(y.whole) })
	return all
}
