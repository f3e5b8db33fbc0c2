package order

import (
	"cmp"

	"cardwright/manifest"
)

// cost is what orders of equally many steps are preferred by: the first of these
// that differs.
type cost struct {
	beforeBack   int // pairs of steps, one without a way back (or none that is said) before one that has one
	beforeUnsaid int // pairs of steps, one whose maker gives no way back before one whose maker doesn't say
	outage       int // minutes out of service, each device's times its weight
	swaps        int // of cards
}

func (c cost) plus(d cost) cost {
	return cost{c.beforeBack + d.beforeBack, c.beforeUnsaid + d.beforeUnsaid, c.outage + d.outage, c.swaps + d.swaps}
}

func (c cost) minus(d cost) cost {
	return cost{c.beforeBack - d.beforeBack, c.beforeUnsaid - d.beforeUnsaid, c.outage - d.outage, c.swaps - d.swaps}
}

func (c cost) compare(d cost) int {
	return cmp.Or(cmp.Compare(c.beforeBack, d.beforeBack), cmp.Compare(c.beforeUnsaid, d.beforeUnsaid),
		cmp.Compare(c.outage, d.outage), cmp.Compare(c.swaps, d.swaps))
}

// withoutSwaps is the cost without its swaps.
func (c cost) withoutSwaps() cost {
	return cost{beforeBack: c.beforeBack, beforeUnsaid: c.beforeUnsaid, outage: c.outage}
}

// weights are what a minute without a device of a kind counts; other kinds count
// 1. A boat that has to leave her berth in the middle of a visit steers first,
// then finds her way, then sees and is seen.
var weights = map[manifest.Kind]int{
	"autopilot computer": 4, "heading sensor": 4,
	"position sensor": 3, "chart display": 3, "radar": 3, "sounder": 3,
	"transponder": 2, "radio": 2,
}

func weight(m *manifest.Model) int { return max(1, weights[m.Kind]) }

// unsaidMinutes is used, where orders are compared, for a step whose time the
// catalogue doesn't say: being out of service for nobody knows how long is worse
// than not being out.
const unsaidMinutes = 10

func (o *option) minutes() int {
	if o.release == nil || o.release.Minutes == 0 {
		return unsaidMinutes
	}
	return o.release.Minutes
}

// givesNone reports whether the maker says that there is no way back from it.
func (o *option) givesNone() bool {
	return o.release != nil && o.release.WayBack != nil && !*o.release.WayBack
}

// saysNothing reports whether the maker doesn't say if there is a way back: none is
// counted on then.
func (o *option) saysNothing() bool { return o.release != nil && o.release.WayBack == nil }
