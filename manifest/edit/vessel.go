package edit

import (
	"fmt"
	"path"
	"slices"

	"cardwright/manifest"
	"cardwright/manifest/version"
)

// NewVessel is a vessel that has no file yet. Texts are as in the file;
// "" leaves a key out.
type NewVessel struct {
	ID, Name               string
	IMO, MMSI, Hull        string
	Berth, Supply, Folders string
	Devices                []NewDevice
}

// NewDevice is a device that the vessel's file doesn't have yet.
type NewDevice struct {
	At               manifest.Pos // where it was written down; nothing where it wasn't
	ID               string       // "": by its place or model, see withIDs
	Model            string       // of the catalogue
	Serial, Place    string
	Version, Variant string
	Hold, HoldWhy    string
	Through          []string // none, for a device without a slot: through all that can
}

// UnknownModels are the devices whose model the catalogue doesn't have.
func UnknownModels(shop *manifest.Shop, devices []NewDevice) (unknown []NewDevice) {
	for _, d := range devices {
		if shop.Model(d.Model) == nil {
			unknown = append(unknown, d)
		}
	}
	return unknown
}

// known refuses devices of a model that the catalogue doesn't have.
func known(shop *manifest.Shop, devices []NewDevice) error {
	for _, d := range UnknownModels(shop, devices) {
		return fmt.Errorf("no model %q in the catalogue", d.Model)
	}
	return nil
}

// OpenVessel opens a vessel's file, and loads shop and vessel with it: reading what
// goes there may have taken long.
func OpenVessel(dir string, v *manifest.Vessel) (*File, *manifest.Shop, *manifest.Vessel, error) {
	f, shop, err := OpenFor(dir, v)
	if err != nil {
		return nil, nil, nil, err
	}
	now := shop.Vessel(v.ID)
	if now == nil || NameOf(now.At("")) != f.Name() {
		return nil, nil, nil, &Changed{Path: f.Name()}
	}
	return f, shop, now, nil
}

// File is the vessel's file.
func (v NewVessel) File(shop *manifest.Shop) (*File, error) {
	if err := known(shop, v.Devices); err != nil {
		return nil, err
	}
	var identity Value
	if v.IMO+v.MMSI+v.Hull != "" {
		identity = Inline{{"imo", orNil(v.IMO)}, {"mmsi", orNil(v.MMSI)}, {"hull", orNil(v.Hull)}}
	}
	devices, aboard := List{}, withIDs(shop, v.Devices)
	for _, d := range aboard {
		devices = append(devices, d.entry(shop, aboard))
	}
	name := path.Join(manifest.VesselsFolder, v.ID+".yaml")
	return New(shop.Dir, name, []string{SchemaComment(name)}, VesselKeys.of(map[string]Value{
		"vessel":   v.ID,
		"name":     v.Name,
		"identity": identity,
		"berth":    orNil(v.Berth),
		"supply":   orNil(v.Supply),
		"folders":  orNil(v.Folders),
		"devices":  devices,
	}))
}

// AddDevices puts devices behind those of a vessel's file. It gives them as they were
// written, each with its id.
func AddDevices(f *File, shop *manifest.Shop, vessel *manifest.Vessel, fresh []NewDevice) ([]NewDevice, error) {
	if err := known(shop, fresh); err != nil {
		return nil, err
	}
	var all []NewDevice
	for _, d := range vessel.Devices {
		all = append(all, NewDevice{ID: d.ID, Model: d.Model, Through: d.Through})
	}
	all = withIDs(shop, append(all, fresh...))
	added := all[len(vessel.Devices):]
	for _, d := range added {
		if err := f.Insert(Way{"devices"}, f.Len("devices"), d.entry(shop, all), VesselKeys); err != nil {
			return nil, err
		}
	}
	return added, nil
}

// SetDevice gives a key of a device in its vessel's file another value.
func SetDevice(f *File, vessel *manifest.Vessel, device, key, value string) error {
	i := slices.IndexFunc(vessel.Devices, func(d *manifest.Device) bool { return d.ID == device })
	if i < 0 {
		return fmt.Errorf("changing %s: it has no device %s", f.Name(), device)
	}
	return f.Set(Way{"devices", i, key}, value, DeviceKeys)
}

// SetThrough writes the devices through which one is updated; none takes the key out.
func SetThrough(f *File, vessel *manifest.Vessel, device string, through []string) error {
	i := slices.IndexFunc(vessel.Devices, func(d *manifest.Device) bool { return d.ID == device })
	if i < 0 {
		return fmt.Errorf("changing %s: it has no device %s", f.Name(), device)
	}
	way := Way{"devices", i, "through"}
	if len(vessel.Devices[i].Through) > 0 {
		if err := f.Delete(way); err != nil {
			return err
		}
	}
	switch len(through) {
	case 0:
		return nil
	case 1:
		return f.Set(way, through[0], DeviceKeys)
	}
	return f.Set(way, texts(through), DeviceKeys)
}

// RemoveDevices takes devices out of a vessel's file, and their ids where another
// device is updated through them.
func RemoveDevices(f *File, vessel *manifest.Vessel, gone []string) error {
	for i, d := range slices.Backward(vessel.Devices) {
		var err error
		if slices.Contains(gone, d.ID) {
			err = f.Delete(Way{"devices", i})
		} else {
			err = removeHosts(f, i, d.Through, gone)
		}
		if err != nil {
			return err
		}
	}
	return nil
}

func removeHosts(f *File, device int, through, gone []string) error {
	left := slices.DeleteFunc(slices.Clone(through), func(id string) bool { return slices.Contains(gone, id) })
	switch {
	case len(left) == len(through):
		return nil
	case len(left) == 0:
		return f.Delete(Way{"devices", device, "through"})
	}
	for n, id := range slices.Backward(through) {
		if slices.Contains(gone, id) {
			if err := f.Delete(Way{"devices", device, "through", n}); err != nil {
				return err
			}
		}
	}
	return nil
}

// entry is the device in the file's list; all are the devices aboard.
func (d NewDevice) entry(shop *manifest.Shop, all []NewDevice) Value {
	through := d.Through
	if m := shop.Model(d.Model); len(through) == 0 && m.Card == nil && m.Route == "" {
		through = hosts(shop, d.Model, all)
	}
	return DeviceKeys.of(map[string]Value{
		"id":       d.ID,
		"model":    d.Model,
		"serial":   orNil(d.Serial),
		"place":    orNil(d.Place),
		"version":  writtenVersion(d.Version),
		"variant":  orNil(d.Variant),
		"hold":     orNil(d.Hold),
		"hold_why": orNil(d.HoldWhy),
		"through":  listOrNil(texts(through)),
	})
}

// hosts are the devices that can update one of a model without a slot: their own
// card reaches them, and their model passes its packages on.
func hosts(shop *manifest.Shop, model string, all []NewDevice) (ids []string) {
	for _, h := range all {
		m := shop.Model(h.Model)
		if m != nil && m.Card != nil && slices.Contains(m.PassesOn, model) && len(h.Through) == 0 {
			ids = append(ids, h.ID)
		}
	}
	return ids
}

// writtenVersion is a version as it goes into a file: without the v by which tables
// keep spreadsheets from taking it for a number.
func writtenVersion(text string) string {
	if v, err := version.Parse(text); err == nil {
		return string(v)
	}
	if text == "" {
		return string(version.Unknown)
	}
	return text
}
