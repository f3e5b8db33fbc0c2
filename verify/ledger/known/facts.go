package known

import (
	"bytes"
	"slices"

	"cardwright/verify/ledger"
)

// Trust reports whether an event counts. nil: every one does.
type Trust func(*ledger.Event) bool

// Fact is what stands of one event: itself, or what its last correction puts
// instead.
type Fact struct {
	Event     ledger.Event // the one that was corrected; its place is the fact's
	Entry     ledger.Entry
	Corrected ledger.ID // id of the correction that counts; zero where none does
}

// Technician is who did the work of the fact.
func (f *Fact) Technician() string { return f.Event.Statement.Technician }

// Facts gives what stands of events, in any order, and those that were left
// out. The events of a vessel come with all their corrections.
func Facts(events []ledger.Event, trust Trust) (facts []Fact, leftOut []ledger.Event) {
	last, known := corrections(events, trust)
	facts = make([]Fact, 0, len(events))
	for i := range events {
		e := &events[i]
		entry := &e.Statement.Entry
		switch {
		case trust != nil && !trust(e):
			leftOut = append(leftOut, *e)
		case entry.Correction != nil:
			// Of an event that isn't here or doesn't count the correction says by
			// itself what is so.
			target := entry.Correction.Of
			if entry.Correction.Instead != nil && !known[target] && last[target].ID == e.ID {
				facts = append(facts, Fact{Event: *e, Entry: *entry.Correction.Instead, Corrected: e.ID})
			}
		default:
			fact := Fact{Event: *e, Entry: *entry}
			if c := correctionIn(last, e.ID); c != nil {
				fact.Corrected = c.ID
				if c.Statement.Entry.Correction.Instead == nil {
					continue
				}
				fact.Entry = *c.Statement.Entry.Correction.Instead
			}
			facts = append(facts, fact)
		}
	}
	return facts, leftOut
}

func correctionIn(last map[string]*ledger.Event, id ledger.ID) *ledger.Event {
	if len(last) == 0 {
		return nil
	}
	return last[id.String()]
}

// corrections are the last that counts of each event, and the events that are
// known and count, or are corrections themselves.
func corrections(events []ledger.Event, trust Trust) (last map[string]*ledger.Event, known map[string]bool) {
	last, known = map[string]*ledger.Event{}, map[string]bool{}
	if !slices.ContainsFunc(events, func(e ledger.Event) bool { return e.Statement.Entry.Correction != nil }) {
		return last, known // as most vessels have none
	}
	for i := range events {
		e := &events[i]
		c := e.Statement.Entry.Correction
		if trust != nil && !trust(e) {
			continue
		}
		known[e.ID.String()] = true
		if c == nil {
			continue
		}
		if before := last[c.Of]; before == nil || bytes.Compare(ordOf(before), ordOf(e)) < 0 {
			last[c.Of] = e
		}
	}
	return last, known
}

// Corrections are the ids of the correction that counts of each event.
func Corrections(events []ledger.Event, trust Trust) map[ledger.ID]ledger.ID {
	last, _ := corrections(events, trust)
	byID := make(map[ledger.ID]ledger.ID, len(last))
	for of, c := range last {
		if id, err := ledger.ParseID(of); err == nil {
			byID[id] = c.ID
		}
	}
	return byID
}

func ordOf(e *ledger.Event) []byte { return ledger.Ord(e.Statement.Entry.At, &e.Statement, e.ID) }

// Named is a vessel's name by the last of some facts about it that gives one; "" where
// none does.
func Named(facts []Fact, seen *Seen) string {
	var named []*Fact
	for i := range facts {
		if nameIn(&facts[i].Entry) != "" {
			named = append(named, &facts[i])
		}
	}
	if len(named) == 0 {
		return ""
	}
	slices.SortFunc(named, func(a, b *Fact) int { return bytes.Compare(ordOfFact(a), ordOfFact(b)) })
	order := seen.inOrder(len(named), func(i int) place { return placeOfFact(named[i]) })
	return nameIn(&named[order[len(order)-1]].Entry)
}

func nameIn(e *ledger.Entry) string {
	w, _ := ledger.WordsOf(e)
	return w.Name
}

// readings are what a fact says about versions, in the place of its event.
func (f *Fact) readings() []ledger.Reading {
	list := ledger.Readings(&f.Entry)
	ledger.Place(list, &f.Event, f.Entry.At)
	return list
}

// sorted puts readings in order of Ord.
func sorted(readings []ledger.Reading) []ledger.Reading {
	slices.SortFunc(readings, func(a, b ledger.Reading) int { return bytes.Compare(a.Ord, b.Ord) })
	return readings
}
