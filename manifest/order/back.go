package order

import (
	"fmt"
	"slices"
	"strings"

	"cardwright/manifest"
	"cardwright/manifest/version"
)

// A way back is planned like a visit, with each device's options turned round: what
// is installed first, then ever older releases.

// addOlder gives a device the releases that it could go back to, the newest first.
func (b *builder) addOlder(d *device) {
	if b.ask.leaves(d.ID) && b.stands(KindAsked, d.Device) || d.Version == version.Unknown || d.Version == "" {
		return
	}
	for _, r := range slices.Backward(releases(d.model, d.Variant)) {
		if version.Compare(r.Version, d.Version) >= 0 || len(r.Files) == 0 {
			continue
		}
		if r.Withdrawn == "" || b.ask.named(d.Device, r) || !b.stands(KindWithdrawn, r) {
			d.options = append(d.options, option{point: point{version: r.Version}, release: r})
		}
	}
}

// backFrom are the options from which there is a way back to option k.
func (b *builder) backFrom(d *device, k int) set {
	from := newSet(len(d.options))
	for j := range k {
		if b.leadsBack(d, d.options[j].release, d.options[k].release) {
			from.add(j)
		}
	}
	return from
}

func (b *builder) leadsBack(d *device, from, to *manifest.Release) bool {
	anyOver := !b.stands(KindOver, to)
	switch {
	case from == nil:
		return !b.stands(KindWayBack, d.Device) && (anyOver || to.Over.Allows(d.Version))
	case !b.stands(KindWayBack, from):
		return anyOver || len(from.BackTo) > 0 || to.Over.Allows(from.Version)
	}
	return from.LeadsBackTo(to) || anyOver && from.WayBack != nil && *from.WayBack && len(from.BackTo) == 0
}

// waysBack lists the facts about going back from what a device may run.
func (q *question) waysBack(d *manifest.Device, l *lister) {
	m := q.shop.Model(d.Model)
	if m.Release(d.Version, d.Variant) == nil {
		l.add(KindWayBack, d)
	}
	for _, r := range releases(m, d.Variant) {
		if version.Compare(r.Version, d.Version) <= 0 {
			l.add(KindWayBack, r)
		}
	}
}

// describeWayBack says what keeps a release's devices from going back from it.
func describeWayBack(model string, r *manifest.Release) string {
	switch {
	case r.WayBack == nil:
		return fmt.Sprintf("the maker doesn't say whether there is a way back from %s %s", model, r.Version)
	case !*r.WayBack:
		return fmt.Sprintf("%s %s has no way back to an older release", model, r.Version)
	case len(r.BackTo) == 0:
		return fmt.Sprintf("the way back from %s %s leads only to older releases that can be installed over it", model, r.Version)
	}
	return fmt.Sprintf("the way back from %s %s leads only to %s", model, r.Version, r.BackTo)
}

// goingBack reports whether a group has a device that is to go back; other groups stay
// as they are, whatever they run.
func (a Ask) goingBack(devices []*manifest.Device) bool {
	return slices.ContainsFunc(devices, func(d *manifest.Device) bool { return a.goesBack(d.ID) != nil })
}

// Back is how a step's device gets back to what it ran before, right after the step;
// or why it doesn't.
type Back struct {
	To       version.V `json:"to,omitempty"`       // "": there is no way back
	Through  string    `json:"through,omitempty"`  // as Step.Through
	Settings string    `json:"settings,omitempty"` // manifest.SettingsKept or SettingsLost; "": the maker doesn't say
	None     string    `json:"none,omitempty"`     // why there is none
}

