package order

import (
	"fmt"

	"cardwright/manifest"
)

// Make plans one vessel's visit: the newest set of releases that fit one
// another, and a safe order. Nothing to do is a plan of no steps; no set that
// fits is a plan with a Conflict. The error is a *NotYet, or says that vessel
// and catalogue don't belong together.
func Make(shop *manifest.Shop, vessel *manifest.Vessel) (Plan, error) {
	plan := Plan{
		Format: Format, Vessel: vessel.ID,
		Steps: []Step{}, OutOfService: []OutOfService{}, Cards: []Card{}, Notes: []string{},
	}
	p, err := ask(shop, vessel, nil)
	if err != nil {
		return plan, err
	}
	if err := p.raiseOnly(); err != nil {
		return plan, err
	}
	target := p.newest()
	if target == nil {
		plan.Conflict = conflict(shop, vessel, p)
		plan.Notes = append(plan.Notes, p.noteInstalled()...)
		return plan, nil
	}
	moves := p.sequence(target)
	if moves == nil && !same(target, make(state, len(target))) {
		return plan, p.heldUp(target)
	}
	p.tell(&plan, moves)
	return plan, nil
}

// heldUp says which need takes a host out of service while it is needed.
func (p *problem) heldUp(target state) error {
	for i := range p.devices {
		for _, n := range p.devices[i].options[target[i]].end {
			if p.suffers(i, n.on) == i && !n.in.has(0) {
				return &NotYet{n.need.At("version"), fmt.Sprintf("%s would be out of service while it has to pass a release on", p.devices[i].ID)}
			}
		}
	}
	return &NotYet{p.devices[0].At(""), "the order takes too long to find"}
}

func same(a, b state) bool {
	for i := range a {
		if a[i] != b[i] {
			return false
		}
	}
	return true
}

// tell writes the moves out as steps, with what a person has to know.
func (p *problem) tell(plan *Plan, moves []move) {
	for i, m := range moves {
		plan.Steps = append(plan.Steps, p.step(i+1, m))
	}
	plan.OutOfService = append(plan.OutOfService, p.windows(moves)...)
	plan.Notes = append(plan.Notes, p.noteInstalled()...)
	plan.Notes = append(plan.Notes, p.noteSteps(moves)...)
}

func (p *problem) step(number int, m move) Step {
	d := &p.devices[m.device]
	o := &d.options[m.to]
	s := Step{
		Number: number, Device: d.ID, Model: d.Model,
		From: d.options[m.from].version, To: o.version,
		Files: files(o.release), Over: o.release.Over.String(), Minutes: o.release.Minutes,
	}
	if m.through >= 0 {
		s.Through = p.devices[m.through].ID
	}
	return s
}

// files lists what must stand on the card for a release: an archive that is
// to be unpacked counts as its members.
func files(r *manifest.Release) []File {
	fs := []File{}
	for _, f := range r.Files {
		if f.Unpack == "" {
			fs = append(fs, File{f.Name, int64(f.Size), f.SHA256})
			continue
		}
		for _, m := range f.Members {
			fs = append(fs, File{m.Name, int64(m.Size), m.SHA256})
		}
	}
	return fs
}

// windows lists when devices are out of service, by first step and then in
// file order.
func (p *problem) windows(moves []move) []OutOfService {
	s := make(state, len(p.devices))
	open := make([]int, len(p.devices)) // step since which a device is out, or 0
	var found []OutOfService
	look := func(step int) {
		for i := range p.devices {
			out := p.outOfService(s, i)
			switch {
			case out && open[i] == 0:
				found = append(found, OutOfService{p.devices[i].ID, max(step, 1), 0})
				open[i] = len(found)
			case !out && open[i] > 0:
				found[open[i]-1].ToStep = step
				open[i] = 0
			}
		}
	}
	look(0)
	for i, m := range moves {
		s[m.device] = m.to
		look(i + 1)
	}
	return found
}

// noteInstalled says what is odd about what the devices run now.
func (p *problem) noteInstalled() []string {
	var notes []string
	s := make(state, len(p.devices))
	for i := range p.devices {
		d := &p.devices[i]
		switch r := d.options[0].release; {
		case r == nil:
			notes = append(notes, fmt.Sprintf("warning: %s runs %s %s, which the catalogue doesn't know: what it needs is not checked (%s)",
				d.ID, d.Model, d.Device.Version, d.At("version")))
		case r.Withdrawn != "":
			notes = append(notes, fmt.Sprintf("warning: %s runs %s %s, which was withdrawn: %s (%s)",
				d.ID, d.Model, d.Device.Version, r.Withdrawn, r.At("withdrawn")))
		}
		if p.outOfService(s, i) {
			notes = append(notes, fmt.Sprintf("%s is out of service already: what is installed doesn't fit", d.ID))
		}
	}
	return notes
}

// noteSteps says what a person should weigh before starting.
func (p *problem) noteSteps(moves []move) []string {
	var notes []string
	told := map[string]bool{}
	tell := func(format string, args ...any) {
		if n := fmt.Sprintf(format, args...); !told[n] {
			told[n] = true
			notes = append(notes, n)
		}
	}
	for _, m := range moves {
		d := &p.devices[m.device]
		r := d.options[m.to].release
		if r.WayBack != nil && !*r.WayBack {
			tell("risk: %s %s has no way back to an older release (%s)", d.Model, r.Version, r.At("way_back"))
		}
		for _, n := range r.Needs {
			if !p.aboard(n.Model) {
				tell("%s %s needs %s %s; none is aboard (%s)", d.Model, r.Version, n.Model, n.Version, n.At("model"))
			}
		}
	}
	return notes
}

func (p *problem) aboard(model string) bool {
	for i := range p.devices {
		if p.devices[i].Model == model {
			return true
		}
	}
	return false
}
