package capacity

import (
	"math/rand/v2"
	"slices"
)

// span is a part of a card, at most chunkBytes long.
type span struct{ offset, length int64 }

func (s span) end() int64 { return s.offset + s.length }

// places are parts of a card in ascending order, without overlap.
type places interface {
	count() int
	at(i int) span
}

// everything is all of a card in chunks; its value is the bytes of the card.
type everything int64

func (e everything) count() int { return int((int64(e) + chunkBytes - 1) / chunkBytes) }

func (e everything) at(i int) span {
	offset := int64(i) * chunkBytes
	return span{offset, min(chunkBytes, int64(e)-offset)}
}

// chosenPlaces are the places of the quick form.
type chosenPlaces []span

func (s chosenPlaces) count() int    { return len(s) }
func (s chosenPlaces) at(i int) span { return s[i] }

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

// How many bytes the quick form tries in each place, and how many random places.
const (
	probeBytes   = 64 << 10
	randomProbes = 64
)

// chosen are the places where lying cards are most often found out: fakes ignore
// the upper bits of an address, so that a power of two lands on the start of the
// card.
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
	var chosen chosenPlaces
	for _, offset := range slices.Compact(at) {
		chosen = append(chosen, span{offset, probeBytes})
	}
	return chosen
}
