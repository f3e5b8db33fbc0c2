package known

import (
	"time"

	"cardwright/verify/ledger"
)

// Seen says how far each writer had seen the chains of others, place by place.
// The zero value has seen nothing.
type Seen struct {
	rows map[[2]ledger.ChainID][]sight
}

// sight: from place `at` on, a chain had seen another up to place `upTo`.
type sight struct{ at, upTo int64 }

// Add notes that place at of a chain had seen another chain up to a place.
func (s *Seen) Add(chain ledger.ChainID, at int64, other ledger.ChainID, upTo int64) {
	if s.rows == nil {
		s.rows = map[[2]ledger.ChainID][]sight{}
	}
	key := [2]ledger.ChainID{chain, other}
	s.rows[key] = append(s.rows[key], sight{at, upTo})
}

// AddOf notes what an event says that it had seen.
func (s *Seen) AddOf(e *ledger.Event) {
	chain := ledger.ChainKey(e.Statement.Writer, e.Statement.Chain)
	for _, x := range e.Statement.Seen {
		s.Add(chain, e.Statement.Seq, ledger.ChainKey(x.Writer, x.Chain), x.Seq)
	}
}

// saw reports whether a place in one chain had seen a place in another, or comes
// after it in the same.
func (s *Seen) saw(chain ledger.ChainID, at int64, other ledger.ChainID, of int64) bool {
	if chain == other {
		return at > of
	}
	if s == nil {
		return false
	}
	for _, x := range s.rows[[2]ledger.ChainID{chain, other}] {
		if x.at <= at && x.upTo >= of {
			return true
		}
	}
	return false
}

// place is where something stands among what happened to one device.
type place struct {
	at     time.Time
	chain  ledger.ChainID
	seq    int64
	byHand bool
}

func placeOf(r *ledger.Reading) place { return place{r.At, r.Chain, r.Seq, r.ByHand} }

// compare is 1 where a is later than b, -1 where b is later, 0 where neither is
// known to be.
func (s *Seen) compare(a, b place) int {
	switch {
	case a.chain == b.chain && a.seq == b.seq:
		return 0
	case s.saw(a.chain, a.seq, b.chain, b.seq):
		return afterKnowing(a, b)
	case s.saw(b.chain, b.seq, a.chain, a.seq):
		return -afterKnowing(b, a)
	}
	return 0
}

// afterKnowing compares a, which was written by somebody who knew b, with b.
// What the machine dated happened as it was written. What a person dated stands
// at its date, unless the machine that dated b ran ahead of it.
func afterKnowing(a, b place) int {
	if a.byHand && a.at.Before(b.at) {
		return -1
	}
	return 1
}

// inOrder sorts n things that are in order of Ord so that none comes before
// one that it is later than.
func (s *Seen) inOrder(n int, at func(int) place) []int {
	places := make([]place, n)
	before := make([]int, n) // how many have to come before
	after := make([][]int, n)
	for i := range n {
		places[i] = at(i)
		for j := range i {
			switch s.compare(places[i], places[j]) {
			case 1:
				before[i]++
				after[j] = append(after[j], i)
			case -1:
				before[j]++
				after[i] = append(after[i], j)
			}
		}
	}
	out := make([]int, 0, n)
	done := make([]bool, n)
	for len(out) < n {
		next := firstFree(done, before)
		done[next] = true
		out = append(out, next)
		for _, i := range after[next] {
			before[i]--
		}
	}
	return out
}

// firstFree is the first that nothing left has to come before; where clocks
// contradict one another, the first that is left.
func firstFree(done []bool, before []int) int {
	first := -1
	for i := range done {
		switch {
		case done[i]:
		case before[i] == 0:
			return i
		case first < 0:
			first = i
		}
	}
	return first
}
