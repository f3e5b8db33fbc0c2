package sheet

import (
	"slices"
	"strconv"

	"cardwright/manifest"
	"cardwright/manifest/order"
)

// steps are the sections of the steps: one for each time that a card comes
// into use.
func (m *maker) steps() []Section {
	var all []Section
	for _, run := range runs(m.in.Plan.Steps) {
		all = append(all, m.run(run))
	}
	return all
}

// run is the work with one card, from its first step to its last in a row.
func (m *maker) run(steps []order.Step) Section {
	card := m.cardFill(steps[0].Card)
	s := Section{
		ID:       "work-" + strconv.Itoa(steps[0].Number),
		Title:    m.say("work", card...),
		Cautions: []string{m.say("work.alone"), m.say("work.power"), m.say("work.fails", "fails", m.say("fails"))},
	}
	if others := m.wouldTake(steps); len(others) > 0 {
		s.Cautions = append(s.Cautions, m.say("work.other", "devices", names(others)))
	}
	for _, step := range steps {
		s.Steps = append(s.Steps, m.step(step))
	}
	done := m.tick("work.done", card...)
	done.ID = "out-" + strconv.Itoa(steps[len(steps)-1].Number)
	s.Then = []Tick{done}
	return s
}

func (m *maker) cardFill(number int) []string {
	return []string{"n", strconv.Itoa(number), "m", strconv.Itoa(len(m.in.Plan.Cards))}
}

// wouldTake are the devices aboard that install by themselves and that this
// card isn't for at this time.
func (m *maker) wouldTake(steps []order.Step) []string {
	var all []string
	for _, d := range m.in.Vessel.Devices {
		meant := slices.ContainsFunc(steps, func(s order.Step) bool { return s.Device == d.ID })
		if m.installsAtPowerUp(d.ID) && !meant {
			all = append(all, d.ID)
		}
	}
	return all
}

func (m *maker) step(s order.Step) Step {
	n := strconv.Itoa(s.Number)
	r := m.release(s)
	return Step{
		ID: "step-" + n, Number: s.Number, Name: m.say("step.heading", "n", n),
		Device: name(s.Device), Model: m.modelName(s.Model),
		Place: m.place(s.Device), Minutes: m.stepMinutes(s.Minutes),
		From: m.version(s.From), To: name(string(s.To)),
		Facts:    m.stepFacts(s, r),
		Cautions: m.stepCautions(s, r),
		Do:       m.do(s),
		Read:     Blank{ID: "after-" + n, For: s.Device, Label: m.say("step.read"), Want: name(string(s.To))},
		Took:     Blank{ID: "took-" + n, Label: m.say("step.took")},
		Note:     Blank{ID: "note-" + n, Label: m.say("step.note"), Wide: true},
	}
}

func (m *maker) stepName(n int) string { return m.say("step.name", "n", strconv.Itoa(n)) }

// stepFacts are what the technician looks for on the device and its screen.
func (m *maker) stepFacts(s order.Step, r *manifest.Release) []Fact {
	folder := Fact{m.say("step.folder"), name(s.Folder), true}
	if s.Folder == "" {
		folder = Fact{m.say("step.folder"), m.say("step.folder.root"), false}
	}
	facts := []Fact{folder}
	for _, f := range s.Files {
		if !r.Touches(f.Name) {
			continue // it stands beside, and nobody opens it on the device
		}
		facts = append(facts, Fact{m.say("step.file"), name(f.Name) + " (" + m.size(f.Size) + ")", true})
	}
	return filled(append(facts,
		Fact{m.say("step.restarts"), m.orSay(m.model(s.Model).Restarts, "step.restarts.any"), false},
		Fact{m.say("step.leave"), m.leaveAlone(s), false},
		Fact{m.say("step.notes"), prose(r.Notes), false},
	)...)
}

