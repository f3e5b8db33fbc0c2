package order

import (
	"slices"
	"strings"
)

// leftOutOf is what is known of the group that a device is in, or nil.
func leftOutOf(all []LeftOut, device string) *LeftOut {
	for i := range all {
		if slices.Contains(all[i].Devices, device) {
			return &all[i]
		}
	}
	return nil
}

// idle is a group that stays as it is: what is out of service in it stays so, in
// whatever order the others are updated.
func (q *question) idle(left *LeftOut) *groupState {
	p := &problem{devices: make([]device, len(q.devices))}
	if left.Conflict != nil {
		p = q.problem()
	} else { // nothing is known of it
		for i := range p.devices {
			p.devices[i].options = make([]option, 1)
		}
	}
	k := &walker{p: p, target: p.start(), work: q.limits.work()}
	return &groupState{walker: k, now: p.start(), leftOut: true}
}

// endWithoutSteps ends a plan that leaves something out and has no steps around it:
// with what is to be read first, else with a conflict, else with what was given up on.
func (v *visit) endWithoutSteps(gaveUp *GaveUp) error {
	if v.fillAnswers(); len(v.plan.Unknown) > 0 {
		return &Unread{v.plan.Unknown}
	}
	for _, l := range v.plan.LeftOut {
		switch {
		case l.Conflict == nil:
		case v.plan.Conflict == nil:
			v.plan.Conflict = l.Conflict
		default:
			v.note("there is another conflict, not shown here, among %s", strings.Join(l.Devices, ", "))
		}
	}
	if v.plan.Conflict == nil {
		return gaveUp
	}
	if len(v.plan.Conflict.WouldFree) == 0 {
		v.note("no single change resolves the conflict")
	}
	return nil
}

// noteLeftOut says on whatever the plan stands on that it is a part.
func (v *visit) noteLeftOut() {
	for _, l := range v.plan.LeftOut {
		why := "there is no safe order for them"
		switch {
		case len(l.Unknown) > 0:
			why = "first read the version of " + strings.Join(l.Unknown, ", ")
		case l.GaveUp != "":
			why = "the search was given up: " + l.GaveUp
		}
		v.note("warning: this is a PART of the work: it leaves out %s: %s", strings.Join(l.Devices, ", "), why)
	}
}
