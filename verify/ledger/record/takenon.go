package record

import (
	"time"

	"cardwright/verify/ledger"
	"cardwright/verify/ledger/audit"
)

// takenOn is the vessel as the ledger keeps it, without its devices.
func (j *Job) takenOn() ledger.TakenOn {
	id := j.Vessel.Identity
	return ledger.TakenOn{Name: j.Vessel.Name, Hull: id.Hull, IMO: id.IMO, MMSI: id.MMSI}
}

// TakenOn is the entry that notes a vessel with all its devices, as its file has
// them. Those that were aboard by its history up to then, and aren't in the file,
// are no longer aboard.
func (j *Job) TakenOn(at time.Time, h audit.History) ledger.Entry {
	taken := j.takenOn()
	for _, d := range j.Vessel.Devices {
		device, _ := j.device(d.ID)
		taken.Devices = append(taken.Devices, ledger.Fitted{Device: device, Version: d.Version})
	}
	for _, d := range h.Devices {
		if !d.Gone && j.Vessel.Device(d.ID) == nil {
			taken.Removed = append(taken.Removed, d.ID)
		}
	}
	return ledger.Entry{At: at, Kind: ledger.VesselTakenOn, Vessel: j.Vessel.ID, Berth: j.Vessel.Berth, TakenOn: &taken}
}
