package record

import (
	"cmp"
	"time"

	"cardwright/manifest/version"
	"cardwright/verify/ledger"
	"cardwright/verify/ledger/known"
)

// Changed are the values of one device that a change gives its vessel's file; those
// that stay are left out. Of a device that was taken off there is only AboardKey.
type Changed []known.FileDiffers

// NewBox is what replaced a device.
type NewBox struct {
	Model   string    // "" where it is the same
	Serial  string    // "" where nobody wrote it down
	Version version.V // "" where nobody read it
	Place   string    // "" where it is the same
}

// Replaced makes the entry for another box in a device's place.
func (j *Job) Replaced(id string, box NewBox, at time.Time, note string) (ledger.Entry, Changed) {
	e := j.change(ledger.DeviceReplaced, id, at, note)
	d := &e.DeviceChange.Device
	if box.Model != "" && box.Model != d.Model {
		*d = ledger.Device{ID: id, Model: box.Model, Place: d.Place}
		if m := j.model(box.Model); m != nil {
			d.Maker, d.Kind, d.Name = m.Maker, string(m.Kind), m.Name
		}
	}
	d.Serial = box.Serial
	if box.Place != "" {
		d.Place = box.Place
	}
	e.DeviceChange.Version = box.Version
	return e, changes(e.DeviceChange.Was, ledger.Fitted{Device: *d, Version: known.OrUnknown(box.Version)})
}

// Moved makes the entry for another place.
func (j *Job) Moved(id, place string, at time.Time, note string) (ledger.Entry, Changed) {
	e := j.change(ledger.DeviceMoved, id, at, note)
	e.DeviceChange.Device.Place = place
	was := e.DeviceChange.Was
	return e, changes(was, ledger.Fitted{Device: e.DeviceChange.Device, Version: was.Version})
}

// TakenOff makes the entry for a device that is no longer aboard.
func (j *Job) TakenOff(id string, at time.Time, note string) (ledger.Entry, Changed) {
	e := j.change(ledger.DeviceTakenOff, id, at, note)
	e.DeviceChange.Device = ledger.Device{ID: id}
	return e, Changed{{Device: id, Key: known.AboardKey, File: id}}
}

func (j *Job) change(kind ledger.Kind, id string, at time.Time, note string) ledger.Entry {
	d, _ := j.device(id)
	was := ledger.Fitted{Device: d}
	if aboard := j.Vessel.Device(id); aboard != nil {
		was.Version = aboard.Version
	}
	return ledger.Entry{
		At: at, Kind: kind, Vessel: j.Vessel.ID, Berth: j.Vessel.Berth,
		DeviceChange: &ledger.DeviceChange{Device: d, Was: was, Note: note},
	}
}

func changes(was, is ledger.Fitted) (list Changed) {
	for _, v := range []struct{ key, was, is string }{
		{known.ModelKey, was.Device.Model, is.Device.Model},
		{known.SerialKey, was.Device.Serial, is.Device.Serial},
		{known.PlaceKey, was.Device.Place, is.Device.Place},
		{known.VariantKey, was.Device.Variant, is.Device.Variant},
		{known.VersionKey, string(was.Version), string(is.Version)},
	} {
		if v.was != v.is {
			list = append(list, known.FileDiffers{Device: is.Device.ID, Key: v.key, Kind: known.Behind, File: v.was, Ledger: v.is})
		}
	}
	return list
}

// Undone are the values that a vessel's file gets back where a change of a device was
// taken back: what is known of the device now, k, and of what nobody noted what stood
// in the file before.
func Undone(c *ledger.DeviceChange, kind ledger.Kind, k *known.Joined) Changed {
	if kind == ledger.DeviceTakenOff {
		return Changed{{Device: c.Was.Device.ID, Key: known.AboardKey, Ledger: c.Was.Device.ID}}
	}
	is := ledger.Fitted{Device: c.Device, Version: c.Was.Version}
	if kind == ledger.DeviceReplaced {
		is.Version = known.OrUnknown(c.Version)
	}
	back := c.Was
	var d *known.Device
	if k != nil {
		d = k.Device(c.Device.ID)
	}
	if d != nil && !d.Gone {
		for _, v := range []struct {
			to *string
			is string
		}{{&back.Device.Model, d.Model}, {&back.Device.Serial, d.Serial}, {&back.Device.Place, d.Place}, {&back.Device.Variant, d.Variant}} {
			*v.to = cmp.Or(v.is, *v.to)
		}
		if known.OrUnknown(d.Version) != version.Unknown {
			back.Version = d.Version
		}
	}
	return changes(is, back)
}
