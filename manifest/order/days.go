package order

import (
	"cmp"
	"slices"
	"strings"
)

// UsualDay is how many minutes a day of work has where the shop doesn't say.
const UsualDay = 8 * 60

// Day is a day of work: vessels at one place that can be served in it, in the order
// of their berths. The way from one place to another is not counted.
type Day struct {
	Number  int      `json:"number"` // from 1
	Place   string   `json:"place"`  // "" where no berth is written down
	Vessels []string `json:"vessels"`
	Minutes int      `json:"minutes"`
	AtLeast bool     `json:"at_least,omitempty"` // nobody wrote down how long some of it takes
	Days    int      `json:"days"`               // that it takes: more than 1 for a vessel whose work is longer than a day
}

// Days puts the vessels of a fleet for which there are steps into days of so many
// minutes: place by place, along the berths, each into the first day there that still
// has the time.
func Days(fleet []Standing, minutes int) []Day {
	var due []Standing
	for _, s := range fleet {
		if s.Steps > 0 {
			due = append(due, s)
		}
	}
	slices.SortStableFunc(due, func(a, b Standing) int {
		return cmp.Or(cmp.Compare(harbour(a.Berth), harbour(b.Berth)), cmp.Compare(a.Berth, b.Berth))
	})
	var days []Day
	for _, s := range due {
		i := slices.IndexFunc(days, func(d Day) bool {
			return d.Place != "" && d.Place == harbour(s.Berth) && d.Days == 1 && d.Minutes+s.Minutes <= minutes
		})
		if i < 0 {
			i = len(days)
			days = append(days, Day{Place: harbour(s.Berth), Days: max(1, (s.Minutes+minutes-1)/minutes)})
		}
		d := &days[i]
		d.Vessels = append(d.Vessels, s.Vessel)
		d.Minutes += s.Minutes
		d.AtLeast = d.AtLeast || s.AtLeast
	}
	number := 1
	for i := range days {
		days[i].Number = number
		number += days[i].Days
	}
	return days
}

// harbour is the part of a berth before the first comma: Hollin Quay of "Hollin Quay,
// C 14".
func harbour(berth string) string {
	before, _, _ := strings.Cut(berth, ",")
	return strings.TrimSpace(before)
}
