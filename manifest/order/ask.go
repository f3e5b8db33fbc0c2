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

	// Earlier orders the steps as they were ordered before time out of service
	// counted: by card swaps and the order of the file. Cards made then are still
	// judged by the plan that they were made for.
	Earlier bool
}

// BadAsk says that what was asked names something that isn't there.
type BadAsk struct{ What string }

func (e *BadAsk) Error() string { return e.What }

func (a Ask) check(shop *manifest.Shop, vessel *manifest.Vessel) error {
	for _, id := range slices.Concat(a.Hold, a.Only) {
		if vessel.Device(id) == nil {
			return &BadAsk{fmt.Sprintf("vessel %s has no device %q; it has %s", vessel.ID, id, list(vessel.Devices))}
		}
	}
	for model, v := range ordered(a.Aim) {
		if err := checkAim(shop, vessel, model, v); err != nil {
			return err
		}
	}
	return nil
}

// checkAim refuses a version that no device could ever end on.
func checkAim(shop *manifest.Shop, vessel *manifest.Vessel, model string, v version.V) error {
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

// leaves tells whether a device is to be left alone.
func (a Ask) leaves(id string) bool {
	return slices.Contains(a.Hold, id) || len(a.Only) > 0 && !slices.Contains(a.Only, id)
}
