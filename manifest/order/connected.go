package order

import (
	"slices"
	"strings"

	"cardwright/manifest"
	"cardwright/manifest/version"
)

// connectedGroups splits a vessel's devices into groups that can be planned apart: no
// need, host or likeness leads from one to another. Groups and the devices in them
// are in the order of the file.
func connectedGroups(shop *manifest.Shop, vessel *manifest.Vessel, ask Ask) [][]*manifest.Device {
	g := grouping{parent: make([]int, len(vessel.Devices))}
	byModel, byID := map[string][]int{}, map[string]int{}
	for i, d := range vessel.Devices {
		g.parent[i] = i
		byModel[d.Model] = append(byModel[d.Model], i)
		byID[d.ID] = i
	}
	for i, d := range vessel.Devices {
		m := shop.Model(d.Model)
		if m.Alike {
			g.join(i, byModel[d.Model]...)
		}
		for _, id := range d.Through {
			g.join(i, byID[id])
		}
		for _, r := range eligible(m, d, ask) {
			for _, n := range r.Needs {
				g.join(i, byModel[n.Model]...)
			}
		}
	}
	return g.groups(vessel.Devices)
}

// eligible lists the releases that a device runs or could be given.
func eligible(m *manifest.Model, d *manifest.Device, ask Ask) []*manifest.Release {
	if d.Version == version.Unknown || d.Version == "" {
		return releases(m, d.Variant) // it may run any
	}
	return slices.DeleteFunc(releases(m, d.Variant), func(r *manifest.Release) bool {
		c := point{version: r.Version}.compare(point{version: d.Version})
		if len(ask.Back) > 0 {
			return c > 0
		}
		return c < 0 || c > 0 && r.Withdrawn != ""
	})
}

// grouping is a forest of devices: those with one root are connected (union-find).
type grouping struct{ parent []int }

func (g *grouping) root(i int) int {
	for g.parent[i] != i {
		g.parent[i] = g.parent[g.parent[i]]
		i = g.parent[i]
	}
	return i
}

func (g *grouping) join(i int, others ...int) {
	for _, j := range others {
		a, b := g.root(i), g.root(j)
		g.parent[max(a, b)] = min(a, b)
	}
}

func (g *grouping) groups(devices []*manifest.Device) [][]*manifest.Device {
	var groups [][]*manifest.Device
	at := map[int]int{}
	for i, d := range devices {
		r := g.root(i)
		if _, ok := at[r]; !ok {
			at[r] = len(groups)
			groups = append(groups, nil)
		}
		groups[at[r]] = append(groups[at[r]], d)
	}
	return groups
}

func ids(devices []*manifest.Device) []string {
	all := make([]string, len(devices))
	for i, d := range devices {
		all[i] = d.ID
	}
	return all
}

func list(devices []*manifest.Device) string { return strings.Join(ids(devices), ", ") }
