package order

// maxExplored is the most states that there may be for explore to be tried.
const maxExplored = 4_000_000

// explore goes through every state that allowed steps lead to, and gives the
// newest that fits, or nil. It is the last resort where too many states fit that
// no order leads to. done is false when there are too many states.
func (p *problem) explore(w *work) (newest state, done bool) {
	pack, ok := newPacking(p)
	if !ok {
		return nil, false
	}
	var best fit
	seen := map[uint64]bool{pack.number(p.start()): true}
	for todo := []uint64{pack.number(p.start())}; len(todo) > 0; {
		s := pack.state(todo[len(todo)-1])
		todo = todo[:len(todo)-1]
		if p.fits(s) {
			if here := p.score(s); best.state == nil || here.before(best) {
				best = here
			}
		}
		for _, next := range p.successors(s, w) {
			if n := pack.number(next); !seen[n] {
				seen[n] = true
				w.kept++
				todo = append(todo, n)
			}
		}
		if w.over() {
			return nil, false
		}
	}
	return best.state, true
}

// successors are the states that one step leads to.
func (p *problem) successors(s state, w *work) []state {
	var all []state
	for i := range s {
		for to := s[i] + 1; to < len(p.devices[i].options); to++ {
			if w.test(1); p.allowed(s, i, to) != nowhere {
				next := append(state(nil), s...)
				next[i] = to
				all = append(all, next)
			}
		}
	}
	return all
}

// packing writes states as numbers.
type packing []uint64 // how many options each device has

func newPacking(p *problem) (packing, bool) {
	pack := make(packing, len(p.devices))
	product := uint64(1)
	for i, d := range p.devices {
		pack[i] = uint64(len(d.options))
		if product *= pack[i]; product > maxExplored {
			return nil, false
		}
	}
	return pack, true
}

func (k packing) number(s state) uint64 {
	n := uint64(0)
	for i := range k {
		n = n*k[i] + uint64(s[i])
	}
	return n
}

func (k packing) state(n uint64) state {
	s := make(state, len(k))
	for i := len(k) - 1; i >= 0; i-- {
		s[i] = int(n % k[i])
		n /= k[i]
	}
	return s
}
