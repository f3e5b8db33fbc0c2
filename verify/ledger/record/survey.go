package record

import (
	"cmp"
	"slices"
	"time"

	"cardwright/manifest"
	"cardwright/manifest/survey"
	"cardwright/manifest/version"
	"cardwright/verify/ledger"
	"cardwright/verify/ledger/known"
)

// Survey is what was found aboard by whoever walked the boat, or by a capture of
// its network.
type Survey struct {
	Visit string // by what was found, so that one survey is noted once: see VisitOf
	How   string // note beside each reading; "" for a person's
	At    time.Time
	Read  map[string]version.V // devices whose version was read, by id
	Said  map[string]string    // what was written beside devices, by id
	New   []string             // ids of devices that the vessel's file didn't have
	Other []string             // ids of those of which serial, place or variant were found otherwise
}

// Take takes what a survey changes in the vessel's file.
func (s *Survey) Take(changes []survey.Change) {
	for _, c := range changes {
		switch {
		case c.Key == "":
			s.New = append(s.New, c.Device)
		case c.Key != known.VersionKey && !slices.Contains(s.Other, c.Device):
			s.Other = append(s.Other, c.Device)
		}
	}
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
	if len(s.New)+len(s.Other) > 0 {
		taken := job.takenOn()
		for _, id := range append(slices.Clone(s.New), s.Other...) {
			d, _ := job.device(id)
			v := version.V(version.Unknown)
			if slices.Contains(s.New, id) {
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
