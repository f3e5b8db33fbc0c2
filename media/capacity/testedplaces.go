package capacity

import (
	"math/rand/v2"
	"slices"
)

// span is a part of a card, at most chunkBytes long.
type span struct{ offset, length int64 }

func (s span) end() int64 { return s.offset + s.length }

// places are parts of a card in order from its start, apart from one another.
type places interface {
	count() int
	at(i int) span
}

// everything is all of a card in chunks; it holds that many bytes.
type everything int64

func (e everything) count() int { return int((int64(e) + chunkBytes - 1) / chunkBytes) }

func (e everything) at(i int) span {
	offset := int64(i) * chunkBytes
	return span{offset, min(chunkBytes, int64(e)-offset)}
}

// some is some places.
type some []span

func (s some) count() int    { return len(s) }
func (s some) at(i int) span { return s[i] }

func bytesOf(p places) int64 {
	if whole, ok := p.(everything); ok {
		return int64(whole)
	}
	var sum int64
	for i := range p.count() {
		sum += p.at(i).length
	}
	return sum
}

// The quick form tries so many bytes in each place, and so many random places.
const (
	probeBytes   = 64 << 10
	randomProbes = 64
)

// chosen is where cards that lie are most often found out: fakes ignore the
// upper bits of an address, so that a power of two lands on the card's start.
func chosen(bytes int64) places {
	last := bytes - probeBytes
	if last < probeBytes {
		return everything(bytes)
	}
	at := []int64{0, last}
	for power := int64(2 * probeBytes); power+probeBytes <= last; power *= 2 {
		at = append(at, power-probeBytes, power)
	}
	for range randomProbes {
		at = append(at, rand.Int64N(last/probeBytes)*probeBytes)
	}
	slices.Sort(at)
	var chosen some
	for _, offset := range slices.Compact(at) {
		chosen = append(chosen, span{offset, probeBytes})
	}
	return chosen
}
