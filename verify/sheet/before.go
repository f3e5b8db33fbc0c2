package sheet

import (
	"slices"
	"strconv"
	"strings"

	"cardwright/manifest"
	"cardwright/manifest/order"
	"cardwright/manifest/version"
)

// tick is something to do, its id that of its words.
func (m *maker) tick(key string, fill ...string) Tick {
	return Tick{ID: id(key), Text: m.say(key, fill...)}
}

// id makes a key of the words into an id that HTML and JSON take.
func id(key string) string { return strings.NewReplacer(".", "-", " ", "-").Replace(key) }

// blank is a line to fill in, its id that of its words.
func (m *maker) blank(key string) Blank { return Blank{ID: id(key), Label: m.say(key), Wide: true} }

// leaving is what must be right before the van leaves the shop.
func (m *maker) leaving() Section {
	s := Section{ID: "leave", Title: m.say("leave")}
	s.Ticks = append(s.Ticks, m.tick("leave.cards", "cards", m.allCards()))
	if labels := m.labels(); labels != "" {
		s.Ticks = append(s.Ticks, m.tick("leave.label", "labels", labels))
	}
	if slots := m.slots(); slots != "" {
		s.Ticks = append(s.Ticks, m.tick("leave.slots", "slots", slots))
	}
	told := m.tick("leave.told")
	told.Blanks = []Blank{m.blank("leave.told.who"), m.blank("leave.told.by")}
	s.Ticks = append(s.Ticks, m.tick("leave.maker", "releases", m.releases()), m.tick("leave.back"), m.tick("leave.kit"), told)
	return s
}

func (m *maker) allCards() string {
	var all []string
	for _, c := range m.in.Plan.Cards {
		all = append(all, m.cardName(c.Number))
	}
	return list(all)
}

func (m *maker) labels() string {
	var all []string
	for _, c := range m.in.Plan.Cards {
		if s := m.state(c.Number); s != nil && s.Label != "" {
			all = append(all, m.onLabel(*s))
		}
	}
	return list(all)
}

// slots are the kinds of slot that the cards go into, with their devices.
func (m *maker) slots() string {
	var kinds []string
	devices := map[string][]string{}
	for _, d := range m.hosts() {
		rules := m.model(m.device(d).Model).Card
		if rules == nil || rules.Slot == "" {
			continue
		}
		if devices[rules.Slot] == nil {
			kinds = append(kinds, rules.Slot)
		}
		devices[rules.Slot] = append(devices[rules.Slot], d)
	}
	for i, kind := range kinds {
		kinds[i] = prose(kind) + " (" + names(devices[kind]) + ")"
	}
	return list(kinds)
}

// hosts are the devices that a card goes into, in the order of the steps.
func (m *maker) hosts() []string {
	var all []string
	for _, s := range m.in.Plan.Steps {
		if h := host(s); !slices.Contains(all, h) {
			all = append(all, h)
		}
	}
	return all
}

// releases are the models and versions that the steps install.
func (m *maker) releases() string {
	var all []string
	for _, s := range m.in.Plan.Steps {
		if r := m.modelName(s.Model) + " " + name(string(s.To)); !slices.Contains(all, r) {
			all = append(all, r)
		}
	}
	return list(all)
}

// starting is what must be right aboard before the first step.
func (m *maker) starting() Section {
	s := Section{ID: "start", Title: m.say("start"), Cautions: []string{m.say("start.caution")}}
	s.Ticks = append(s.Ticks, m.tick("start.berth"), m.tick("start.needed"), m.supply(), m.tick("start.engine"))
	if pilots := m.pilots(); pilots != "" {
		s.Ticks = append(s.Ticks, m.tick("start.pilot", "devices", pilots))
	}
	settings := m.tick("start.settings")
	settings.Blanks = []Blank{m.blank(settingsWhere)}
	s.Ticks = append(s.Ticks, settings, m.tick("start.back"), m.tick("start.versions"))
	return s
}

// settingsWhere is the blank that says where settings were saved.
const settingsWhere = "start.settings.where"

// supply is steady when it is measured with everything on.
func (m *maker) supply() Tick {
	t := m.tick("start.supply")
	if v := m.in.Vessel.Supply; v != "" {
		t.Text = m.say("start.supply.aboard", "supply", prose(v))
	}
	if strings.HasPrefix(strings.TrimSpace(m.in.Vessel.Supply), "12") {
		t.Notes = []string{m.say("start.supply.battery", "practice", m.say("practice"))}
	}
	t.Blanks = []Blank{m.blank("start.supply.volts"), m.blank("start.supply.load")}
	return t
}

// pilots are the autopilots aboard: an update of any other device can upset
// what they steer by.
func (m *maker) pilots() string {
	var all []string
	for _, d := range m.in.Vessel.Devices {
		if m.model(d.Model).Kind == autopilot {
			all = append(all, d.ID)
		}
	}
	return names(all)
}

// The kinds that the sheet treats in their own way.
const (
	autopilot manifest.Kind = "autopilot computer"
	display   manifest.Kind = "chart display"
)

// versionsAboard is the table of what runs on each device, to be compared.
func (m *maker) versionsAboard() Section {
	t := Table{Head: []string{
		m.say("versions.device"), m.say("versions.model"), m.say("versions.serial"), m.say("versions.place"),
		m.say("versions.file"), m.say("versions.read"),
	}}
	for i, d := range m.in.Vessel.Devices {
		t.Rows = append(t.Rows, Row{
			Cells: []string{
				name(d.ID), m.modelName(d.Model), name(d.Serial), prose(d.Place), m.version(d.Version),
			},
			Blank: &Blank{ID: "read-" + strconv.Itoa(i+1), For: d.ID, Label: m.say("versions.read"), Want: known(d.Version)},
		})
	}
	return Section{ID: "versions", Title: m.say("versions"), Text: m.whereShown(), Table: &t}
}

