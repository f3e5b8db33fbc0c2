package record

import (
	"cmp"
	"slices"

	"cardwright/manifest"
	"cardwright/manifest/edit"
	"cardwright/manifest/version"
	"cardwright/verify/ledger"
	"cardwright/verify/ledger/audit"
	"cardwright/verify/ledger/known"
)

// Counting is what a visit changes in a vessel's file.
type Counting struct {
	Versions map[string]version.V // by device, for the file
	Later    []audit.Device       // as a reading has them that is later than the visit's
}

// Counts takes, for the devices that a visit saw, what counts in the ledger: that
// is what belongs in the vessel's file. Where a visit is noted after the day, was
// corrected since, or two vans were aboard, that is a later reading than the
// visit's. Then the file is only brought up to date where it is behind: what
// somebody wrote there by hand may be newer.
func Counts(behind []known.FileDiffers, h audit.History, seen map[string]version.V) Counting {
	c := Counting{Versions: map[string]version.V{}}
	for _, d := range h.Devices {
		v, ok := seen[d.ID]
		if !ok || d.Unknown() {
			continue
		}
		later := ledger.VersionKey(v) != ledger.VersionKey(d.Version)
		if !later || slices.ContainsFunc(behind, func(b known.FileDiffers) bool { return b.Device == d.ID && b.Key == known.VersionKey }) {
			c.Versions[d.ID] = d.Version
		}
		if later {
			c.Later = append(c.Later, d)
		}
	}
	return c
}

// Conflict is a device whose entry in the vessel's file differs from the
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
	if err != nil {
		return "", err
	}
	wrote := known.Written{}
	for id, v := range versions {
		wrote[id] = map[string]string{known.VersionKey: string(v)}
	}
	if err := KeepWritten(shop, vessel, wrote); err != nil || !differs {
		return "", err
	}
	return name, nil
}
