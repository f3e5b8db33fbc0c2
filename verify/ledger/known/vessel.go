package known

import (
	"cmp"
	"slices"
	"time"

	"cardwright/manifest/version"
	"cardwright/verify/ledger"
)

// Ask says what is taken into account.
type Ask struct {
	Trust     Trust       // whose events count; nil: everybody's
	Seen      *Seen       // what writers had seen of one another's chains
	Until     time.Time   // what happened up to this moment; zero: everything
	Withdrawn Withdrawals // by the catalogue and the ledger
	Formerly  []string    // ids that the vessel had before, see Renamed
}

// Of says what events tell of one vessel. They come in any order, with all their
// corrections.
func Of(vessel string, events []ledger.Event, ask Ask) Vessel {
	v, _ := of(vessel, events, ask)
	return v
}

// WithContradictions is Of with the readings of the devices that don't follow one
// another.
func WithContradictions(vessel string, events []ledger.Event, ask Ask) (Vessel, []Contradiction) {
	v, all := of(vessel, events, ask)
	var list []Contradiction
	for _, s := range all {
		list = append(list, contradictions(s.readings, ask.Seen)...)
	}
	return v, list
}

func of(vessel string, events []ledger.Event, ask Ask) (Vessel, []*story) {
	facts, leftOut := Facts(events, ask.Trust)
	all := stories(facts, append([]string{vessel}, ask.Formerly...), ask.Until)
	v := Vessel{ID: vessel, Devices: []Device{}, LeftOut: len(leftOut), Untrusted: leftOut[:min(len(leftOut), MaxUntrusted)]}
	v.whole = wholeOf(facts, append([]string{vessel}, ask.Formerly...), ask)
	for _, s := range all {
		v.Devices = append(v.Devices, s.device(ask))
	}
	return v, all
}

// story is all that happened to one device.
type story struct {
	id       string
	readings []ledger.Reading
	works    []*Fact             // steps and checks
	facts    map[ledger.ID]*Fact // whose readings they are
}

// stories sorts facts about a vessel, under any of its ids, by the device that they
// tell of, by id.
func stories(facts []Fact, vessel []string, until time.Time) []*story {
	byID := map[string]*story{}
	of := func(id string) *story {
		if byID[id] == nil {
			byID[id] = &story{id: id, facts: map[ledger.ID]*Fact{}}
		}
		return byID[id]
	}
	for i := range facts {
		f := &facts[i]
		e := &f.Entry
		if !slices.Contains(vessel, e.Vessel) || !until.IsZero() && e.At.After(until) {
			continue
		}
		for _, r := range f.readings() {
			s := of(r.Device.ID)
			s.readings = append(s.readings, r)
			s.facts[r.Event] = f
		}
		if e.Step != nil {
			s := of(e.Step.Device.ID)
			s.works = append(s.works, f)
		}
		if e.Check != nil {
			s := of(e.Check.Device.ID)
			s.works = append(s.works, f)
		}
	}
	var list []*story
	for _, s := range byID {
		sorted(s.readings)
		list = append(list, s)
	}
	slices.SortFunc(list, func(a, b *story) int { return cmp.Compare(a.id, b.id) })
	return list
}

func (s *story) device(ask Ask) Device {
	d := Device{Device: ledger.Device{ID: s.id}, Version: version.Unknown, How: NobodyKnows}
	if len(s.readings) > 0 {
		state := Settle(s.readings, ask.Seen)
		f := s.facts[state.Event]
		d = Device{
			Device: state.Device, Version: state.Version, Other: state.Other, Since: state.At, Gone: state.Gone,
			Event: state.Event, By: f.Technician(), How: how(f, &state.Reading),
		}
		if state.Installed {
			d.Before = state.Before
		}
	} else if len(s.works) > 0 {
		d.Device = deviceOf(&s.works[len(s.works)-1].Entry)
	}
	d.ever = s.ever()
	d.Open = s.open(&d, ask)
	return d
}

func how(f *Fact, r *ledger.Reading) How {
	switch {
	case r.Lost:
		return FailedUnread
	case f.Entry.ByHand != nil:
		return fromFile
	case r.Gone:
		return readAboard
	case f.Entry.DeviceChange != nil && r.Version == version.Unknown:
		return NobodyKnows
	case f.Entry.TakenOn != nil && r.Version == version.Unknown:
		return NobodyKnows
	case f.Entry.TakenOn != nil:
		return takenOn
	case r.Installed:
		return installed
	case f.Entry.Check != nil && f.Entry.Check.Note == ledger.FromCapture:
		return fromCapture
	}
	return readAboard
}

func deviceOf(e *ledger.Entry) ledger.Device {
	if e.Step != nil {
		return e.Step.Device
	}
	return e.Check.Device
}

// ever are the keys of all versions that were read, also before a step.
func (s *story) ever() []string {
	var keys []string
	for _, r := range s.readings {
		for _, v := range []version.V{r.Version, r.Before} {
			if key := ledger.VersionKey(v); key != "" && !slices.Contains(keys, key) {
				keys = append(keys, key)
			}
		}
	}
	return keys
}
