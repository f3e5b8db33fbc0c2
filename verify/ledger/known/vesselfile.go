package known

import (
	"slices"

	"cardwright/manifest"
	"cardwright/manifest/version"
	"cardwright/verify/ledger"
)

// Written is what cardwright last wrote of each device, and of the vessel herself
// (Whole), into a vessel's file, by device and key; nil where nothing is remembered.
type Written map[string]map[string]string

// The keys of a device that file and ledger both have. Aboard says whether it is
// there at all.
const (
	AboardKey  = "aboard"
	VersionKey = "version"
	ModelKey   = "model"
	SerialKey  = "serial"
	PlaceKey   = "place"
	VariantKey = "variant"
)

// FileKeys is the closed list of them.
var FileKeys = []string{AboardKey, ModelKey, SerialKey, PlaceKey, VariantKey, VersionKey}

// FileKind says how a vessel's file and the ledger differ.
type FileKind string

// The ways in which they differ. Neither ever wins in silence.
const (
	ByHand   FileKind = "written by hand" // a person changed the file, and the ledger doesn't know it
	Behind   FileKind = "file is behind"  // the ledger has moved, and nobody touched the file since cardwright wrote it
	BothWays FileKind = "both changed"    // a person changed the file and the ledger has moved
)

// FileDiffers is one value that a vessel's file has otherwise than the ledger.
type FileDiffers struct {
	Device string   `json:"device"` // or Whole
	Key    string   `json:"key"`
	Kind   FileKind `json:"kind"`
	File   string   `json:"file"`   // "" where the file has none
	Ledger string   `json:"ledger"` // "" where the ledger has none
}

// On names what it is about.
func (d *FileDiffers) On() string {
	if d.Device == Whole {
		return "the vessel"
	}
	return d.Device
}

// Told says it in words, without its subject.
func (d *FileDiffers) Told() string {
	switch {
	case d.Key == ServedKey:
		return "she is gone, says the ledger"
	case d.Key != AboardKey:
		return d.Key + " " + orNone(d.File) + " in its file, " + orNone(d.Ledger) + " in the ledger"
	case d.File == "":
		return "not in the vessel's file; the ledger has it aboard"
	}
	return "in the vessel's file; the ledger doesn't have it aboard"
}

func orNone(s string) string {
	if s == "" {
		return "nothing"
	}
	return s
}

// Beside compares a vessel's file with what the ledger knows of it. A vessel of whose
// devices the ledger has no reading, checks apart, differs in nothing.
func (v *Vessel) Beside(file *manifest.Vessel, wrote Written) []FileDiffers {
	if !slices.ContainsFunc(v.Devices, func(d Device) bool { return d.EverRead() }) {
		return nil
	}
	list := v.wholeBeside(file, wrote[Whole])
	for _, d := range file.Devices {
		is := v.Device(d.ID)
		if is != nil && !is.EverRead() {
			is = nil
		}
		if is == nil || is.Gone {
			was, remembered := wrote[d.ID]
			switch {
			case is == nil && (wrote == nil || remembered): // it was never taken on
			case is != nil && remembered && was[AboardKey] != "":
				list = append(list, FileDiffers{Device: d.ID, Key: AboardKey, Kind: Behind, File: d.ID})
			default:
				list = append(list, FileDiffers{Device: d.ID, Key: AboardKey, Kind: ByHand, File: d.ID})
			}
			continue
		}
		list = append(list, is.beside(d, wrote)...)
	}
	for i := range v.Devices {
		d := &v.Devices[i]
		if d.Gone || !d.EverRead() || file.Device(d.ID) != nil {
			continue
		}
		kind := ByHand
		if wrote != nil && wrote[d.ID] == nil {
			kind = Behind
		}
		list = append(list, FileDiffers{Device: d.ID, Key: AboardKey, Kind: kind, Ledger: d.ID})
	}
	return list
}

