package sheet

import (
	"slices"
	"strconv"

	"cardwright/manifest"
)

// Where a check is made.
const (
	alongside = "alongside"
	underWay  = "under way"
)

// places says where each check is made, in the order in which they are made:
// a pilot's set-up comes before the swing, the swing before the comparison,
// the tuning after both (common practice, no source).
var places = []struct{ check, where string }{
	{"settings and waypoints", alongside},
	{"position shown", alongside},
	{"depth shown", alongside},
	{"radar picture", alongside},
	{"targets shown", alongside},
	{"rudder stops and centre", alongside},
	{"dockside set-up", alongside},
	{"manual steering", alongside},
	{"compass swing", underWay},
	{"heading against course", underWay},
	{"automatic tuning", underWay},
}

// againstCourse is the check that a log answers.
const againstCourse = "heading against course"

// figures are the checks whose text has a figure of common practice.
var figures = []string{"compass swing", "heading against course", "automatic tuning"}

// moving are the checks alongside at which a rudder, a drive or an aerial moves.
var moving = []string{"radar picture", "rudder stops and centre", "dockside set-up", "manual steering"}

// checksSection is the checks of the devices that were updated, by where they
// are made.
func checksSection(w speech, in Input) Section {
	s := Section{ID: "checks", Title: w.say("checks")}
	n := 0
	for _, where := range []string{alongside, underWay} {
		var all Checks
		for _, p := range places {
			if p.where != where {
				continue
			}
			for _, d := range toCheck(in, p.check) {
				n++
				all = append(all, check(w, in, n, d, p.check))
			}
		}
		if len(all) == 0 {
			continue
		}
		s.Blocks = append(s.Blocks, Heading(w.say("check."+where)))
		if where == underWay || slices.ContainsFunc(moving, func(check string) bool { return len(toCheck(in, check)) > 0 }) {
			s.Blocks = append(s.Blocks, Caution(w.say("check.caution."+where)))
		}
		s.Blocks = append(s.Blocks, all)
	}
	return s
}

// toCheck are the devices on which a check is made.
func toCheck(in Input, check string) []*manifest.Device {
	return slices.DeleteFunc(in.updated(), func(d *manifest.Device) bool {
		return !slices.Contains(checksOf(in, d), check)
	})
}

// checksOf are the checks that the steps of a device make necessary.
func checksOf(in Input, d *manifest.Device) []string {
	var installed []*manifest.Release
	for _, s := range in.Plan.Steps {
		if s.Device == d.ID {
			installed = append(installed, in.release(s))
		}
	}
	return manifest.ChecksAfter(in.model(d.Model).Kind, installed)
}

func check(w speech, in Input, n int, d *manifest.Device, check string) Check {
	key := strconv.Itoa(n)
	return Check{
		ID: "check-" + key, Device: name(d.ID), Name: w.say("check.name." + check),
		How:   how(w, in, d, check),
		Value: Blank{ID: "value-" + key, For: d.ID, Label: w.say("check.value")},
	}
}

// how a check is made: in the words of the catalogue, or in general ones.
func how(w speech, in Input, d *manifest.Device, check string) string {
	for _, t := range in.model(d.Model).Checks {
		if t.Check == check && t.Text != "" {
			return prose(t.Text)
		}
	}
	text := w.say("check.how."+check, "near", w.near())
	if check == againstCourse && in.SeaTrial != "" {
		text = w.say("check.log", "text", text, "command", name(in.SeaTrial))
	}
	if slices.Contains(figures, check) {
		return w.say("check.figure", "text", text, "practice", w.say("practice"))
	}
	return text
}

// alike groups checks that are made in the same way.
func alike(all []Check) [][]Check {
	var groups [][]Check
	for i, c := range all {
		if i == 0 || c.Name != all[i-1].Name || c.How != all[i-1].How {
			groups = append(groups, nil)
		}
		groups[len(groups)-1] = append(groups[len(groups)-1], c)
	}
	return groups
}
