package record

import (
	"slices"
	"time"

	"cardwright/manifest"
	"cardwright/verify/ledger"
	"cardwright/verify/ledger/known"
)

// Agreed is the entry that notes what a person changed by hand in a vessel's file, now
// that somebody has agreed to it, and the values on which file and ledger agree from
// then on.
func Agreed(k *known.Joined, catalogue []*manifest.Model, now time.Time) (ledger.Entry, known.Written) {
	file := k.File
	job := Job{Vessel: file, Catalogue: catalogue}
	body := known.Agree(k.FileByHand(), file, func(id string) ledger.Device { d, _ := job.Device(id); return d })
	wrote := known.Written{}
	for _, f := range body.Devices {
		wrote[f.Device.ID] = known.FileValues(file.Device(f.Device.ID))
	}
	for _, id := range body.Removed {
		wrote[id] = nil
	}
	if body.Vessel != nil {
		wrote[known.Whole] = known.FileWords(file)
	}
	return ledger.Entry{At: now, Kind: ledger.WrittenByHand, Vessel: file.ID, Berth: file.Berth, ByHand: body}, wrote
}

// OnAnotherBox are the devices of a sheet for which the vessel's file has another model
// than the ledger, or which only one of the two has: later nobody would know on which
// box the work was done.
func OnAnotherBox(f Filled, k *known.Joined) (list []known.FileDiffers) {
	for _, x := range k.FileByHand() {
		worked := slices.ContainsFunc(f.Steps, func(s FilledStep) bool { return s.Device == x.Device }) ||
			slices.ContainsFunc(f.Checks, func(c FilledCheck) bool { return c.Device == x.Device })
		if worked && (x.Key == known.ModelKey || x.Key == known.AboardKey) {
			list = append(list, x)
		}
	}
	return list
}
