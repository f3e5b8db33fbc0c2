package survey

import (
	"strings"

	"cardwright/manifest"
	"cardwright/manifest/version"
)

// Change is one value that a survey changes in a vessel's file.
type Change struct {
	Device string `json:"device"`
	Key    string `json:"key"` // "": the device is new
	Was    string `json:"was"`
	Is     string `json:"is"`
}

// Added is the change that puts a device into the file.
func Added(device, model, version string) Change {
	return Change{Device: device, Is: strings.TrimSpace(model + " " + version)}
}

// Answer is what a person read off a device; what is empty changes nothing.
type Answer struct{ Serial, Place, Version, Variant string }

// Changes are what an answer changes of a device that is in the file.
func (a Answer) Changes(d *manifest.Device) (changes []Change) {
	if v, err := version.Parse(a.Version); err == nil {
		a.Version = string(v)
	}
	for _, c := range []Change{
		{d.ID, "serial", d.Serial, a.Serial},
		{d.ID, "place", d.Place, a.Place},
		{d.ID, "version", string(d.Version), a.Version},
		{d.ID, "variant", d.Variant, a.Variant},
	} {
		if c.Is != "" && c.Is != c.Was {
			changes = append(changes, c)
		}
	}
	return changes
}

// Changes are what the network changes of a device that is in the file, where it
// may (Writes).
func (l Line) Changes() (changes []Change) {
	if l.Version != "" && (l.Was == string(version.Unknown) || version.Compare(version.V(l.Was), l.Version) != 0) {
		changes = append(changes, Change{l.Device, "version", l.Was, string(l.Version)})
	}
	if l.Serial != "" && l.Serial != l.WasSerial {
		changes = append(changes, Change{l.Device, "serial", l.WasSerial, l.Serial})
	}
	return changes
}

// Unsure reports whether a person has to find out which device this is, or what it runs.
func (l Line) Unsure() bool {
	return l.State == Unclear || l.State == UnknownModel || l.State == Differs
}
