// Package survey compares what devices say on a boat's network with the vessel's
// file: which device seen is which one aboard, and where the two differ. What could
// be either of two devices is said to be unclear, and nothing is changed for it. It is
// pure: package nmea2000 reads the capture, package edit changes the file.
package survey

import (
	"slices"
	"strings"

	"cardwright/manifest"
	"cardwright/manifest/nmea2000"
	"cardwright/manifest/version"
)

// State is how a device on the network and the vessel's file go together.
type State string

// The states, a closed list.
const (
	Same         State = "same"          // the file says what the network does
	Differs      State = "differs"       // version or serial differ
	New          State = "new"           // not in the file
	NotSeen      State = "not seen"      // in the file, and not on this network: on another one, off, or gone
	UnknownModel State = "unknown model" // no model of the catalogue announces itself like that
	Unclear      State = "unclear"       // which device it is, or what it runs, isn't certain
)

// Line is one device, as it was seen and as the file has it.
type Line struct {
	State       State            `json:"state"`
	Seen        *nmea2000.Seen   `json:"seen"`    // nil: not seen
	Device      string           `json:"device"`  // its id in the file; "": not there
	Model       string           `json:"model"`   // of the catalogue; "": unknown
	Version     version.V        `json:"version"` // as seen; "": none that can be read
	Serial      string           `json:"serial"`  // as seen; "": none that may be written down
	Was         string           `json:"was"`     // version in the file
	WasSerial   string           `json:"was_serial"`
	Why         string           `json:"why,omitempty"`
	device      *manifest.Device // in the file
	mayBe       []string         // models that it may be, where it is unclear which device
	otherSerial bool             // its serial isn't the one in the file
}

// Writes reports whether what was seen is to be written into the file: it is certain which
// device there it is, and something differs.
func (l Line) Writes() bool { return l.State == Differs && l.device != nil && !l.otherSerial }

// Compare compares what was seen with a vessel's file; vessel may be nil.
func Compare(shop *manifest.Shop, vessel *manifest.Vessel, network *nmea2000.Network) []Line {
	lines := []Line{}
	byModel := map[string][]*Line{}
	var order []string
	for i := range network.Devices {
		l := lineOf(shop, &network.Devices[i])
		if l.Model == "" {
			lines = append(lines, l)
			continue
		}
		if byModel[l.Model] == nil {
			order = append(order, l.Model)
		}
		byModel[l.Model] = append(byModel[l.Model], &l)
	}
	var aboard []*manifest.Device
	if vessel != nil {
		aboard = slices.Clone(vessel.Devices)
	}
	for _, model := range order {
		seen := byModel[model]
		aboard = pair(model, seen, aboard)
		for _, l := range seen {
			lines = append(lines, *l)
		}
	}
	for _, d := range aboard {
		l := Line{State: NotSeen, Device: d.ID, Model: d.Model, Was: string(d.Version), WasSerial: d.Serial, device: d}
		if slices.ContainsFunc(lines, func(l Line) bool { return slices.Contains(l.mayBe, d.Model) }) {
			l.State, l.Why = Unclear, "it may be one of those seen"
		}
		lines = append(lines, l)
	}
	return lines
}

// lineOf finds out which model a device is and what it runs; a state is given
// only where that isn't certain.
func lineOf(shop *manifest.Shop, s *nmea2000.Seen) Line {
	l := Line{Seen: s}
	models := modelsNamed(shop, s.Product.Model)
	if manifest.Problem("Device.serial", s.Product.Serial) == nil {
		l.Serial = s.Product.Serial
	}
	switch {
	case len(models) == 0:
		l.State, l.Why = UnknownModel, "no model in the catalogue has this in on_network"
		return l
	case len(models) > 1:
		l.unclear("several models have this in on_network: "+strings.Join(ids(models), ", "), ids(models)...)
		return l
	}
	l.Model = models[0].ID
	l.Version, l.Why = versionOf(models[0], s.Product.Software)
	if s.Unclear {
		l.unclear("it announced different things in this capture", l.Model)
	}
	return l
}

func (l *Line) unclear(why string, models ...string) {
	l.State, l.Why, l.mayBe = Unclear, why, models
}

func modelsNamed(shop *manifest.Shop, name string) (all []*manifest.Model) {
	for _, m := range shop.Models {
		if slices.ContainsFunc(m.OnNetwork, func(n string) bool { return strings.EqualFold(strings.TrimSpace(n), name) }) {
			all = append(all, m)
		}
	}
	return all
}

func ids(models []*manifest.Model) []string {
	all := make([]string, len(models))
	for i, m := range models {
		all[i] = m.ID
	}
	return all
}

// versionOf reads a software version: the text as it is, or its first word
// where that is a release of the catalogue. A release is written as there. One
// that may be a release cut short is none; why says so.
//
// Where the model has a version_from, the version is what that finds in the
// text.
func versionOf(m *manifest.Model, text string) (v version.V, why string) {
	if m.VersionFrom != "" {
		found, ok := m.VersionIn(text)
		if !ok {
			return "", "the model's version_from finds no version in what it announces"
		}
		text = found
	}
	v, err := version.Parse(text)
	if err != nil {
		first, _, _ := strings.Cut(text, " ")
		if v, err = version.Parse(first); err != nil || !inCatalogue(m, v) {
			return "", "what it announces as its version isn't one: version_from in the model's file can say where in the text the version is"
		}
	}
	if inCatalogue(m, v) {
		return asInCatalogue(m, v), ""
	}
	for _, r := range m.Releases {
		if cutShort(v, r.Version) {
			return "", "it announces " + string(v) + ", which may be " + string(r.Version) + " cut short: read it off its screen"
		}
	}
	return v, ""
}

