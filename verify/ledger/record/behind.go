package record

import (
	"cmp"
	"slices"

	"cardwright/manifest"
	"cardwright/manifest/edit"
	"cardwright/manifest/version"
	"cardwright/verify/ledger"
	"cardwright/verify/ledger/audit"
)

// Behind are the devices of which a vessel's file has an older version than its
// history: another van was aboard, or a record ended, by a power cut say, after
// it had noted its visit and before it had reached the file. A file that has what
// the ledger never had was changed by somebody who knew better; where two writers
// disagree nobody knows.
func Behind(vessel *manifest.Vessel, h audit.History) []audit.Device {
	earlier := versionsRead(h.Lines)
	var behind []audit.Device
	for _, d := range h.Devices {
		aboard := vessel.Device(d.ID)
		if aboard == nil || d.Gone || d.Unknown() || d.Other != "" || ledger.VersionKey(aboard.Version) == ledger.VersionKey(d.Version) {
			continue
		}
		if key := ledger.VersionKey(aboard.Version); key == "" || slices.Contains(earlier[d.ID], key) {
			behind = append(behind, d)
		}
	}
	return behind
}

// versionsRead are the keys of all versions that were read off each device,
// also before a step; what was corrected since counts no longer.
func versionsRead(lines []audit.Line) map[string][]string {
	read := map[string][]string{}
	for _, line := range lines {
		says := line.Entry.Says()
		if line.CorrectedBy != "" || says == nil {
			continue
		}
		for _, r := range ledger.Readings(says) {
			read[r.Device.ID] = append(read[r.Device.ID], ledger.VersionKey(r.Version), ledger.VersionKey(r.Before))
		}
	}
	return read
}

// Counting is what a visit changes in a vessel's file.
type Counting struct {
	Versions map[string]version.V // by device, for the file
	Later    []audit.Device       // as a reading has them that is later than the visit's
}

// Counts takes, for the devices that a visit saw, what the ledger goes by: that
// is what belongs in the vessel's file. Where a visit is noted after the day, was
// corrected since, or two vans were aboard, that is a later reading than the
// visit's. Then the file is only brought up to date where it is behind: what
// somebody wrote there by hand may be newer.
func Counts(vessel *manifest.Vessel, h audit.History, seen map[string]version.V) Counting {
	behind := Behind(vessel, h)
	c := Counting{Versions: map[string]version.V{}}
	for _, d := range h.Devices {
		v, ok := seen[d.ID]
		if !ok || d.Unknown() {
			continue
		}
		later := ledger.VersionKey(v) != ledger.VersionKey(d.Version)
		if !later || slices.ContainsFunc(behind, func(b audit.Device) bool { return b.ID == d.ID }) {
			c.Versions[d.ID] = d.Version
		}
		if later {
			c.Later = append(c.Later, d)
		}
	}
	return c
}

// Conflict is a device of which a vessel's file says something else than the
// ledger, and neither follows from the other.
type Conflict struct {
	Device       string
	File, Ledger version.V // version.Unknown where it isn't known
}

// Corrected are the versions that a correction changes in a vessel's file, where
// the file said what the ledger said before; where it said something else,
// somebody has to look.
func Corrected(vessel *manifest.Vessel, before, after map[string]version.V) (versions map[string]version.V, look []Conflict) {
	versions = map[string]version.V{}
	for _, d := range vessel.Devices {
		was, is := before[d.ID], after[d.ID]
		switch {
		case is == was || d.Version == is:
		case d.Version == was && ledger.VersionKey(is) != "":
			versions[d.ID] = is
		default:
			look = append(look, Conflict{d.ID, d.Version, cmp.Or(is, version.Unknown)})
		}
	}
	return versions, look
}

// WriteVersions writes versions into the vessel's file and names the file; ""
// where it has them already.
func WriteVersions(shop *manifest.Shop, vessel *manifest.Vessel, versions map[string]version.V) (string, error) {
	if len(versions) == 0 {
		return "", nil
	}
	name := vessel.At("").File
	differs, err := edit.Rewrite(shop.Dir, name, func(text []byte) ([]byte, error) {
		return UpdateVersions(text, versions)
	})
	if err != nil || !differs {
		return "", err
	}
	return name, nil
}
