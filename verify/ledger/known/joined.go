package known

import (
	"slices"
	"strings"

	"cardwright/manifest"
	"cardwright/manifest/version"
)

// Joined is what a vessel's file and the ledger say of it together.
type Joined struct {
	Vessel
	File    *manifest.Vessel // as its file has it
	Differs []FileDiffers    // where the file differs from the ledger
}

// Join compares a vessel's file with what is known of it, and brings into the vessel
// in memory what counts: plans, verdicts and pages use it. wrote is what
// cardwright last wrote into the file.
func Join(k Vessel, vessel *manifest.Vessel, wrote Written) *Joined {
	j := &Joined{Vessel: k, File: copied(vessel), Differs: k.Beside(vessel, wrote)}
	j.bringInto(vessel)
	return j
}

// bringInto changes a vessel in memory. Where its file is only behind the ledger,
// the ledger counts; where nobody can be sure, no version does: nothing is planned
// by guess.
func (j *Joined) bringInto(vessel *manifest.Vessel) {
	for _, d := range vessel.Devices {
		if is := j.Device(d.ID); is != nil && (is.Model == "" || is.Model == d.Model) && is.inDoubt() {
			d.Version = version.Unknown
		}
	}
	for _, x := range j.Differs {
		d := vessel.Device(x.Device)
		switch {
		case x.Device == Whole && x.Kind == Behind:
			setWord(vessel, x.Key, x.Ledger)
		case d == nil || x.Key == AboardKey:
		case x.Kind == BothWays && (x.Key == VersionKey || x.Key == ModelKey):
			d.Version = version.Unknown
		case x.Kind != Behind:
		case x.Key == VersionKey:
			d.Version = version.V(x.Ledger)
		case x.Key == SerialKey:
			d.Serial = x.Ledger
		case x.Key == PlaceKey:
			d.Place = x.Ledger
		}
	}
}

// copied is a vessel with its devices, apart from the one that is changed.
func copied(v *manifest.Vessel) *manifest.Vessel {
	file := *v
	file.Devices = make([]*manifest.Device, len(v.Devices))
	for i, d := range v.Devices {
		device := *d
		file.Devices[i] = &device
	}
	return &file
}

// FileBehind are the differences of a file that nobody touched since the ledger
// moved. Nothing is known of a nil Joined, here and below.
func (j *Joined) FileBehind() []FileDiffers {
	return j.differs(func(k FileKind) bool { return k == Behind })
}

// FileByHand are the differences that a person has to agree to have noted.
func (j *Joined) FileByHand() []FileDiffers {
	return j.differs(func(k FileKind) bool { return k != Behind })
}

func (j *Joined) differs(wanted func(FileKind) bool) (list []FileDiffers) {
	if j == nil {
		return nil
	}
	for _, x := range j.Differs {
		if wanted(x.Kind) {
			list = append(list, x)
		}
	}
	return list
}

func (d *Device) inDoubt() bool { return d.How == FailedUnread || d.Other != "" }

// OpenOn is what is open about one device, or about the vessel herself.
type OpenOn struct {
	Device string `json:"device"` // or Whole
	Open
}

// On names what it is about.
func (o *OpenOn) On() string {
	if o.Device == Whole {
		return "the vessel"
	}
	return o.Device
}

// AgreedBerth is the berth that the ledger has where the file's was changed by hand and
// nobody agreed to it; else the given one.
func (j *Joined) AgreedBerth(given string) string {
	for _, x := range j.FileByHand() {
		if x.Device == Whole && x.Key == BerthKey {
			return x.Ledger
		}
	}
	return given
}

// WithoutByHand keeps out of a vessel in memory what a person changed by hand in her
// file and nobody agreed to: it is not to be signed.
func (j *Joined) WithoutByHand(vessel *manifest.Vessel) {
	for _, x := range j.FileByHand() {
		d := vessel.Device(x.Device)
		switch {
		case x.Device == Whole:
			setWord(vessel, x.Key, x.Ledger)
		case d == nil:
		case x.Key == SerialKey:
			d.Serial = x.Ledger
		case x.Key == PlaceKey:
			d.Place = x.Ledger
		}
	}
}

// fileKinds are what differences of the file are as open points.
var fileKinds = map[FileKind]OpenKind{ByHand: NotNoted, Behind: FileOlder, BothWays: Disputed}

// FileOpen are the file's differences as open points, those of one device and kind
// in one.
func (j *Joined) FileOpen() (list []OpenOn) {
	if j == nil {
		return nil
	}
	for _, x := range j.Differs {
		kind := fileKinds[x.Kind]
		i := slices.IndexFunc(list, func(o OpenOn) bool { return o.Device == x.Device && o.Kind == kind })
		if i < 0 {
			list = append(list, OpenOn{Device: x.Device, Open: Open{Kind: kind}})
			i = len(list) - 1
		}
		told := &list[i].What
		if kind == Disputed {
			told = &list[i].Why
		}
		*told = strings.TrimPrefix(*told+"; "+x.Told(), "; ")
	}
	return list
}

// OpenAboard is what is open about the devices that the vessel has, the gravest
// first.
func (j *Joined) OpenAboard(vessel *manifest.Vessel) (list []OpenOn) {
	if j == nil {
		return nil
	}
	for _, d := range j.Devices {
		if vessel.Device(d.ID) == nil {
			continue
		}
		for _, o := range d.Open {
			list = append(list, OpenOn{Device: d.ID, Open: o})
		}
	}
	list = append(list, j.FileOpen()...)
	slices.SortStableFunc(list, func(a, b OpenOn) int {
		return slices.Index(OpenKinds, a.Kind) - slices.Index(OpenKinds, b.Kind)
	})
	return list
}
