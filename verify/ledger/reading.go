package ledger

import (
	"bytes"
	"slices"
	"time"

	"cardwright/manifest/version"
)

// Reading is what one event says about the version of one device: what it
// showed after a step, what was read off it, or that it is gone.
type Reading struct {
	Event   ID        `json:"event"`
	Ord     []byte    `json:"-"`
	Writer  string    `json:"writer"`
	At      time.Time `json:"at"`
	Vessel  string    `json:"vessel"`
	Device  Device    `json:"device"`
	Version version.V `json:"version"` // "" when gone
	Before  version.V `json:"before"`  // what it showed before the step; "" where nobody read it
	// Installed says that a step brought the version; else it was only read.
	Installed bool `json:"installed"`
	Gone      bool `json:"gone"` // no longer aboard
}

// Readings gives what an entry says about versions, without Event and Ord.
func Readings(e *Entry) []Reading {
	switch {
	case e.TakenOn != nil:
		return takenOnReadings(e)
	case e.Step != nil:
		return stepReadings(e)
	case e.Check != nil && e.Kind == CheckPassed && e.Check.Check == VersionShown:
		if v, err := version.Parse(e.Check.Value); err == nil {
			return []Reading{{At: e.At, Vessel: e.Vessel, Device: e.Check.Device, Version: v}}
		}
	}
	return nil
}

func takenOnReadings(e *Entry) []Reading {
	var list []Reading
	for _, f := range e.TakenOn.Devices {
		list = append(list, Reading{At: e.At, Vessel: e.Vessel, Device: f.Device, Version: known(f.Version)})
	}
	for _, id := range e.TakenOn.Removed {
		list = append(list, Reading{At: e.At, Vessel: e.Vessel, Device: Device{ID: id}, Gone: true})
	}
	return list
}

// stepReadings takes what was read after the step, or else what was read
// before it, because then nothing was installed that anybody saw.
func stepReadings(e *Entry) []Reading {
	s := e.Step
	r := Reading{At: e.At, Vessel: e.Vessel, Device: s.Device, Version: s.After, Before: s.Before, Installed: e.Kind == StepDone}
	if VersionKey(r.Version) == "" {
		r.Version = s.Before
	}
	if VersionKey(r.Version) == "" {
		return nil
	}
	if VersionKey(r.Before) == "" {
		r.Before = ""
	}
	return []Reading{r}
}

func known(v version.V) version.V {
	if v == "" {
		return version.Unknown
	}
	return v
}

// State is what a ledger knows of one device.
type State struct {
	Reading
	// Other is what a second writer read at about the same time, where the
	// two can't both be right; "" where nobody disagrees.
	Other version.V `json:"other"`
}

// Together is how close two writers' readings lie when neither can be taken
// for newer knowledge than the other.
const Together = 24 * time.Hour

// SettleOver is how many of a device's last readings its state is taken from.
const SettleOver = 32

// Settle gives the state that readings of one device come to, at most the
// last SettleOver of them, in order of Ord. There must be one at least.
//
// The last reading counts. One that says unknown takes away no version that
// was known, unless the device was removed or replaced in between.
func Settle(readings []Reading) State {
	known := withoutUnknown(readings)
	last := known[len(known)-1]
	state := State{Reading: last}
	for i := len(known) - 1; i > 0; i-- {
		before, after := known[i-1], known[i]
		if leadsTo(before, after) {
			continue
		}
		if before.Writer != after.Writer && last.At.Sub(before.At) <= Together {
			state.Other = before.Version
		}
		break
	}
	state.Device = described(known)
	return state
}

func withoutUnknown(readings []Reading) []Reading {
	var list []Reading
	for _, r := range readings {
		if n := len(list); r.Version == version.Unknown && n > 0 && !list[n-1].Gone && !another(list[n-1].Device, r.Device) {
			continue
		}
		list = append(list, r)
	}
	return list
}

// described takes each word about the device from the last reading that has
// it, since the device was last fitted.
func described(readings []Reading) Device {
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

// another tells whether two descriptions can't be of the same equipment.
func another(a, b Device) bool {
	return a.Model != "" && b.Model != "" && a.Model != b.Model ||
		a.Serial != "" && b.Serial != "" && a.Serial != b.Serial
}

// leadsTo tells whether the later reading may come after the earlier one: it
// found the same version, or a step started from that version. Where nobody
// read what a step started from, it may have been that one, unless another
// writer was at work at about the same time. Another piece of equipment under
// the same id starts from what it came with.
func leadsTo(before, after Reading) bool {
	switch {
	case before.Gone || after.Gone || before.Version == version.Unknown:
		return true
	case another(before.Device, after.Device) && !apart(before, after):
		return true
	case version.Compare(after.Version, before.Version) == 0:
		return true
	case after.Before != "":
		return version.Compare(after.Before, before.Version) == 0
	}
	return after.Installed && !apart(before, after)
}

// apart tells whether two writers read the device at about the same time.
func apart(before, after Reading) bool {
	return before.Writer != after.Writer && after.At.Sub(before.At) <= Together
}

// ContradictionKind says how two readings of one device disagree.
type ContradictionKind string

// The ways in which readings disagree.
const (
	// Two writers left the device with different versions at about the same
	// time. Both stand until somebody reads the device again.
	TwoVersions ContradictionKind = "two versions"
	// The later reading didn't start from what the earlier one left: somebody
	// changed the device in between, or one of them misread it.
	Unexplained ContradictionKind = "unexplained change"
)

// Contradiction is two readings of one device that don't follow each other.
type Contradiction struct {
	Kind    ContradictionKind `json:"kind"`
	Earlier Reading           `json:"earlier"`
	Later   Reading           `json:"later"`
}

// Contradictions finds them among readings of one device, in order of Ord.
func Contradictions(readings []Reading) []Contradiction {
	var list []Contradiction
	readings = withoutUnknown(readings)
	for i := 1; i < len(readings); i++ {
		before, after := readings[i-1], readings[i]
		if leadsTo(before, after) {
			continue
		}
		c := Contradiction{Kind: Unexplained, Earlier: before, Later: after}
		if apart(before, after) {
			c.Kind = TwoVersions
		}
		list = append(list, c)
	}
	return list
}

// SortReadings puts readings in order of Ord.
func SortReadings(readings []Reading) {
	slices.SortFunc(readings, func(a, b Reading) int { return bytes.Compare(a.Ord, b.Ord) })
}

// Carried is one release that a card carried.
type Carried struct {
	Vessel  string // "" where nobody knows
	Card    string // digest
	At      time.Time
	Release CardRelease
	Good    bool // the card was read back and called good
}

// CarriedBy gives the releases that an entry says a card carried.
func CarriedBy(e *Entry) []Carried {
	if e.Card == nil {
		return nil
	}
	var list []Carried
	for _, r := range e.Card.Releases {
		list = append(list, Carried{
			Vessel: e.Vessel, Card: e.Card.Digest, At: e.At, Release: r, Good: e.Card.Verdict == "good",
		})
	}
	return list
}

// OnCard is a release that stood on a card which was read back and called
// good.
type OnCard struct {
	Device  string    `json:"device"`
	Model   string    `json:"model"`
	Version version.V `json:"version"`
	Card    string    `json:"card"` // digest
}
