package sheet

import (
	"slices"
	"strconv"

	"cardwright/manifest"
)

// Where a check is made.
const (
	alongside = "alongside"
	underWay  = "under way"
)

// places says where each check is made, in the order in which they are made:
// a pilot's set-up comes before the swing, the swing before the comparison,
// the tuning after both (common practice, no source).
var places = []struct{ check, where string }{
	{"settings and waypoints", alongside},
	{"position shown", alongside},
	{"depth shown", alongside},
	{"radar picture", alongside},
	{"targets shown", alongside},
	{"rudder stops and centre", alongside},
	{"dockside set-up", alongside},
	{"manual steering", alongside},
	{"compass swing", underWay},
	{"heading against course", underWay},
	{"automatic tuning", underWay},
}

// figures are the checks whose text has a figure of common practice.
var figures = []string{"compass swing", "heading against course", "automatic tuning"}

// checks are all checks of the devices that were updated, by where they are
// made.
func (m *maker) checks() []Section {
	var all []Section
	n := 0
	for _, where := range []string{alongside, underWay} {
		s := Section{
			ID: "check-" + id(where), Title: m.say("check." + where),
			Cautions: []string{m.say("check.caution." + where)},
		}
		for _, p := range places {
			if p.where != where {
				continue
			}
			for _, d := range m.toCheck(p.check) {
				n++
				s.Checks = append(s.Checks, m.check(n, d, p.check))
			}
		}
		if len(s.Checks) > 0 {
			all = append(all, s)
		}
	}
	return all
}

// toCheck are the devices on which a check is made.
func (m *maker) toCheck(check string) []*manifest.Device {
	return slices.DeleteFunc(m.steppedDevices(), func(d *manifest.Device) bool {
		return !slices.Contains(m.checksOf(d), check)
	})
}

// checksOf are the checks that the steps of a device make necessary.
func (m *maker) checksOf(d *manifest.Device) []string {
	var installed []*manifest.Release
	for _, s := range m.in.Plan.Steps {
		if s.Device == d.ID {
			installed = append(installed, m.release(s))
		}
	}
	return manifest.ChecksAfter(m.model(d.Model).Kind, installed)
}

func (m *maker) check(n int, d *manifest.Device, check string) Check {
	key := strconv.Itoa(n)
	return Check{
		ID: "check-" + key, Device: name(d.ID), Name: m.say("check.name." + check),
		How:   m.how(d, check),
		Value: Blank{ID: "value-" + key, For: d.ID, Label: m.say("check.value")},
	}
}

// how a check is made: in the words of the catalogue, or in general ones with
// the maker's instructions before them.
func (m *maker) how(d *manifest.Device, check string) string {
	for _, t := range m.model(d.Model).Checks {
		if t.Check == check && t.Text != "" {
			return prose(t.Text)
		}
	}
	text := m.say("check.how."+check, "near", m.near())
	if slices.Contains(figures, check) {
		return m.say("check.figure", "text", text, "practice", m.say("practice"))
	}
	return text + " " + m.say("check.maker")
}

// finishing is what ends the visit.
func (m *maker) finishing() Section {
	s := Section{ID: "finish", Title: m.say("finish")}
	s.Ticks = append(s.Ticks, m.tick("finish.cards", "n", strconv.Itoa(len(m.in.Plan.Cards))))
	var rest []string
	for _, d := range m.in.Vessel.Devices {
		if m.lastStep(d.ID) == nil {
			rest = append(rest, d.ID)
		}
	}
	if len(rest) > 0 {
		s.Ticks = append(s.Ticks, m.tick("finish.rest", "devices", names(rest)))
	}
	s.Ticks = append(s.Ticks, m.tick("finish.helms"), m.tick("finish.told"), m.tick("finish.log"))
	return s
}

// ifAStepFails is what to do and whom to call.
func (m *maker) ifAStepFails() Section {
	s := Section{ID: "fails", Title: m.say("fails"), Cautions: []string{m.say("fails.stop"), m.say("fails.power")}, Text: []string{m.say("fails.write")}}
	s.Text = append(s.Text, m.perModel(m.steppedDevices(), func(model *manifest.Model) string {
		if model.IfItFails == "" {
			return m.say("fails.model.any", "model", m.modelName(model.ID))
		}
		return m.say("fails.model", "model", m.modelName(model.ID), "text", prose(model.IfItFails))
	})...)
	s.Text = append(s.Text, m.say("fails.tell"), m.say("fails.plan"))
	if m.in.Shop.Call == "" {
		s.Blanks = []Blank{m.blank("fails.call.blank")}
	} else {
		s.Text = append(s.Text, m.say("fails.call", "call", prose(m.in.Shop.Call)))
	}
	return s
}

// openPoints are what the plan leaves open, and room for more.
func (m *maker) openPoints() Section {
	s := Section{ID: "open", Title: m.say("open")}
	for _, note := range m.in.Plan.Notes {
		s.Text = append(s.Text, prose(note))
	}
	for _, d := range m.in.Vessel.Devices {
		s.Text = append(s.Text, m.held(d)...)
	}
	for i := range 4 {
		s.Blanks = append(s.Blanks, Blank{ID: "open-" + strconv.Itoa(i+1), Label: m.say("open.blank"), Wide: true})
	}
	return s
}

// held says that the customer wants a device kept where it is.
func (m *maker) held(d *manifest.Device) []string {
	switch {
	case len(d.Hold) == 0:
		return nil
	case d.HoldWhy == "":
		return []string{m.say("open.hold.unsaid", "device", name(d.ID), "range", name(d.Hold.String()))}
	}
	return []string{m.say("open.hold",
		"device", name(d.ID), "range", name(d.Hold.String()), "why", prose(d.HoldWhy))}
}

func (m *maker) signatures() Section {
	s := Section{ID: "sign", Title: m.say("sign")}
	for _, who := range []string{"sign.technician", "sign.owner"} {
		sign := Sign{Who: m.say(who)}
		for _, what := range []string{"sign.name", "sign.hand", "sign.when"} {
			sign.Blanks = append(sign.Blanks, Blank{ID: id(who + "." + what), Label: m.say(what), Wide: true})
		}
		s.Signs = append(s.Signs, sign)
	}
	return s
}
