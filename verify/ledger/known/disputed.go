package known

import (
	"slices"

	"cardwright/manifest/version"
	"cardwright/verify/ledger"
)

// differ reports whether two readings can't both be right: of one version on equipment of
// two models they can't either.
func differ(a, b *ledger.Reading) bool {
	models := a.Device.Model != "" && b.Device.Model != "" && a.Device.Model != b.Device.Model
	return !a.Gone && !b.Gone && (models || version.Compare(a.Version, b.Version) != 0)
}

// unanswered are the places in an ordered list of the readings that no other takes
// the place of; one at least.
func (s *Seen) unanswered(list []ledger.Reading) []int {
	var stand []int
	for i := range list {
		answered := slices.ContainsFunc(indexes(len(list)), func(j int) bool { return j != i && s.answers(list, j, i) })
		if !answered {
			stand = append(stand, i)
		}
	}
	if stand == nil { // clocks and dates contradict one another: nobody knows which is the last
		stand = indexes(len(list))
	}
	var say []int
	for _, i := range stand {
		if !slices.ContainsFunc(stand, func(j int) bool { return !describes(&list[j]) && describesOnly(&list[i], &list[j]) }) {
			say = append(say, i)
		}
	}
	return say
}

// describes reports whether a reading only says that a device is aboard: nobody read it.
func describes(r *ledger.Reading) bool { return r.Version == version.Unknown && !r.Lost && !r.Gone }

// describesOnly reports whether a reading says no more than that the equipment of
// another reading is aboard. It takes away nothing that was read of it.
func describesOnly(r, of *ledger.Reading) bool {
	return describes(r) && !of.Gone && !another(of.Device, r.Device)
}

func indexes(n int) []int {
	list := make([]int, n)
	for i := range list {
		list[i] = i
	}
	return list
}

// answers reports whether reading j takes the place of reading i: it is later, or
// neither is and j found or started from what i left.
func (s *Seen) answers(list []ledger.Reading, j, i int) bool {
	a, b := &list[i], &list[j]
	switch s.compare(placeOf(b), placeOf(a)) {
	case 1:
		return !describesOnly(b, a)
	case -1:
		return false
	}
	switch {
	case a.Chain == b.Chain: // of one event
		return j > i
	case a.Lost || b.Lost:
		return false
	case a.Gone || b.Gone: // who didn't know that it was gone saw it aboard
		return a.Gone && !b.Gone
	case !differ(a, b): // both stand, and say the same
		return false
	case a.Version == version.Unknown:
		return true
	}
	return startsFrom(b, a) && !startsFrom(a, b)
}

// startsFrom reports whether a reading comes of a step that started from what
// another left.
func startsFrom(b, a *ledger.Reading) bool {
	return b.Before != "" && version.Compare(b.Before, a.Version) == 0 && !another(a.Device, b.Device)
}

// leadsTo reports whether the later reading may come after the earlier one: it
// found the same version, or a step started from that version. Where nobody
// read what a step started from, it may have been that one, unless neither
// reading is known to be later. Another piece of equipment under the same id
// starts from what it came with.
func leadsTo(before, after *ledger.Reading, later bool) bool {
	switch {
	case before.Gone || after.Gone || after.Lost || before.Version == version.Unknown:
		return true
	case another(before.Device, after.Device) && later:
		return true
	case version.Compare(after.Version, before.Version) == 0:
		return true
	case after.Before != "":
		return version.Compare(after.Before, before.Version) == 0
	}
	return after.Installed && later
}