// place is where a device is, with the serial number that tells it from others.
func (m *maker) place(device string) string {
	d := m.device(device)
	if d.Serial == "" {
		return prose(d.Place)
	}
	return list([]string{prose(d.Place), m.say("step.serial", "serial", name(d.Serial))})
}

func (m *maker) stepMinutes(n int) string {
	if n == 0 {
		return m.say("step.minutes.unsaid")
	}
	return m.minutes(n)
}

// orSay is the catalogue's text or, where it has none, ours.
func (m *maker) orSay(text, key string) string {
	if text == "" {
		return m.say(key)
	}
	return prose(text)
}

func (m *maker) leaveAlone(s order.Step) string {
	key := "step.leave.any"
	if s.Through != "" {
		key = "step.leave.through"
	}
	return m.orSay(m.model(s.Model).LeaveAlone, key)
}

func (m *maker) stepCautions(s order.Step, r *manifest.Release) []string {
	all := slices.Clone(m.in.Open[s.Device])
	for _, o := range m.in.Plan.OutOfService {
		if o.FromStep == s.Number {
			all = append(all, m.say("step.window.from", "device", name(o.Device), "step", m.stepName(o.ToStep)))
		}
	}
	if r.WayBack != nil && !*r.WayBack {
		all = append(all, m.say("step.nowayback", "version", m.version(s.From)))
	}
	if r.Settings == manifest.SettingsLost {
		all = append(all, m.say("step.lost"))
	}
	return all
}

// do is what is done in one step, in order.
func (m *maker) do(s order.Step) []string {
	all := append(m.cardIn(s), m.start(s)...)
	all = append(all, m.cardOut(s)...)
	for _, o := range m.in.Plan.OutOfService {
		if o.ToStep == s.Number {
			all = append(all, m.say("step.window.to", "device", name(o.Device)))
		}
	}
	return all
}

// cardIn is how the card comes into the slot. A device that installs at
// power-up gets it while it is off for its own step, and while it runs for a
// step that it passes on.
func (m *maker) cardIn(s order.Step) []string {
	h := host(s)
	fill := append(m.cardFill(s.Card), "device", name(h))
	switch {
	case m.installsAtPowerUp(h) && s.Through == "":
		return []string{m.say("step.off", "device", name(h)), m.say("step.insert", fill...)}
	case m.installsAtPowerUp(h):
		return []string{m.say("step.insert.running", fill...)}
	case m.staysFrom(s.Number - 1):
		return []string{m.say("step.stays", fill...)}
	}
	return []string{m.say("step.insert", fill...)}
}

// staysFrom tells whether the card stays in its slot after step n: the next
// step takes the same card in the same device, and that device doesn't install
// at power-up.
func (m *maker) staysFrom(n int) bool {
	steps := m.in.Plan.Steps
	i := slices.IndexFunc(steps, func(s order.Step) bool { return s.Number == n })
	if i < 0 || i+1 == len(steps) {
		return false
	}
	now, next := steps[i], steps[i+1]
	return host(now) == host(next) && now.Card == next.Card && !m.installsAtPowerUp(host(now))
}

// start is how the update is started: in the maker's words where the
// catalogue has them.
func (m *maker) start(s order.Step) []string {
	var all []string
	text := m.model(s.Model).Install
	switch {
	case m.installsAtPowerUp(s.Device) && s.Through == "":
		all = append(all, m.say("step.power", "device", name(s.Device)))
	case text != "":
	case s.Through != "":
		all = append(all, m.say("step.choose.through", "host", name(s.Through), "device", name(s.Device)))
	default:
		all = append(all, m.say("step.choose", "device", name(s.Device)))
	}
	if text != "" {
		all = append(all, prose(text))
	}
	return all
}

// cardOut is when the card leaves the slot.
func (m *maker) cardOut(s order.Step) []string {
	if m.staysFrom(s.Number) {
		return nil
	}
	key := "step.out"
	if m.installsAtPowerUp(host(s)) {
		key = "step.out.power"
	}
	return []string{m.say(key, "device", name(s.Device), "host", name(host(s)))}
}
