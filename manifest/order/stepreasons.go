package order

import (
	"fmt"
	"slices"
	"strings"

	"cardwright/manifest"
	"cardwright/manifest/version"
)

// explainSteps says of every step why it is there and why it comes where it does.
func (v *visit) explainSteps() {
	r := reasoner{visit: v, now: map[string]version.V{}, by: map[string]int{}, was: map[string]version.V{}}
	for _, d := range v.vessel.Devices {
		r.now[d.ID] = d.Version
	}
	steps := v.plan.Steps
	waited := make([][]awaited, len(steps)+1) // for each step, what later ones want it for
	for i := range steps {
		s := &steps[i]
		for _, w := range r.waits(s) {
			s.Why = append(s.Why, fmt.Sprintf("after step %d: %s", w.step, w.rule))
			waited[w.step] = await(waited[w.step], w.rule, s.Number)
		}
		r.was[s.Device], r.now[s.Device], r.by[s.Device] = s.From, s.To, s.Number
	}
	wayBack := slices.ContainsFunc(steps, func(s Step) bool { r := v.installed(&s); return r.WayBack != nil && *r.WayBack })
	for i := range steps {
		s := &steps[i]
		var why []string
		for _, a := range waited[s.Number] {
			why = append(why, a.String())
		}
		if r.by[s.Device] == s.Number {
			why = slices.Insert(why, 0, v.goal(s))
		}
		switch release := v.installed(s); {
		case release.WayBack == nil && wayBack:
			s.Why = append(s.Why, "as late as the rules allow, since the maker doesn't say if there is a way back")
		case release.WayBack != nil && !*release.WayBack:
			s.Why = append(s.Why, "as late as the rules allow, since there is no way back")
		}
		s.Why = append(why, s.Why...)
	}
}

// awaited is a rule for which later steps wait for one.
type awaited struct {
	rule  string
	steps []int
}

func await(all []awaited, rule string, step int) []awaited {
	i := slices.IndexFunc(all, func(a awaited) bool { return a.rule == rule })
	if i < 0 {
		return append(all, awaited{rule, []int{step}})
	}
	all[i].steps = append(all[i].steps, step)
	return all
}

func (a awaited) String() string {
	if len(a.steps) == 1 {
		return fmt.Sprintf("for step %d: %s", a.steps[0], a.rule)
	}
	return fmt.Sprintf("for steps %s: %s", strings.Trim(strings.ReplaceAll(fmt.Sprint(a.steps), " ", ", "), "[]"), a.rule)
}

func (v *visit) installed(s *Step) *manifest.Release {
	return v.shop.Model(s.Model).Release(s.To, v.vessel.Device(s.Device).Variant)
}

// goal is what a device's last step is for.
func (v *visit) goal(s *Step) string {
	rs := releases(v.shop.Model(s.Model), v.vessel.Device(s.Device).Variant)
	rs = slices.DeleteFunc(rs, func(r *manifest.Release) bool { return r.Withdrawn != "" })
	if n := len(rs); n > 0 && version.Compare(rs[n-1].Version, s.To) > 0 {
		return "the newest that fits"
	}
	return "the newest release"
}

// reasoner goes through a plan's steps.
type reasoner struct {
	*visit
	now, was map[string]version.V // what each device runs, and ran before its last step
	by       map[string]int       // the step that brought it there; 0: none did
}

// wait is that a step could not have come before another one.
type wait struct {
	step int
	rule string
}

func (r *reasoner) waits(s *Step) []wait {
	release := r.installed(s)
	var all []wait
	add := func(device string, in version.Range, rule string, args ...any) {
		if n := r.by[device]; n > 0 && in.Allows(r.now[device]) && !in.Allows(r.was[device]) {
			all = append(all, wait{n, fmt.Sprintf(rule, args...)})
		}
	}
	add(s.Device, release.Over, "%s %s can only be installed over %s", s.Model, s.To, release.Over)
	if s.Through != "" {
		add(s.Through, release.PassedOnBy, "%s %s can only be passed on by a device that runs %s", s.Model, s.To, release.PassedOnBy)
	}
	for _, n := range release.Needs {
		when := "when the visit ends"
		if n.By == manifest.ByStart {
			when = "before it is installed"
		}
		for _, d := range r.vessel.Devices {
			if d.Model == n.Model && d.ID != s.Device {
				add(d.ID, n.Version, "%s %s needs %s %s %s", s.Model, s.To, n.Model, n.Version, when)
			}
		}
	}
	return all
}
