package order

import (
	"fmt"
	"slices"
	"strings"

	"cardwright/manifest"
	"cardwright/manifest/version"
)

func (v *visit) note(format string, args ...any) {
	if n := fmt.Sprintf(format, args...); !slices.Contains(v.plan.Notes, n) {
		v.plan.Notes = append(v.plan.Notes, n)
	}
}

// NotesBeside are a plan's notes for a page that says what the plan leaves out and
// these stays with their reasons: without those that say the same in short.
func (p Plan) NotesBeside(stays []Stay) []string {
	told := map[string]bool{}
	for _, l := range p.LeftOut {
		told[l.partNote()], told[l.conflictNote()] = true, true
	}
	for _, s := range stays {
		told[behindNote(s.Device, s.Ends, s.Newest)] = true
	}
	return slices.DeleteFunc(slices.Clone(p.Notes), func(n string) bool { return told[n] })
}

// partNote says, wherever the plan is shown, that it is a part.
func (l LeftOut) partNote() string {
	why := "there is no safe order for them"
	switch {
	case len(l.Unknown) > 0:
		why = "first read the version of " + strings.Join(l.Unknown, ", ")
	case l.GaveUp != "":
		why = "the search was given up: " + l.GaveUp
	}
	return "warning: this is a PART of the work: it leaves out " + strings.Join(l.Devices, ", ") + ": " + why
}

// conflictNote is for one that isn't the plan's own.
func (l LeftOut) conflictNote() string {
	return "there is another conflict, not shown here, among " + strings.Join(l.Devices, ", ")
}

func behindNote(device string, ends, newest version.V) string {
	return fmt.Sprintf("%s ends on %s, not on %s, the newest", device, ends, newest)
}

// noteInstalled says what is odd about what the devices run now.
func (v *visit) noteInstalled() {
	for i, d := range v.vessel.Devices {
		if len(unknownOf([]*manifest.Device{d})) > 0 {
			continue
		}
		switch r := v.shop.Model(d.Model).Release(d.Version, d.Variant); {
		case r == nil:
			v.note("warning: %s runs %s %s, which the catalogue doesn't know: what it needs is not checked (%s)",
				d.ID, d.Model, named(string(d.Version), d.Variant), d.At("version"))
		case r.Withdrawn != "":
			v.note("warning: %s runs %s %s, which was withdrawn: %s (%s)", d.ID, d.Model, d.Version, r.Withdrawn, r.At("withdrawn"))
		}
		if v.outOfService(i) {
			v.note("%s is out of service already: what is installed aboard doesn't fit together", d.ID)
		}
	}
}

// noteSteps says what a person should know before starting.
func (v *visit) noteSteps() {
	for _, s := range v.plan.Steps {
		r := v.shop.Model(s.Model).Release(s.To, v.vessel.Device(s.Device).Variant)
		if r.WayBack != nil && !*r.WayBack {
			v.note("risk: %s %s has no way back to an older release (%s)", s.Model, r.Version, r.At("way_back"))
		}
		for _, n := range r.Needs {
			if !slices.ContainsFunc(v.vessel.Devices, func(d *manifest.Device) bool { return d.Model == n.Model }) {
				v.note("%s %s needs %s %s; none is aboard (%s)", s.Model, r.Version, n.Model, n.Version, n.At("model"))
			}
		}
	}
}

// noteBehind names the devices that don't end on the newest release.
func (v *visit) noteBehind() {
	for i, d := range v.vessel.Devices {
		if v.groups[v.places[i].group].leftOut {
			continue
		}
		g, j := v.groups[v.places[i].group], v.places[i].device
		options := g.p.devices[j].options
		if end := g.target[j]; end < len(options)-1 {
			v.note("%s", behindNote(d.ID, options[end].version, options[len(options)-1].version))
		}
	}
}
