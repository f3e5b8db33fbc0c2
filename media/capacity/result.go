package capacity

import (
	"fmt"
	"math"

	"cardwright/media"
)

// Verdict is whether a card holds what it claims.
type Verdict string

// The verdicts. Only Holds is good, and only in the full form is it about all of the
// card.
const (
	Holds  Verdict = "holds"  // everything read back as it was written
	Wraps  Verdict = "wraps"  // what is written past its true size lands on earlier sectors
	Drops  Verdict = "drops"  // what is written past its true size is lost
	Faulty Verdict = "faulty" // it has its size, but some of it reads back otherwise
)

// Result is what a card has shown. Sizes and offsets are in bytes.
type Result struct {
	Form     Form    `json:"form"`
	Verdict  Verdict `json:"verdict"`
	Proven   bool    `json:"proven"`    // all of the card was tried and holds
	Claimed  int64   `json:"claimed"`   // by the card
	Size     int64   `json:"size"`      // true size: up to where it holds; in the quick form only an upper bound
	FirstBad int64   `json:"first_bad"` // offset; -1 where nothing is bad
	Tried    int64   `json:"tried"`     // written and read
	Bad      Counts  `json:"bad"`       // bytes, over every time that they were read
	Places   []Place `json:"places"`    // the first of the bad ones
}

// Counts are bytes by what was found instead of what was written.
type Counts struct {
	Elsewhere  int64 `json:"elsewhere"`
	Blank      int64 `json:"blank"`
	Other      int64 `json:"other"`
	Corrupted  int64 `json:"corrupted"`
	Unreadable int64 `json:"unreadable"`
}

// Place is a run of bad bytes of one kind.
type Place struct {
	Kind   Kind  `json:"kind"`
	Offset int64 `json:"offset"`
	Bytes  int64 `json:"bytes"`
	From   int64 `json:"from"` // for Elsewhere: the offset at which its first sector was written
}

// mostPlaces is how many bad places are kept; the counts go on.
const mostPlaces = 32

// Conclusion is the result in a sentence or two, with what to do.
func (r Result) Conclusion() string {
	switch {
	case r.Proven:
		return fmt.Sprintf("the card holds all of the %s that it claims.", media.Bytes(r.Claimed))
	case r.Verdict == Holds:
		return fmt.Sprintf("the card holds what was written to it, in the %s that were tried of the %s that it claims. "+
			"This proves nothing about the rest: only the full form proves a card's capacity.", media.Bytes(r.Tried), media.Bytes(r.Claimed))
	case r.Verdict == Faulty:
		return fmt.Sprintf("the card doesn't keep what is written to it: byte %d %s. Don't use it.", r.Places[0].Offset, r.whatIsBad())
	}
	return fmt.Sprintf("the card claims %s but holds %s: %s. Don't use it.", media.Bytes(r.Claimed), r.size(), r.whatHappens())
}

func (r Result) size() string {
	if r.Form == Quick {
		return "no more than " + media.Bytes(r.Size)
	}
	return media.Bytes(r.Size)
}

func (r Result) whatHappens() string {
	if r.Verdict == Wraps {
		return "what is written past that overwrites what is there already"
	}
	return "what is written past that is lost"
}

func (r Result) whatIsBad() string {
	switch r.Places[0].Kind {
	case kindElsewhere:
		return fmt.Sprintf("holds what was written at byte %d", r.Places[0].From)
	case kindCorrupted:
		return "has changed bits"
	case kindUnreadable:
		return "can't be read"
	}
	return "holds something else, as if nothing had been written"
}

// tally is what was found, place by place from the start.
type tally struct {
	now           pass // under way
	worst         pass // the one with the smallest size, of those before
	passes        int
	tried         int64
	bad           Counts
	places        []Place
	firstBad      int64
	leastDistance int64 // the least distance between where a sector was written and where it was found
	unreadable    int   // places
}

// pass is one reading of the card. It finds the size at which good sectors end and
// missing ones begin: where the good bytes so far, less the missing ones, are most.
// A few bad places before it, or an end that a fake keeps right, don't move it.
type pass struct {
	score, best int64
	missing     Counts // since best
	from        int64  // where they begin; all of the card where there are none
}

const noEnd = math.MaxInt64

func newTally() tally {
	return tally{now: pass{from: noEnd}, worst: pass{from: noEnd}, firstBad: -1, leastDistance: noEnd}
}

func (t *tally) startPass() {
	t.closePass()
	t.now = pass{from: noEnd}
	t.passes++
}

func (t *tally) closePass() {
	if t.now.from < t.worst.from {
		t.worst = t.now
	}
}

func (t *tally) add(kind Kind, offset, length, from int64) {
	if t.passes == 1 {
		t.tried += length
	}
	t.now.add(kind, offset, length)
	if kind == good || length == 0 {
		return
	}
	t.bad.add(kind, length)
	if t.firstBad < 0 || offset < t.firstBad {
		t.firstBad = offset
	}
	if kind == kindElsewhere {
		t.leastDistance = min(t.leastDistance, max(offset-from, from-offset))
	}
	t.addPlace(Place{kind, offset, length, from})
}

func (t *tally) addPlace(p Place) {
	if n := len(t.places); n > 0 && t.places[n-1].continues(p) {
		t.places[n-1].Bytes += p.Bytes
		return
	}
	if len(t.places) < mostPlaces {
		t.places = append(t.places, p)
	}
}

func (p Place) continues(next Place) bool {
	return p.Kind == next.Kind && p.Offset+p.Bytes == next.Offset &&
		(p.Kind != kindElsewhere || p.From+p.Bytes == next.From)
}

func (p *pass) add(kind Kind, offset, length int64) {
	switch kind {
	case good:
		p.score += length
	case kindCorrupted: // there, if not well
	default:
		p.score -= length
		p.missing.add(kind, length)
		p.from = min(p.from, offset)
	}
	if p.score > p.best {
		p.best, p.missing, p.from = p.score, Counts{}, noEnd
	}
}

func (c *Counts) add(kind Kind, bytes int64) {
	switch kind {
	case kindElsewhere:
		c.Elsewhere += bytes
	case kindBlank:
		c.Blank += bytes
	case kindOther:
		c.Other += bytes
	case kindCorrupted:
		c.Corrupted += bytes
	case kindUnreadable:
		c.Unreadable += bytes
	}
}

func (t *tally) result(form Form, claimed int64) Result {
	t.closePass()
	r := Result{
		Form: form, Claimed: claimed, Size: claimed, FirstBad: -1,
		Tried: t.tried, Bad: t.bad, Places: append([]Place{}, t.places...),
	}
	if t.bad == (Counts{}) {
		r.Verdict, r.Proven = Holds, form == Full
		return r
	}
	r.FirstBad = t.firstBad
	missing := t.worst.missing
	switch {
	case form == Quick && t.bad.Elsewhere > 0:
		// Of the places tried, few land on one another; their distance is a
		// multiple of the true size.
		r.Verdict, r.Size = Wraps, t.leastDistance
	case missing.Elsewhere+missing.Blank+missing.Other == 0:
		r.Verdict = Faulty
	case missing.Elsewhere >= missing.Blank+missing.Other:
		r.Verdict, r.Size = Wraps, t.worst.from
	default:
		r.Verdict, r.Size = Drops, t.worst.from
	}
	return r
}
