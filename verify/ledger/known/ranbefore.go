package known

import (
	"cardwright/manifest"
	"cardwright/manifest/version"
)

// RanBefore is the version that a device goes back to: what it ran before the step
// that brought what it runs now. It is "" where the ledger doesn't have that step, where
// file and ledger differ about what runs now, and where that step didn't raise it.
func (v *Vessel) RanBefore(aboard *manifest.Device) version.V {
	d := v.Device(aboard.ID)
	if d == nil || d.Before == "" || version.Compare(d.Version, aboard.Version) != 0 || version.Compare(d.Before, aboard.Version) >= 0 {
		return ""
	}
	return d.Before
}
