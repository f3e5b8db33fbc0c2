package known

import (
	"bytes"
	"slices"

	"cardwright/manifest/version"
	"cardwright/verify/ledger"
)

// State is what the readings of one device come to.
type State struct {
	ledger.Reading
	// Other is what another writer read, where neither reading is later and the
	// two can't both be right; "" where nobody disagrees.
	Other version.V `json:"other"`
}

// SettleOver is how many of a device's last readings its state is taken from.
const SettleOver = 32

// Settle gives the state that readings of one device come to, in order of Ord.
// There must be one at least; the last SettleOver count.
func Settle(readings []ledger.Reading, seen *Seen) State {
	list := seen.sort(readings[max(0, len(readings)-SettleOver):])
	stand := seen.unanswered(list)
	last := stand[len(stand)-1]
	for _, i := range stand {
		if list[i].Lost {
			last = i
		}
	}
	state := State{Reading: list[last]}
	for _, i := range stand {
		if !list[last].Lost && differ(&list[i], &list[last]) {
			state.Other = list[i].Version
		}
	}
	state.Device = described(upTo(list, &list[last]))
	return state
}

// sort puts readings in the order in which they happened.
func (s *Seen) sort(readings []ledger.Reading) []ledger.Reading {
	out := make([]ledger.Reading, 0, len(readings))
	for _, i := range s.inOrder(len(readings), func(i int) place { return placeOf(&readings[i]) }) {
		out = append(out, readings[i])
	}
	return out
}

func withoutUnknown(readings []ledger.Reading) []ledger.Reading {
	var list []ledger.Reading
	for _, r := range readings {
		if n := len(list); r.Version == version.Unknown && !r.Lost && n > 0 && !list[n-1].Gone && !another(list[n-1].Device, r.Device) {
			continue
		}
		list = append(list, r)
	}
	return list
}

// upTo are the readings up to one of them, and those behind it that only described
// the same device: nobody read its version then.
func upTo(all []ledger.Reading, r *ledger.Reading) []ledger.Reading {
	end := slices.IndexFunc(all, func(x ledger.Reading) bool { return bytes.Equal(x.Ord, r.Ord) }) + 1
	for end < len(all) && all[end].Version == version.Unknown && !all[end].Lost && !another(all[end].Device, r.Device) && !r.Gone {
		end++
	}
	return all[:end]
}

// described takes each word about the device from the last reading that has
// it, since the device was last fitted.
func described(readings []ledger.Reading) ledger.Device {
	d := readings[len(readings)-1].Device
	for i := len(readings) - 2; i >= 0; i-- {
		o := readings[i].Device
		if readings[i].Gone || another(d, o) {
			break
		}
		for _, f := range []struct{ to, from *string }{
			{&d.Kind, &o.Kind},
			{&d.Maker, &o.Maker},
			{&d.Model, &o.Model},
			{&d.Name, &o.Name},
			{&d.Place, &o.Place},
			{&d.Serial, &o.Serial},
			{&d.Variant, &o.Variant},
		} {
			if *f.to == "" {
				*f.to = *f.from
			}
		}
	}
	return d
}

// another reports whether two descriptions can't be of the same equipment.
func another(a, b ledger.Device) bool {
	return a.Model != "" && b.Model != "" && a.Model != b.Model ||
		a.Serial != "" && b.Serial != "" && a.Serial != b.Serial
}

// ContradictionKind says how two readings of one device disagree.
type ContradictionKind string

// The ways in which readings disagree.
const (
	// Two writers left the device with different versions, and neither had seen
	// what the other wrote. Both stand until somebody reads the device again.
	TwoVersions ContradictionKind = "two versions"
	// The later reading didn't start from what the earlier one left: somebody
	// changed the device in between, or one of them misread it.
	Unexplained ContradictionKind = "unexplained change"
)

// Contradiction is two readings of one device that don't follow each other.
type Contradiction struct {
	Kind    ContradictionKind `json:"kind"`
	Earlier ledger.Reading    `json:"earlier"`
	Later   ledger.Reading    `json:"later"`
}

// contradictedOver is how many of a device's last readings are gone through.
const contradictedOver = 500

// contradictions finds them among readings of one device, in order of Ord.
func contradictions(readings []ledger.Reading, seen *Seen) []Contradiction {
	var list []Contradiction
	ordered := withoutUnknown(seen.sort(readings[max(0, len(readings)-contradictedOver):]))
	shown := map[[2]int]bool{}
	note := func(kind ContradictionKind, i, j int) {
		if !shown[[2]int{i, j}] {
			shown[[2]int{i, j}] = true
			list = append(list, Contradiction{Kind: kind, Earlier: ordered[i], Later: ordered[j]})
		}
	}
	for j := 1; j < len(ordered); j++ {
		later := seen.compare(placeOf(&ordered[j]), placeOf(&ordered[j-1])) != 0
		switch {
		case leadsTo(&ordered[j-1], &ordered[j], later):
		case later:
			note(Unexplained, j-1, j)
		default:
			note(TwoVersions, j-1, j)
		}
	}
	if len(ordered) == 0 {
		return list
	}
	if stand := seen.unanswered(ordered); len(stand) > 1 {
		last := stand[len(stand)-1]
		for _, i := range stand[:len(stand)-1] {
			if differ(&ordered[i], &ordered[last]) {
				note(TwoVersions, i, last)
			}
		}
	}
	return list
}