// beside compares a device that both have.
func (d *Device) beside(file *manifest.Device, wrote Written) (list []FileDiffers) {
	is, inFile := d.values(), FileValues(file)
	for _, key := range FileKeys {
		f, l := inFile[key], is[key]
		if key == AboardKey || sameValue(key, f, l) || key == VersionKey && d.Other != "" {
			continue
		}
		if b, ok := wrote[d.ID][key]; ok {
			kind := BothWays
			switch {
			case sameValue(key, f, b):
				kind = Behind
			case sameValue(key, l, b) || noValue(key, l):
				kind = ByHand
			}
			if noValue(key, l) && kind == Behind { // nobody knows better than the file
				continue
			}
			if noValue(key, f) && key == VersionKey && kind == ByHand { // who writes that nobody knows wants it read
				kind = BothWays
			}
			list = append(list, FileDiffers{d.ID, key, kind, f, l})
			continue
		}
		if kind, differs := d.unremembered(key, f, l); differs {
			list = append(list, FileDiffers{d.ID, key, kind, f, l})
		}
	}
	return list
}

// unremembered judges a value without a memory of what cardwright wrote: one
// that the device had once was most likely written then.
func (d *Device) unremembered(key, f, l string) (FileKind, bool) {
	switch {
	case key != VersionKey && f == "":
		return Behind, true
	case key != VersionKey:
		return ByHand, len(d.ever) > 0
	case noValue(key, l) && len(d.ever) == 0: // the ledger never knew
		return ByHand, false
	case slices.Contains(d.ever, ledger.VersionKey(version.V(f))):
		return Behind, !noValue(key, l)
	case noValue(key, f):
		return Behind, true
	}
	return ByHand, true
}

// Agreed are the values that a vessel's file and the ledger have alike and of which nobody
// remembers that cardwright wrote them. What differs from them later was changed since.
func (j *Joined) Agreed(wrote Written) Written {
	agreed := Written{}
	for key, word := range FileWords(j.File) {
		if _, remembered := wrote[Whole][key]; !remembered && word != "" && word == j.whole.words[key] {
			if agreed[Whole] == nil {
				agreed[Whole] = map[string]string{}
			}
			agreed[Whole][key] = word
		}
	}
	for _, d := range j.File.Devices {
		is := j.Device(d.ID)
		if is == nil || is.Gone {
			continue
		}
		inFile, inLedger := FileValues(d), is.values()
		for _, key := range FileKeys {
			if _, remembered := wrote[d.ID][key]; remembered || !sameValue(key, inFile[key], inLedger[key]) || key == VersionKey && is.Other != "" {
				continue
			}
			if agreed[d.ID] == nil {
				agreed[d.ID] = map[string]string{}
			}
			agreed[d.ID][key] = inFile[key]
		}
	}
	return agreed
}

// values are what the ledger has of a device, by key.
func (d *Device) values() map[string]string {
	return map[string]string{AboardKey: d.ID, ModelKey: d.Model, SerialKey: d.Serial, PlaceKey: d.Place, VariantKey: d.Variant, VersionKey: string(d.Version)}
}

// FileValues are what a vessel's file says of a device, by key.
func FileValues(d *manifest.Device) map[string]string {
	return map[string]string{AboardKey: d.ID, ModelKey: d.Model, SerialKey: d.Serial, PlaceKey: d.Place, VariantKey: d.Variant, VersionKey: string(d.Version)}
}

func sameValue(key, a, b string) bool {
	if key == VersionKey {
		return ledger.VersionKey(version.V(a)) == ledger.VersionKey(version.V(b))
	}
	return a == b
}

func noValue(key, s string) bool {
	return s == "" || key == VersionKey && ledger.VersionKey(version.V(s)) == ""
}

// Agree makes the entry's body for what was changed by hand in a vessel's file:
// each device as the file has it. describe gives a device as the ledger keeps it.
func Agree(differs []FileDiffers, file *manifest.Vessel, describe func(id string) ledger.Device) *ledger.ByHand {
	b := &ledger.ByHand{Vessel: agreeWhole(differs, file)}
	for _, d := range differs {
		switch aboard := file.Device(d.Device); {
		case d.Kind == Behind || d.Device == Whole:
		case aboard == nil:
			b.Removed = append(b.Removed, d.Device)
		case !slices.ContainsFunc(b.Devices, func(f ledger.Fitted) bool { return f.Device.ID == d.Device }):
			b.Devices = append(b.Devices, ledger.Fitted{Device: describe(d.Device), Version: aboard.Version})
		}
	}
	return b
}

// OrUnknown is the version, or version.Unknown where nobody read one.
func OrUnknown(v version.V) version.V {
	if v == "" {
		return version.Unknown
	}
	return v
}