// wayBack says of a step, as far as the shop's files tell, whether its device
// gets back to what it ran before, in the state that the step leaves.
func (v *visit) wayBack(s *Step, now map[string]version.V) Back {
	d := v.vessel.Device(s.Device)
	m := v.shop.Model(d.Model)
	from, to := m.Release(s.To, d.Variant), m.Release(s.From, d.Variant)
	none := func(format string, args ...any) Back { return Back{None: fmt.Sprintf(format, args...)} }
	switch {
	case from.WayBack == nil:
		return none("the maker doesn't say")
	case !*from.WayBack:
		return none("the maker gives none")
	case to == nil:
		return none("the catalogue doesn't have %s %s", m.ID, named(string(s.From), d.Variant))
	case len(to.Files) == 0:
		return none("the catalogue has no package of %s %s", m.ID, to.Version)
	case to.Withdrawn != "":
		return none("%s %s was withdrawn: %s", m.ID, to.Version, to.Withdrawn)
	case !from.LeadsBackTo(to) && len(from.BackTo) > 0:
		return none("%s", describeWayBack(m.ID, from))
	case !from.LeadsBackTo(to):
		return none("%s %s can only be installed over %s", m.ID, to.Version, to.Over)
	}
	for _, n := range to.Needs {
		for _, e := range v.vessel.Devices {
			if n.By == manifest.ByStart && e.Model == n.Model && !n.Version.Allows(now[e.ID]) {
				return none("%s %s needs %s %s before it is installed, and %s runs %s then", m.ID, to.Version, n.Model, n.Version, e.ID, now[e.ID])
			}
		}
	}
	back := Back{To: to.Version, Settings: from.BackSettings(to)}
	if len(d.Through) == 0 {
		return back
	}
	for _, id := range d.Through {
		host := slices.IndexFunc(v.vessel.Devices, func(e *manifest.Device) bool { return e.ID == id })
		if v.shop.Model(v.vessel.Devices[host].Model).Card != nil && to.PassedOnBy.Allows(now[id]) && !v.outOfService(host) {
			back.Through = id
			return back
		}
	}
	return none("none of %s can pass %s %s on then", strings.Join(d.Through, ", "), m.ID, to.Version)
}

// explainStepsBack says of every step of a way back why it is there.
func (v *visit) explainStepsBack() {
	for i := range v.plan.Steps {
		s := &v.plan.Steps[i]
		switch back := v.ask.goesBack(s.Device); {
		case back == nil:
			s.Why = append(s.Why, "what it runs doesn't fit with what goes back")
		case v.plan.ends(v.vessel.Device(s.Device)) != s.To:
			s.Why = append(s.Why, "on the way back")
		case back.Why != "":
			s.Why = append(s.Why, "asked to go back: "+back.Why)
		default:
			s.Why = append(s.Why, "asked to go back")
		}
	}
}

// noteBack says what going back costs.
func (v *visit) noteBack() {
	for _, s := range v.plan.Steps {
		d := v.vessel.Device(s.Device)
		m := v.shop.Model(s.Model)
		from, to := m.Release(s.From, d.Variant), m.Release(s.To, d.Variant)
		switch from.BackSettings(to) {
		case manifest.SettingsLost:
			v.note("warning: %s loses its settings when it goes back to %s: write them down first", s.Device, s.To)
		case "":
			v.note("warning: the makers don't say whether %s keeps its settings when it goes back to %s: write them down first", s.Device, s.To)
		}
		if to.Withdrawn != "" {
			v.note("warning: %s goes back to %s %s, which was withdrawn: %s; asked for all the same: %s", s.Device, s.Model, s.To, to.Withdrawn, v.ask.whyBack(s.Device))
		}
	}
}

