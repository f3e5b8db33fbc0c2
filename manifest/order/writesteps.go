package order

import (
	"slices"

	"cardwright/manifest/version"
)

// writeSteps writes the moves out as steps, with what a person has to know.
func (v *visit) writeSteps(a *arranger, moves []move) {
	out := &outages{visit: v, open: make([]int, len(v.places))}
	out.after(0)
	now := map[string]version.V{}
	for _, d := range v.vessel.Devices {
		now[d.ID] = d.Version
	}
	for i, m := range moves {
		v.plan.Steps = append(v.plan.Steps, v.step(i+1, m))
		a.take(m)
		out.after(i + 1)
		s := &v.plan.Steps[i]
		if now[s.Device] = s.To; !v.plan.WayBack {
			back := v.wayBack(s, now)
			s.Back = &back
		}
		v.plan.Steps[i].Stop = !slices.ContainsFunc(v.groups, func(g *groupState) bool { return !g.fitsTogether() })
	}
	for _, w := range out.found {
		for _, s := range v.plan.Steps[w.FromStep-1 : w.ToStep] {
			w.Minutes += s.Minutes
			w.AtLeast = w.AtLeast || s.Minutes == 0
		}
		v.plan.OutOfService = append(v.plan.OutOfService, w)
	}
	v.plan.Time = timeOf(v.shop, v.vessel, v.plan.Steps)
	if v.plan.WayBack {
		v.explainStepsBack()
		v.noteBack()
		return
	}
	v.explainSteps()
	v.noteSteps()
	v.noteBehind()
}

func (v *visit) step(number int, m move) Step {
	g, j := v.groups[v.places[m.device].group], v.places[m.device].device
	d := &g.p.devices[j]
	o := &d.options[m.to]
	s := Step{
		Number: number, Device: d.ID, Model: d.Model,
		From: d.options[m.from].version, To: o.version,
		Files: files(o.release), Over: o.release.Over.String(), Minutes: o.release.Minutes,
	}
	if m.host == itself {
		s.Route = d.route
	} else {
		s.Through = g.p.devices[d.hosts[m.host]].ID
	}
	return s
}
