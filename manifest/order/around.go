package order

import (
	"strings"
)

// leaveOut leaves a component as it is.
func (v *visit) leaveOut(q *question, l LeftOut) {
	v.plan.LeftOut = append(v.plan.LeftOut, l)
	p := q.problem()
	k := newPart(newWalker(p, p.start(), v.limits.work()), 0)
	k.leftOut, k.weight = true, 0 // what is out of service there stays so, in whatever order
	v.parts = append(v.parts, k)
}

// noteLeftOut says on whatever the plan stands on that it is a part.
func (v *visit) noteLeftOut() {
	for _, l := range v.plan.LeftOut {
		why := "there is no safe order for them"
		if l.Conflict == nil {
			why = "first read the version of " + strings.Join(l.Unknown, ", ")
		}
		v.note("warning: this is a PART of the work: it leaves out %s: %s", strings.Join(l.Devices, ", "), why)
	}
}
