package order

import (
	"fmt"
	"slices"
	"strings"

	"cardwright/manifest"
	"cardwright/manifest/version"
)

// Ask narrows what is planned, to see what would follow.
type Ask struct {
	Aim  map[string]version.V // model → the version that all its devices aboard end on
	Hold []string             // devices that are left alone
	Only []string             // when not empty: all other devices are left alone

	// Within, where it isn't 0, is how many minutes there are: of the parts of the
	// work that are sure to be done in them and that end with everything fitting
	// together, the best is planned (see doc.go).
	Within int

	// Back, where it isn't empty, are devices that go back to an older release: then
	// a way back is planned, and nothing newer is installed (see doc.go).
	Back []Return

	// Undo is the way back of the plan that is asked for by all else: see Undo.
	Undo bool

	// Earlier orders the steps as builds before this one did: cards and sheets made
	// then are still held against the plan that they were made for.
	Earlier Earlier
}

// Earlier is what the steps' order was preferred by in builds before this one.
type Earlier int

const (
	// UnsaidGoesBack counted on a way back where the maker doesn't say if there is one.
	UnsaidGoesBack Earlier = iota + 1
	// SwapsOnly went by card swaps and the order of the file, not by ways back or time
	// out of service.
	SwapsOnly
)

// AllEarlier are the orders of the builds before this one, the latest first.
var AllEarlier = []Earlier{UnsaidGoesBack, SwapsOnly}

// Return is a device that goes back to an older release.
type Return struct {
	Device string
	To     version.V // "": the newest older release that there is a way back to
	Why    string    // why it goes back to a withdrawn release; such a one is none without
}

// goesBack is how a device was asked to go back, or nil.
func (a Ask) goesBack(id string) *Return {
	for i := range a.Back {
		if a.Back[i].Device == id {
			return &a.Back[i]
		}
	}
	return nil
}

// named reports whether a way back to this very release was asked for, with why.
func (a Ask) named(d *manifest.Device, r *manifest.Release) bool {
	back := a.goesBack(d.ID)
	return back != nil && back.Why != "" && back.To != "" && version.Compare(back.To, r.Version) == 0
}

// BadAsk says that what was asked names something that isn't there.
type BadAsk struct{ What string }

func (e *BadAsk) Error() string { return e.What }

// validate refuses what names something that isn't there.
func (a Ask) validate(shop *manifest.Shop, vessel *manifest.Vessel) error {
	for _, id := range slices.Concat(a.Hold, a.Only) {
		if vessel.Device(id) == nil {
			return &BadAsk{fmt.Sprintf("vessel %s has no device %q; it has %s", vessel.ID, id, list(vessel.Devices))}
		}
	}
	if a.Undo && len(a.Back) > 0 {
		return &BadAsk{"the way back is either of the whole plan or of single devices: ask for one of them"}
	}
	if err := a.validateBack(shop, vessel); err != nil {
		return err
	}
	for model, v := range ordered(a.Aim) {
		if err := validateAim(shop, vessel, model, v); err != nil {
			return err
		}
	}
	return nil
}

// validateAim refuses a version that no device could ever end on.
func validateAim(shop *manifest.Shop, vessel *manifest.Vessel, model string, v version.V) error {
	var aboard bool
	var known []string
	for _, d := range vessel.Devices {
		if d.Model != model {
			continue
		}
		aboard = true
		m := shop.Model(model)
		if version.Compare(d.Version, v) == 0 || m.Release(v, d.Variant) != nil {
			return nil
		}
		for _, r := range m.Releases {
			if r.Variant == d.Variant && !slices.Contains(known, string(r.Version)) {
				known = append(known, string(r.Version))
			}
		}
	}
	if !aboard {
		return &BadAsk{fmt.Sprintf("vessel %s has no device of model %q aboard", vessel.ID, model)}
	}
	return &BadAsk{fmt.Sprintf("the catalogue has no release %s of %s for the devices aboard %s; it has %s", v, model, vessel.ID, strings.Join(known, ", "))}
}

// leaves reports whether a device is to be left alone.
func (a Ask) leaves(id string) bool {
	return slices.Contains(a.Hold, id) || len(a.Only) > 0 && !slices.Contains(a.Only, id)
}

// of is what an ask of a fleet is of one vessel.
func (a Ask) of(v *manifest.Vessel) Ask {
	a.Hold = slices.DeleteFunc(slices.Clone(a.Hold), func(id string) bool { return v.Device(id) == nil })
	aim := map[string]version.V{}
	for _, d := range v.Devices {
		if to, ok := a.Aim[d.Model]; ok {
			aim[d.Model] = to
		}
	}
	a.Aim = aim
	return a
}

// validateFleet refuses what no vessel has.
func (a Ask) validateFleet(shop *manifest.Shop) error {
	for _, id := range a.Hold {
		if !slices.ContainsFunc(shop.Vessels, func(v *manifest.Vessel) bool { return v.Device(id) != nil }) {
			return &BadAsk{fmt.Sprintf("no vessel has a device %q", id)}
		}
	}
	for model := range ordered(a.Aim) {
		has := func(v *manifest.Vessel) bool {
			return slices.ContainsFunc(v.Devices, func(d *manifest.Device) bool { return d.Model == model })
		}
		if !slices.ContainsFunc(shop.Vessels, has) {
			return &BadAsk{fmt.Sprintf("no vessel has a device of model %q aboard", model)}
		}
	}
	return nil
}