// Undo is the way back of a plan that is given up on the way: what each of its steps
// takes back, from the last to the first, as far as there is a way. Of its steps
// those are taken that undo steps that were done; see Step.Why.
func Undo(shop *manifest.Shop, vessel *manifest.Vessel, plan Plan) Plan {
	v := visit{shop: shop, vessel: vessel, plan: Plan{
		Format: Format, Vessel: plan.Vessel, WayBack: true,
		Steps: []Step{}, OutOfService: []OutOfService{}, Cards: []Card{}, Notes: []string{}, Time: Time{Missing: []string{}},
	}}
	after := 0 // the earliest step so far that has no way back
	for _, s := range slices.Backward(plan.Steps) {
		if s.Back == nil || s.Back.To == "" {
			after = s.Number
			continue
		}
		r := shop.Model(s.Model).Release(s.Back.To, vessel.Device(s.Device).Variant)
		undo := Step{
			Number: len(v.plan.Steps) + 1, Device: s.Device, Model: s.Model, From: s.To, To: s.Back.To,
			Files: files(r), Over: r.Over.String(), Through: s.Back.Through, Route: s.Route, Minutes: r.Minutes,
			Why:    []string{fmt.Sprintf("undoes step %d", s.Number)},
			Undoes: s.Number, Before: after,
			Stop: s.Number == 1 || plan.Steps[s.Number-2].Stop,
		}
		if after > 0 {
			undo.Why = append(undo.Why, fmt.Sprintf("only while step %d has not been begun: it has no way back", after))
		}
		v.plan.Steps = append(v.plan.Steps, undo)
	}
	for _, s := range plan.Steps {
		if s.Back != nil && s.Back.None != "" {
			v.note("step %d (%s) has no way back: %s", s.Number, s.Device, s.Back.None)
		}
	}
	v.plan.Time = timeOf(shop, vessel, v.plan.Steps)
	v.noteBack()
	return v.plan
}

func (a Ask) whyBack(id string) string {
	if back := a.goesBack(id); back != nil {
		return back.Why
	}
	return ""
}

// validateBack refuses a way back that is none, whatever else is aboard.
func (a Ask) validateBack(shop *manifest.Shop, vessel *manifest.Vessel) error {
	if len(a.Back) == 0 {
		return nil
	}
	if len(a.Aim) > 0 || a.Within > 0 || a.Earlier != 0 {
		return &BadAsk{"a way back is planned by itself: without an aim and without a time"}
	}
	for i, back := range a.Back {
		d := vessel.Device(back.Device)
		switch {
		case d == nil:
			return &BadAsk{fmt.Sprintf("vessel %s has no device %q; it has %s", vessel.ID, back.Device, list(vessel.Devices))}
		case a.goesBack(d.ID) != &a.Back[i]:
			return &BadAsk{fmt.Sprintf("%s is named twice", d.ID)}
		case len(unknownOf([]*manifest.Device{d})) > 0:
			continue
		}
		if err := a.validateReturn(shop, d, back); err != nil {
			return err
		}
	}
	return nil
}

func (a Ask) validateReturn(shop *manifest.Shop, d *manifest.Device, back Return) error {
	m := shop.Model(d.Model)
	r := m.Release(back.To, d.Variant)
	var have []string
	for _, older := range releases(m, d.Variant) {
		if version.Compare(older.Version, d.Version) < 0 && len(older.Files) > 0 {
			have = append(have, string(older.Version))
		}
	}
	switch {
	case len(have) == 0:
		return &BadAsk{fmt.Sprintf("%s runs %s %s, and the catalogue has no package of an older release: take one in first", d.ID, d.Model, named(string(d.Version), d.Variant))}
	case back.To == "":
		return nil
	case version.Compare(back.To, d.Version) >= 0:
		return &BadAsk{fmt.Sprintf("%s runs %s: %s is no way back from it", d.ID, d.Version, back.To)}
	case r == nil || len(r.Files) == 0:
		return &BadAsk{fmt.Sprintf("the catalogue has no package of %s %s for %s; of older releases it has %s", d.Model, back.To, d.ID, strings.Join(have, ", "))}
	case r.Withdrawn != "" && back.Why == "":
		return &BadAsk{fmt.Sprintf("%s %s was withdrawn: %s (%s); it is no way back unless you say why", d.Model, r.Version, r.Withdrawn, r.At("withdrawn"))}
	}
	return nil
}
