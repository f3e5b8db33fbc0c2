package edit

import (
	"fmt"
	"slices"
	"strings"

	"cardwright/manifest"
	"cardwright/manifest/pattern"
)

// shortKinds are what a device is called aboard when nobody named it, where that
// isn't its kind.
var shortKinds = map[manifest.Kind]string{
	"chart display": "display", "autopilot computer": "pilot", "heading sensor": "heading",
	"position sensor": "position", "transponder": "ais",
}

// withIDs are the devices of one vessel, with ids for those that have none: their
// place or, where several are in one, what they are; numbered where that is taken.
func withIDs(shop *manifest.Shop, devices []NewDevice) []NewDevice {
	taken, places := map[string]bool{}, map[string]int{}
	for _, d := range devices {
		taken[d.ID] = true
		places[ID(d.Place)]++
	}
	devices = slices.Clone(devices)
	for i := range devices {
		d := &devices[i]
		if d.ID != "" {
			continue
		}
		base := ID(d.Place)
		if base == "" || places[base] > 1 {
			base = kindID(shop, d.Model)
		}
		d.ID = base
		for n := 2; taken[d.ID]; n++ {
			d.ID = fmt.Sprintf("%s-%d", base, n)
		}
		taken[d.ID] = true
	}
	return devices
}

func kindID(shop *manifest.Shop, model string) string {
	kind := shop.Model(model).Kind
	if short := shortKinds[kind]; short != "" {
		return short
	}
	return ID(string(kind))
}

var notInID = pattern.Of(`[^a-z0-9]+`)

// roomForNumber is left in an id that is made of words: -99.
const roomForNumber = 3

// ID makes an id of a few words, or "" where they have no letter for one: Lower
// Helm, lower-helm.
func ID(words string) string {
	id := strings.Trim(notInID.ReplaceAllString(strings.ToLower(words), "-"), "-")
	if len(id) > manifest.MaxID-roomForNumber || manifest.Problem("Device.id", id) != nil {
		return ""
	}
	return id
}

// TitleOf writes an id as a name: skerry-light, Skerry Light.
func TitleOf(id string) string {
	parts := strings.Split(id, "-")
	for i, p := range parts {
		if p != "" {
			parts[i] = strings.ToUpper(p[:1]) + p[1:]
		}
	}
	return strings.Join(parts, " ")
}
