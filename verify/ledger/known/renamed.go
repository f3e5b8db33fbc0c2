package known

import (
	"bytes"
	"slices"
)

// Names are the ids of vessels that were renamed. The zero value has none.
type Names struct {
	now  map[string]string   // the id of today, by any that a vessel had
	were map[string][]string // all ids but that of today, by that, sorted
}

// Renamed says which ids are one vessel's, by what stands of events: those that an
// event names together, and those that these were named together with. The id of
// today is the one that the last of those events gave.
func Renamed(facts []Fact) Names {
	var renames []*Fact
	for i := range facts {
		if c := facts[i].Entry.VesselChange; c != nil && c.ID != "" && c.Was != nil {
			renames = append(renames, &facts[i])
		}
	}
	slices.SortFunc(renames, func(a, b *Fact) int { return bytes.Compare(ordOfFact(a), ordOfFact(b)) })
	n := Names{now: map[string]string{}, were: map[string][]string{}}
	for _, f := range renames {
		to := f.Entry.VesselChange.ID
		ids := append(n.All(to), n.All(f.Entry.Vessel)...)
		for _, id := range ids {
			delete(n.were, id)
			n.now[id] = to
		}
		slices.Sort(ids)
		n.were[to] = slices.DeleteFunc(slices.Compact(ids), func(id string) bool { return id == to })
	}
	return n
}

// Now is the id that a vessel has today.
func (n Names) Now(id string) string {
	if now, ok := n.now[id]; ok {
		return now
	}
	return id
}

// Were are the ids that a vessel had before; it may be named by any.
func (n Names) Were(id string) []string { return n.were[n.Now(id)] }

// All are all ids of a vessel, today's first.
func (n Names) All(id string) []string { return append([]string{n.Now(id)}, n.Were(id)...) }

// Renames are the vessels that have another id today: their ids of today.
func (n Names) Renames() (ids []string) {
	for id := range n.were {
		ids = append(ids, id)
	}
	slices.Sort(ids)
	return ids
}
