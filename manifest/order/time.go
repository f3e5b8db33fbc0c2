package order

import (
	"fmt"
	"slices"

	"cardwright/manifest"
)

// Time is how long the work of a plan takes, in minutes, as far as somebody wrote
// it down.
type Time struct {
	Steps    int      `json:"steps"`    // the installations
	Checks   int      `json:"checks"`   // alongside and under way, a swing and a dockside set-up among them
	Settings int      `json:"settings"` // entered again, where an update loses them
	Missing  []string `json:"missing"`  // what nobody wrote down
}

// Minutes is all of it.
func (t Time) Minutes() int { return t.Steps + t.Checks + t.Settings }

// AtLeast says that it takes longer, by an unknown time.
func (t Time) AtLeast() bool { return len(t.Missing) > 0 }

// underWay are the checks that are made under way, for all devices in one run: the
// longest counts.
var underWay = []string{"compass swing", "heading against course", "automatic tuning"}

// timeOf is how long some of a plan's steps take, with what they make necessary.
func timeOf(shop *manifest.Shop, vessel *manifest.Vessel, steps []Step) Time {
	t, _ := timeAndRuns(shop, vessel, steps)
	return t
}

// timeAndRuns is timeOf, and the minutes of each check under way.
func timeAndRuns(shop *manifest.Shop, vessel *manifest.Vessel, steps []Step) (t Time, runs map[string]int) {
	t = Time{Missing: []string{}}
	runs = map[string]int{}
	for _, d := range vessel.Devices {
		m := shop.Model(d.Model)
		var installed []*manifest.Release
		for _, s := range steps {
			if s.Device != d.ID {
				continue
			}
			installed = append(installed, m.Release(s.To, d.Variant))
			t.add(&t.Steps, s.Minutes, "%s: installing %s", d.ID, s.To)
		}
		if len(installed) == 0 {
			continue
		}
		for _, check := range manifest.ChecksAfter(m.Kind, installed) {
			minutes := checkMinutes(shop, m, check)
			if !slices.Contains(underWay, check) {
				t.add(&t.Checks, minutes, "%s: %s", d.ID, check)
				continue
			}
			t.add(new(int), minutes, "%s: %s", d.ID, check)
			runs[check] = max(runs[check], minutes)
		}
		if slices.ContainsFunc(installed, func(r *manifest.Release) bool { return r.Settings == manifest.SettingsLost }) {
			t.add(&t.Settings, m.SettingsMinutes, "%s: entering its settings again", d.ID)
		}
	}
	for _, minutes := range runs {
		t.Checks += minutes
	}
	return t, runs
}

func (t *Time) add(sum *int, minutes int, what string, args ...any) {
	*sum += minutes
	if minutes == 0 {
		t.Missing = append(t.Missing, fmt.Sprintf(what, args...))
	}
}

// checkMinutes is how long a check takes on a model, or, where its file doesn't
// say, at this shop; 0: nobody says.
func checkMinutes(shop *manifest.Shop, m *manifest.Model, check string) int {
	for _, c := range m.Checks {
		if c.Check == check && c.Minutes > 0 {
			return c.Minutes
		}
	}
	for _, c := range shop.Checks {
		if c.Check == check {
			return c.Minutes
		}
	}
	return 0
}