func (m *maker) version(v version.V) string {
	if known(v) == "" {
		return m.say("versions.unknown")
	}
	return known(v)
}

// known is a version as a name, or "" where there is none.
func known(v version.V) string {
	if v == version.Unknown {
		return ""
	}
	return name(string(v))
}

// whereShown says where each model aboard shows its version.
func (m *maker) whereShown() []string {
	return m.perModel(m.in.Vessel.Devices, func(model *manifest.Model) string {
		if model.VersionShown == "" {
			return ""
		}
		return m.say("versions.where", "model", m.modelName(model.ID), "text", prose(model.VersionShown))
	})
}

// perModel says something once for each model of some devices.
func (m *maker) perModel(devices []*manifest.Device, say func(*manifest.Model) string) []string {
	var all, seen []string
	for _, d := range devices {
		if slices.Contains(seen, d.Model) {
			continue
		}
		seen = append(seen, d.Model)
		if text := say(m.model(d.Model)); text != "" {
			all = append(all, text)
		}
	}
	return all
}

// whatFollows says, for devices whose version is unknown, which versions are
// likely and what would be done for each.
func (m *maker) whatFollows() Section {
	s := Section{ID: "unknown", Title: m.say("unknown")}
	for _, r := range m.in.Plan.Unknown {
		likely := make([]string, len(r.Likely))
		for i, v := range r.Likely {
			likely[i] = m.version(v)
		}
		s.Text = append(s.Text, m.say("unknown.likely",
			"device", name(r.Device), "versions", strings.Join(likely, ", "), "at", name(r.At.String())))
	}
	for _, a := range m.in.Plan.Answers {
		s.Text = append(s.Text, m.follows(a))
	}
	return s
}

// follows says what is done when the unknown versions turn out to be these.
func (m *maker) follows(a order.Answer) string {
	var found, steps []string
	for i, v := range a.Found[:min(len(a.Found), len(m.in.Plan.Unknown))] {
		found = append(found, m.say("unknown.found", "device", name(m.in.Plan.Unknown[i].Device), "version", m.version(v)))
	}
	for _, s := range a.Then.Steps {
		steps = append(steps, m.say("unknown.step", "device", name(s.Device), "from", m.version(s.From), "to", m.version(s.To)))
	}
	switch {
	case a.Then.Conflict != nil:
		return m.say("unknown.conflict", "found", list(found))
	case len(steps) == 0:
		return m.say("unknown.nothing", "found", list(found))
	}
	return m.say("unknown.steps", "found", list(found), "n", strconv.Itoa(len(steps)), "steps", list(steps))
}

// wayBack says what becomes of settings and of the way back, once for steps in
// a row that install the same.
func (m *maker) wayBack() Section {
	t := Table{Head: []string{m.say("back.device"), m.say("back.release"), m.say("back.settings"), m.say("back.way")}}
	for i, s := range m.in.Plan.Steps {
		r := m.release(s)
		cells := []string{name(s.Device), m.modelName(s.Model) + " " + name(string(s.To)), m.settings(r), m.way(r)}
		last := len(t.Rows) - 1
		if i > 0 && slices.Equal(t.Rows[last].Cells[1:], cells[1:]) {
			t.Rows[last].Cells[0] += ", " + cells[0]
			continue
		}
		t.Rows = append(t.Rows, Row{Cells: cells})
	}
	return Section{ID: "back", Title: m.say("back"), Table: &t}
}

func (m *maker) settings(r *manifest.Release) string {
	switch r.Settings {
	case manifest.SettingsKept:
		return m.say("settings.kept")
	case manifest.SettingsLost:
		return m.say("settings.lost")
	}
	return m.say("settings.unsaid")
}

func (m *maker) way(r *manifest.Release) string {
	switch {
	case r.WayBack == nil:
		return m.say("way.unsaid")
	case *r.WayBack:
		return m.say("way.yes")
	}
	return m.say("way.no")
}

// windows are the times when a device doesn't work.
func (m *maker) windows() Section {
	if len(m.in.Plan.OutOfService) == 0 {
		return Section{}
	}
	t := Table{Head: []string{m.say("windows.device"), m.say("windows.from"), m.say("windows.to")}}
	for _, o := range m.in.Plan.OutOfService {
		t.Rows = append(t.Rows, Row{Cells: []string{name(o.Device), m.stepName(o.FromStep), m.stepName(o.ToStep)}})
	}
	return Section{ID: "windows", Title: m.say("windows"), Cautions: []string{m.say("windows.text")}, Table: &t}
}

// steppedDevices are the devices that are updated, in the order of their
// first steps.
func (m *maker) steppedDevices() []*manifest.Device {
	var all []*manifest.Device
	for _, s := range m.in.Plan.Steps {
		known := slices.ContainsFunc(all, func(d *manifest.Device) bool { return d.ID == s.Device })
		if !known {
			all = append(all, m.device(s.Device))
		}
	}
	return all
}

// lastStep is the last step of a device, or nil.
func (m *maker) lastStep(device string) *order.Step {
	for i := len(m.in.Plan.Steps) - 1; i >= 0; i-- {
		if m.in.Plan.Steps[i].Device == device {
			return &m.in.Plan.Steps[i]
		}
	}
	return nil
}
