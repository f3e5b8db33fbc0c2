package order

import (
	"fmt"
	"slices"
	"strings"

	"cardwright/manifest"
)

// tell writes the moves out as steps, with what a person has to know.
func (v *visit) tell(a *arranger, moves []move) {
	windows := newWindows(v)
	for i, m := range moves {
		v.plan.Steps = append(v.plan.Steps, v.step(i+1, m))
		a.take(m)
		windows.look(i + 1)
		v.plan.Steps[i].Stop = !slices.ContainsFunc(v.parts, func(k *part) bool { return !k.fitsTogether() })
	}
	for _, w := range windows.found {
		for _, s := range v.plan.Steps[w.FromStep-1 : w.ToStep] {
			w.Minutes += s.Minutes
			w.AtLeast = w.AtLeast || s.Minutes == 0
		}
		v.plan.OutOfService = append(v.plan.OutOfService, w)
	}
	v.plan.Time = timeOf(v.shop, v.vessel, v.plan.Steps)
	v.reasons()
	v.noteSteps()
	v.noteBehind()
}

func (v *visit) step(number int, m move) Step {
	k, j := v.parts[v.at[m.device].part], v.at[m.device].device
	d := &k.p.devices[j]
	o := &d.options[m.to]
	s := Step{
		Number: number, Device: d.ID, Model: d.Model,
		From: d.options[m.from].version, To: o.version,
		Files: files(o.release), Over: o.release.Over.String(), Minutes: o.release.Minutes,
	}
	if m.host != itself {
		s.Through = k.p.devices[d.hosts[m.host]].ID
	}
	return s
}

// windows notes when devices are out of service.
type windows struct {
	*visit
	open  []int // for each device, 1 + its number in found while it is out
	found []OutOfService
}

func newWindows(v *visit) *windows {
	w := &windows{visit: v, open: make([]int, len(v.at))}
	w.look(0)
	return w
}

// look notes who is out, and who is again in service, after a step.
func (w *windows) look(step int) {
	for i := range w.at {
		if w.parts[w.at[i].part].leftOut {
			continue // it is as it was
		}
		out := w.out(i)
		switch {
		case out && w.open[i] == 0:
			w.found = append(w.found, OutOfService{Device: w.vessel.Devices[i].ID, FromStep: max(step, 1)})
			w.open[i] = len(w.found)
		case !out && w.open[i] > 0:
			w.found[w.open[i]-1].ToStep = step
			w.open[i] = 0
		}
	}
}

func (v *visit) out(device int) bool {
	k := v.parts[v.at[device].part]
	return k.p.outOfService(k.now, v.at[device].device)
}

func (v *visit) note(format string, args ...any) {
	if n := fmt.Sprintf(format, args...); !slices.Contains(v.plan.Notes, n) {
		v.plan.Notes = append(v.plan.Notes, n)
	}
}

// noteInstalled says what is odd about what the devices run now.
func (v *visit) noteInstalled() {
	for i, d := range v.vessel.Devices {
		if len(unknownOf([]*manifest.Device{d})) > 0 {
			continue
		}
		switch r := v.shop.Model(d.Model).Release(d.Version, d.Variant); {
		case r == nil:
			v.note("warning: %s runs %s %s, which the catalogue doesn't know: what it needs is not checked (%s)",
				d.ID, d.Model, named(string(d.Version), d.Variant), d.At("version"))
		case r.Withdrawn != "":
			v.note("warning: %s runs %s %s, which was withdrawn: %s (%s)", d.ID, d.Model, d.Version, r.Withdrawn, r.At("withdrawn"))
		}
		if v.plan.Conflict == nil && v.out(i) {
			v.note("%s is out of service already: what is installed doesn't fit", d.ID)
		}
	}
}

// noteSteps says what a person should weigh before starting.
func (v *visit) noteSteps() {
	for _, s := range v.plan.Steps {
		r := v.shop.Model(s.Model).Release(s.To, v.vessel.Device(s.Device).Variant)
		if r.WayBack != nil && !*r.WayBack {
			v.note("risk: %s %s has no way back to an older release (%s)", s.Model, r.Version, r.At("way_back"))
		}
		for _, n := range r.Needs {
			if !slices.ContainsFunc(v.vessel.Devices, func(d *manifest.Device) bool { return d.Model == n.Model }) {
				v.note("%s %s needs %s %s; none is aboard (%s)", s.Model, r.Version, n.Model, n.Version, n.At("model"))
			}
		}
	}
}

// noteBehind names the devices that don't end on the newest release.
func (v *visit) noteBehind() {
	for i, d := range v.vessel.Devices {
		if v.parts[v.at[i].part].leftOut {
			continue
		}
		k, j := v.parts[v.at[i].part], v.at[i].device
		options := k.p.devices[j].options
		if end := k.target[j]; end < len(options)-1 {
			v.note("%s ends on %s, not on %s, the newest", d.ID, options[end].version, options[len(options)-1].version)
		}
	}
}

func ids(devices []*manifest.Device) []string {
	all := make([]string, len(devices))
	for i, d := range devices {
		all[i] = d.ID
	}
	return all
}

func list(devices []*manifest.Device) string { return strings.Join(ids(devices), ", ") }
