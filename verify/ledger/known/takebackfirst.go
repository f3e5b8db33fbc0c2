package known

import (
	"bytes"
	"slices"

	"cardwright/verify/ledger"
)

// StandingOn are the facts that are later than one of them and build on it, the last
// first: as long as they stand, taking that one back would leave them telling of a box,
// a name or an id that never was. Facts are of one vessel, under any of her ids.
//
//   - On a change of a device: what was noted about that device since, but for work that
//     was put off or not done, and that she is gone: then she has no file.
//   - On another name: what names her since, and that she is gone.
//   - On another id: the same, and what was noted under that id.
//
// A reading or a step has nothing standing on it: what is known is drawn again from
// those that are left. Nor has what became of a card, that she was sold or is gone.
func StandingOn(facts []Fact, of ledger.ID, seen *Seen) (later []Fact) {
	i := slices.IndexFunc(facts, func(f Fact) bool { return f.Event.ID == of })
	if i < 0 {
		return nil
	}
	for j := range facts {
		if f := &facts[j]; j != i && buildsOn(&f.Entry, &facts[i].Entry) && seen.laterFact(f, &facts[i]) {
			later = append(later, *f)
		}
	}
	slices.SortFunc(later, func(a, b Fact) int {
		if seen.laterFact(&a, &b) {
			return -1
		}
		return 1
	})
	return later
}

// laterFact tells whether a is later than b; where nobody can say, by their order in
// every ledger.
func (s *Seen) laterFact(a, b *Fact) bool {
	if c := s.compare(placeOfFact(a), placeOfFact(b)); c != 0 {
		return c > 0
	}
	return bytes.Compare(ordOfFact(a), ordOfFact(b)) > 0
}

func buildsOn(e, on *ledger.Entry) bool {
	gone := e.Kind == ledger.VesselGone
	switch {
	case on.DeviceChange != nil:
		return gone || tellsOf(e, on.DeviceChange.Device.ID)
	case on.Kind != ledger.VesselRenamed:
		return false
	case on.VesselChange.ID != "" && e.Vessel == on.VesselChange.ID:
		return true
	}
	return gone || e.Kind == ledger.VesselRenamed && e.VesselChange.ID != "" && on.VesselChange.ID != "" ||
		on.VesselChange.Name != "" && nameIn(e) != ""
}

// tellsOf tells whether an entry says something of the box that is a device.
func tellsOf(e *ledger.Entry, device string) bool {
	switch {
	case e.DeviceChange != nil:
		return e.DeviceChange.Device.ID == device
	case e.Step != nil:
		return e.Step.Device.ID == device && e.Kind != ledger.StepPutOff
	case e.Check != nil:
		return e.Check.Device.ID == device && e.Kind != ledger.CheckNotDone
	}
	return slices.ContainsFunc(ledger.Readings(e), func(r ledger.Reading) bool { return r.Device.ID == device })
}
