package order

import (
	"fmt"
	"slices"
	"strings"

	"cardwright/manifest"
	"cardwright/manifest/version"
)

// Unread says that versions must be read off devices before anything is
// planned. The plan that comes with it says which, and what follows.
type Unread struct{ Devices []Reading }

func (e *Unread) Error() string {
	parts := make([]string, len(e.Devices))
	for i, d := range e.Devices {
		parts[i] = fmt.Sprintf("%s (%s)", d.Device, d.At)
	}
	return "version unknown: read it off the device and write it down for " + strings.Join(parts, ", ")
}

// readings lists the devices whose version is unknown.
func readings(shop *manifest.Shop, vessel *manifest.Vessel) []Reading {
	var rs []Reading
	for _, d := range vessel.Devices {
		if d.Version != version.Unknown && d.Version != "" {
			continue
		}
		r := Reading{Device: d.ID, Model: d.Model, Place: d.Place, At: d.At("version"), Likely: []version.V{}}
		for _, rel := range releases(shop.Model(d.Model), d.Variant) {
			r.Likely = append(r.Likely, rel.Version)
		}
		rs = append(rs, r)
	}
	return rs
}

// toRead are the devices that are to be read: for a way back, those that it has to
// do with.
func (v *visit) toRead() []Reading {
	return slices.DeleteFunc(readings(v.shop, v.vessel), func(r Reading) bool {
		return len(v.ask.Back) > 0 && leftOutOf(v.plan.LeftOut, r.Device) == nil
	})
}

// fillAnswers fills in what is to be read, and what follows for each combination of
// likely versions.
func (v *visit) fillAnswers() {
	if v.plan.Unknown = v.toRead(); len(v.plan.Unknown) == 0 || v.ask.Within > 0 {
		return // a part for the time takes over the answers for the whole
	}
	if len(v.vessel.Devices) > maxDevices {
		v.note("with more than %d devices aboard no plan is made for what may be read: read the versions, then plan", maxDevices)
		return
	}
	n := 1
	for _, r := range v.plan.Unknown {
		if n *= len(r.Likely); n > maxAnswers {
			v.note("more than %d combinations of versions are likely: read the versions, then plan", maxAnswers)
			return
		}
	}
	for i := range n {
		found := make([]version.V, len(v.plan.Unknown))
		for k := len(found) - 1; k >= 0; k-- {
			likely := v.plan.Unknown[k].Likely
			found[k] = likely[i%len(likely)]
			i /= len(likely)
		}
		then, err := whatIf(v.shop, v.plan.withVersions(v.vessel, found), v.ask, v.limits)
		if bad, ok := err.(*BadAsk); ok && len(v.ask.Back) > 0 { // from such a version there is no way back
			v.note("%s", bad.What)
			continue
		}
		if err != nil {
			v.plan.Answers = nil
			v.note("no plan is made for what may be read: %v", err)
			return
		}
		v.plan.Answers = append(v.plan.Answers, Answer{found, then})
	}
}

// withVersions is the vessel with the versions found.
func (p Plan) withVersions(vessel *manifest.Vessel, found []version.V) *manifest.Vessel {
	known := *vessel
	known.Devices = slices.Clone(vessel.Devices)
	for i, d := range known.Devices {
		k := slices.IndexFunc(p.Unknown, func(r Reading) bool { return r.Device == d.ID })
		if k >= 0 {
			device := *d
			device.Version = found[k]
			known.Devices[i] = &device
		}
	}
	return &known
}
