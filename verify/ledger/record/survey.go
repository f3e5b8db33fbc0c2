package record

import (
	"cmp"
	"slices"
	"time"

	"cardwright/manifest"
	"cardwright/manifest/edit"
	"cardwright/manifest/survey"
	"cardwright/manifest/version"
	"cardwright/verify/ledger"
	"cardwright/verify/ledger/known"
)

// Survey is what was found aboard by whoever walked the boat, or by a capture of
// its network.
type Survey struct {
	Visit   string // by what was found, so that one survey is noted once: see VisitOf
	How     string // note with each reading; "" for a person's
	At      time.Time
	Read    map[string]version.V // devices whose version was read, by id
	Said    map[string]string    // what was written next to devices, by id
	Changes []survey.Change      // of the vessel's file
	Fresh   []edit.NewDevice     // devices that the vessel's file doesn't have; Write puts them there
}

// SurveyFromNetwork takes the certain lines of a capture; left is
// how many a person has to look at.
func SurveyFromNetwork(lines []survey.Line, at time.Time) (s Survey, left int) {
	s = Survey{Visit: ledger.NewVisit(), How: ledger.FromCapture, At: at, Read: map[string]version.V{}}
	for _, l := range lines {
		switch {
		case l.Writes():
			if l.Version != "" {
				s.Read[l.Device] = l.Version
			}
			s.Changes = append(s.Changes, l.Changes()...)
		case l.State == survey.New:
			s.Fresh = append(s.Fresh, edit.NewDevice{Model: l.Model, Serial: l.Serial, Version: string(l.Version)})
		case l.Unsure():
			left++
		}
	}
	return s, left
}

// LeaveLater removes from the changes of the vessel's file the versions for which the
// ledger has a later reading, as where a survey is noted after the day. It returns those
// devices as the ledger has them.
func (s *Survey) LeaveLater(k *known.Joined) (later []known.Device) {
	if k == nil {
		return nil
	}
	s.Changes = slices.DeleteFunc(slices.Clone(s.Changes), func(c survey.Change) bool {
		d := k.Device(c.Device)
		if c.Key != known.VersionKey || d == nil || !d.Since.After(s.At) || ledger.VersionKey(d.Version) == "" || ledger.VersionKey(d.Version) == ledger.VersionKey(version.V(c.Is)) {
			return false
		}
		later = append(later, *d)
		return true
	})
	return later
}

// Write writes what was found into the vessel's file. The devices that it puts there
// are among the changes from then on.
func (s *Survey) Write(file *edit.File, shop *manifest.Shop, vessel *manifest.Vessel) error {
	for _, c := range s.Changes {
		if err := edit.SetDevice(file, vessel, c.Device, c.Key, c.Is); err != nil {
			return err
		}
	}
	added, err := edit.AddDevices(file, shop, vessel, s.Fresh)
	for _, d := range added {
		s.Changes = append(s.Changes, survey.Added(d.ID, d.Model, d.Version))
	}
	s.Fresh = nil
	return err
}

// changed are the devices that the vessel's file didn't have, and those of which
// serial, place or variant were found otherwise.
func (s *Survey) changed() (fresh, other []string) {
	for _, c := range s.Changes {
		switch {
		case c.Key == "":
			fresh = append(fresh, c.Device)
		case c.Key != known.VersionKey && !slices.Contains(other, c.Device):
			other = append(other, c.Device)
		}
	}
	return fresh, other
}

// WrittenBy are the values that changes write into a vessel's file; vessel is as
// the file then is.
func WrittenBy(changes []survey.Change, vessel *manifest.Vessel) known.Written {
	w := known.Written{}
	for _, c := range changes {
		switch d := vessel.Device(c.Device); {
		case d == nil:
		case c.Key == "":
			w[c.Device] = known.FileValues(d)
		case w[c.Device] == nil:
			w[c.Device] = map[string]string{c.Key: c.Is}
		default:
			w[c.Device][c.Key] = c.Is
		}
	}
	return w
}

// Entries are the ledger's entries of a survey; vessel is as its file will be.
// There are none where nothing was found.
func (s *Survey) Entries(vessel *manifest.Vessel, catalogue []*manifest.Model) []ledger.Entry {
	job := Job{Vessel: vessel, Catalogue: catalogue}
	entry := func(kind ledger.Kind) ledger.Entry {
		return ledger.Entry{At: s.At, Kind: kind, Vessel: vessel.ID, Berth: vessel.Berth, Visit: s.Visit}
	}
	begun := entry(ledger.VisitBegun)
	begun.VisitBegun = &ledger.Visit{Purpose: "survey"}
	all := []ledger.Entry{begun}
	if fresh, other := s.changed(); len(fresh)+len(other) > 0 {
		taken := job.takenOn()
		for _, id := range slices.Concat(fresh, other) {
			d, _ := job.device(id)
			v := version.V(version.Unknown)
			if slices.Contains(fresh, id) {
				v = vessel.Device(id).Version
			}
			taken.Devices = append(taken.Devices, ledger.Fitted{Device: d, Version: v})
		}
		e := entry(ledger.VesselTakenOn)
		e.TakenOn = &taken
		all = append(all, e)
	}
	for _, d := range vessel.Devices {
		v, ok := s.Read[d.ID]
		if !ok {
			continue
		}
		e := entry(ledger.CheckPassed)
		device, _ := job.device(d.ID)
		e.Check = &ledger.Check{Check: ledger.VersionShown, Device: device, Value: string(v), Note: cmp.Or(s.Said[d.ID], s.How)}
		all = append(all, e)
	}
	if len(all) == 1 {
		return nil
	}
	return all
}
