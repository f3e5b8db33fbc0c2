package order

import "math/bits"

// set is a set of small numbers: options of one device, or packages.
type set []uint64

func newSet(n int) set       { return make(set, (n+63)/64) }
func (s set) add(i int)      { s[i/64] |= 1 << (i % 64) }
func (s set) drop(i int)     { s[i/64] &^= 1 << (i % 64) }
func (s set) has(i int) bool { return s[i/64]>>(i%64)&1 == 1 }
func (s set) clone() set     { return append(set(nil), s...) }
func (s set) intersect(t set) {
	for i := range s {
		s[i] &= t[i]
	}
}

func (s set) unite(t set) {
	for i := range s {
		s[i] |= t[i]
	}
}

// dropUnless takes out what is in t, unless w is in t too.
func (s set) dropUnless(t set, w int) {
	for i := range s {
		if !t.has(w) {
			s[i] &^= t[i]
		}
	}
}

func (s set) overlaps(t set) bool {
	for i := range s {
		if s[i]&t[i] != 0 {
			return true
		}
	}
	return false
}

func (s set) count() int {
	n := 0
	for _, w := range s {
		n += bits.OnesCount64(w)
	}
	return n
}

// first is the least member, or -1.
func (s set) first() int { return s.from(0) }

// from is the least member that is i or more, or -1.
func (s set) from(i int) int {
	for w := i / 64; w < len(s); w++ {
		bitsLeft := s[w]
		if w == i/64 {
			bitsLeft &= ^uint64(0) << (i % 64)
		}
		if bitsLeft != 0 {
			return w*64 + bits.TrailingZeros64(bitsLeft)
		}
	}
	return -1
}

// last is the greatest member, or -1.
func (s set) last() int {
	for w := len(s) - 1; w >= 0; w-- {
		if s[w] != 0 {
			return w*64 + 63 - bits.LeadingZeros64(s[w])
		}
	}
	return -1
}

// allBelow is the set of all numbers below n.
func allBelow(n int) set {
	s := newSet(n)
	for i := range n {
		s.add(i)
	}
	return s
}
