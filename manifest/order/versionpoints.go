package order

import (
	"cmp"
	"fmt"
	"slices"

	"cardwright/manifest"
	"cardwright/manifest/version"
)

// point is a version, or any one version from just after it to the next that
// somebody wrote down for the model. With no version at all it is those
// before the first.
type point struct {
	version version.V
	after   bool
	next    version.V // where after: the version that is written down next, if any
}

// String writes the point as a technician would say it.
func (a point) String() string {
	switch {
	case !a.after:
		return string(a.version)
	case a.version == "":
		return "a version before " + string(a.next)
	case a.next == "":
		return "a version after " + string(a.version)
	}
	return fmt.Sprintf("a version between %s and %s", a.version, a.next)
}

func (a point) compare(b point) int {
	if a.version == "" || b.version == "" {
		return cmp.Compare(len(a.version), len(b.version))
	}
	if c := version.Compare(a.version, b.version); c != 0 || a.after == b.after {
		return c
	}
	if a.after {
		return 1
	}
	return -1
}

// example is one version at the point; ok is false where none was
// found between its two neighbours.
func (a point) example() (v version.V, ok bool) {
	if !a.after {
		return a.version, true
	}
	for _, end := range []version.V{".0.1", ".1", "+1", "+", "0", "~1", "~~"} {
		v = a.version + end
		if a.version == "" {
			v = "0" + end
		}
		if (a.version == "" || version.Compare(v, a.version) > 0) && (a.next == "" || version.Compare(v, a.next) < 0) {
			return v, true
		}
	}
	return "", false
}

// in reports whether the version is in the range.
func (a point) in(r version.Range) bool {
	if !a.after {
		return r.Allows(a.version)
	}
	for _, b := range r {
		above := a.compare(point{version: b.V}) > 0
		if b.Op == version.Exactly || above != (b.Op == version.AtLeast || b.Op == version.After) {
			return false
		}
	}
	return true
}

// points lists every version that somebody wrote down for a model, and one in
// each gap, in order: all that can make a difference.
func points(m *manifest.Model, devices []*manifest.Device, models []*manifest.Model, a Ask) []point {
	vs := versionsWritten(m, devices, models)
	if v, ok := a.Aim[m.ID]; ok {
		vs = append(vs, v)
	}
	slices.SortStableFunc(vs, version.Compare)
	vs = slices.CompactFunc(vs, func(a, b version.V) bool { return version.Compare(a, b) == 0 })
	all := []point{{after: true}}
	for _, v := range vs {
		all[len(all)-1].next = v
		all = append(all, point{version: v}, point{version: v, after: true})
	}
	return all
}

// versionsWritten lists the versions of a model's releases, those that its devices
// run, and those in ranges that are held against it.
func versionsWritten(m *manifest.Model, devices []*manifest.Device, models []*manifest.Model) []version.V {
	var vs []version.V
	ofRange := func(r version.Range) {
		for _, b := range r {
			vs = append(vs, b.V)
		}
	}
	for _, r := range m.Releases {
		vs = append(vs, r.Version)
		ofRange(r.Over)
	}
	for _, other := range models {
		for _, r := range other.Releases {
			ofRange(r.PassedOnBy)
			for _, n := range r.Needs {
				if n.Model == m.ID {
					ofRange(n.Version)
				}
			}
		}
	}
	for _, d := range devices {
		if d.Model == m.ID {
			vs = append(vs, d.Version)
			ofRange(d.Hold)
		}
	}
	return vs
}