// cutShort reports whether a version may be another one without its end: 4.0 for 4.0-12.
func cutShort(v, whole version.V) bool {
	rest, ok := strings.CutPrefix(string(whole), string(v))
	return ok && rest != "" && strings.ContainsAny(rest[:1], ".-+~")
}

func inCatalogue(m *manifest.Model, v version.V) bool {
	return slices.ContainsFunc(m.Releases, func(r *manifest.Release) bool { return version.Compare(r.Version, v) == 0 })
}

func asInCatalogue(m *manifest.Model, v version.V) version.V {
	for _, r := range m.Releases {
		if version.Compare(r.Version, v) == 0 {
			return r.Version
		}
	}
	return v
}

// certainOnes are the devices seen of a model of which it is certain which one each
// is: it has announced one thing, and no other has its serial, as a device on two
// networks would.
func certainOnes(seen []*Line) (all []*Line) {
	times := map[string]int{}
	for _, l := range seen {
		times[strings.ToLower(l.Serial)]++
	}
	for _, l := range seen {
		if l.Serial != "" && times[strings.ToLower(l.Serial)] > 1 && l.State == "" {
			l.unclear("several devices announce this serial: one device seen twice, or a number that many have", l.Model)
		}
		if l.State == "" {
			all = append(all, l)
		}
	}
	return all
}

// pair finds the device in the file for each one seen of a model: by its
// serial; where one of either is left, that one; where several are left and all
// say the same version, in their order, for the version alone. It returns the
// devices that are left.
func pair(model string, seen []*Line, aboard []*manifest.Device) []*manifest.Device {
	var open []*Line
	sure := certainOnes(seen)
	for _, l := range sure {
		i := slices.IndexFunc(aboard, func(d *manifest.Device) bool {
			return d.Model == model && l.Serial != "" && strings.EqualFold(d.Serial, l.Serial)
		})
		if i < 0 {
			open = append(open, l)
			continue
		}
		l.matchTo(aboard[i], true)
		aboard = slices.Delete(aboard, i, i+1)
	}
	var left []*manifest.Device
	for _, d := range aboard {
		if d.Model == model {
			left = append(left, d)
		}
	}
	switch {
	case len(open) == 0:
		return aboard
	case len(left) == 0 && len(sure) == len(seen):
		for _, l := range open {
			l.State = New
		}
		return aboard
	case len(sure) < len(seen):
		return leaveUnclear(open, aboard, "several devices of this model, and it isn't certain which one each of them is")
	case len(open) == 1 && len(left) == 1:
		open[0].matchTo(left[0], true)
	case len(open) == len(left) && oneVersion(open) && !serialsDiffer(open, left):
		for i, l := range open {
			l.matchTo(left[i], false)
		}
	default:
		return leaveUnclear(open, aboard, "several devices of this model, and no serial tells them apart")
	}
	return slices.DeleteFunc(aboard, func(d *manifest.Device) bool { return slices.Contains(left, d) })
}

func leaveUnclear(open []*Line, aboard []*manifest.Device, why string) []*manifest.Device {
	for _, l := range open {
		l.unclear(why, l.Model)
	}
	return aboard
}

// serialsDiffer reports whether devices have serials on both sides, none of which matched.
func serialsDiffer(open []*Line, left []*manifest.Device) bool {
	return slices.ContainsFunc(open, func(l *Line) bool { return l.Serial != "" }) &&
		slices.ContainsFunc(left, func(d *manifest.Device) bool { return d.Serial != "" })
}

// oneVersion reports whether all run the same known version.
func oneVersion(all []*Line) bool {
	return !slices.ContainsFunc(all, func(l *Line) bool { return l.Version != all[0].Version || l.Version == "" })
}

// matchTo compares the device seen with one in the file; sure says that it is that
// very one, so that its serial may be taken.
func (l *Line) matchTo(d *manifest.Device, sure bool) {
	l.device, l.Device, l.Was, l.WasSerial = d, d.ID, string(d.Version), d.Serial
	if !sure {
		l.Serial = ""
	}
	versions := l.Version != "" && (d.Version == version.Unknown || version.Compare(l.Version, d.Version) != 0)
	serials := l.Serial != "" && !strings.EqualFold(l.Serial, d.Serial)
	switch {
	case l.Version != "" && versions && cutShort(l.Version, d.Version):
		l.State, l.Why = Unclear, "it announces "+string(l.Version)+", the file has "+string(d.Version)+": perhaps the same cut short; read it off its screen"
	case l.Version == "":
		l.State = Unclear
	case serials && d.Serial != "":
		l.State, l.otherSerial = Differs, true
		l.Why = "an exchanged device, or another boat's capture: if it was exchanged, write its new serial into the vessel's file, by hand or with the table of a survey"
	case versions || serials:
		l.State = Differs
	default:
		l.State = Same
	}
}
