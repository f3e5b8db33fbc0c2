package order

// How many card swaps an order takes at least, from what the packages that are still
// to come can share.

// leastSwaps is a number of swaps that can't be avoided from here.
func leastSwaps(a *arranger, card set) int {
	most := swapsByClique(a, card)
	for i := range a.places {
		g, j := a.group(i)
		if g.now[j] < g.target[j] {
			most = max(most, swapsAlone(a, card, i))
		}
	}
	return most
}

// swapsAlone is the swaps that a device's own steps take, one after the other.
func swapsAlone(a *arranger, card set, device int) int {
	g, j := a.group(device)
	least := far
	for to := g.now[j] + 1; to <= g.target[j]; to++ {
		if !g.p.devices[j].options[to].over.has(g.now[j]) {
			continue
		}
		for host, after := range a.swapsAfter[device][to] {
			if card.overlaps(a.cantShare[a.packOf[device][to][host]]) {
				after++
			}
			least = min(least, after)
		}
	}
	return least
}

// swapsAfterEach works out swapsAfter for one device, from its last step back.
func swapsAfterEach(a *arranger, device int) [][]int {
	g, j := a.group(device)
	d := &g.p.devices[j]
	ahead := make([][]int, g.target[j]+1)
	for x := g.target[j]; x > 0; x-- {
		ahead[x] = make([]int, max(1, len(d.hosts)))
		for host := range ahead[x] {
			if x < g.target[j] {
				ahead[x][host] = far
			}
			pack := newSet(len(a.packs))
			pack.add(a.packOf[device][x][host])
			for to := x + 1; to <= g.target[j]; to++ {
				if !d.options[to].over.has(x) {
					continue
				}
				for other, after := range ahead[to] {
					if pack.overlaps(a.cantShare[a.packOf[device][to][other]]) {
						after++
					}
					ahead[x][host] = min(ahead[x][host], after)
				}
			}
		}
	}
	return ahead
}

// swapsByClique is the swaps for packages that are still to come and of which no two
// can share a card, less one that the card at hand can still take.
func swapsByClique(a *arranger, card set) int {
	clique := allBelow(len(a.packs)) // what can share with none of those counted
	n, fitting := 0, 0
	for i := range a.places {
		p, ok := lastPack(a, i)
		if !ok || !clique.has(p) {
			continue
		}
		n++
		clique.intersect(a.cantShare[p])
		if !card.overlaps(a.cantShare[p]) {
			fitting = 1
		}
	}
	return n - fitting
}

// lastPack is the package of a device's last step, where that is sure.
func lastPack(a *arranger, device int) (int, bool) {
	g, j := a.group(device)
	if g.now[j] == g.target[j] {
		return 0, false
	}
	first := g.pack(j, g.target[j], 0)
	for h := range g.p.devices[j].hosts {
		if g.pack(j, g.target[j], h) != first {
			return 0, false
		}
	}
	n, ok := a.number[first]
	return n, ok
}
