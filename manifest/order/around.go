package order

import (
	"slices"
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
			v.note("%s", l.conflictNote())
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

func (v *visit) noteLeftOut() {
	for _, l := range v.plan.LeftOut {
		v.note("%s", l.partNote())
	}
}
