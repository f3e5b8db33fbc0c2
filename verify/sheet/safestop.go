package sheet

import (
	"cardwright/manifest/order"
)

// minutesOf adds the minutes from one step to another, both with them; least:
// the catalogue has no time for some.
func minutesOf(steps []order.Step, from, to int) (sum int, least bool) {
	for _, s := range steps {
		if s.Number >= from && s.Number <= to {
			sum += s.Minutes
			least = least || s.Minutes == 0
		}
	}
	return sum, least
}

// safeStop is the first step from n on after which the work may be broken off, as
// the plan says; in one that marks none, where no device is out of service.
func safeStop(plan order.Plan, n int) int {
	for _, s := range plan.Steps {
		if s.Number >= n && s.Stop {
			return s.Number
		}
	}
	stop := n
	for again := true; again; {
		again = false
		for _, o := range plan.OutOfService {
			if o.FromStep <= stop && stop < o.ToStep {
				stop, again = o.ToStep, true
			}
		}
	}
	return stop
}
