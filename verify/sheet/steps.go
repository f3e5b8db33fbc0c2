package sheet

import (
	"slices"
	"strconv"

	"cardwright/manifest"
	"cardwright/manifest/order"
)

// stepSections are a section for each time that a card comes into use.
func stepSections(w speech, in Input) []Section {
	var all []Section
	each := runs(in.Plan.Steps)
	for i, run := range each {
		s := stepsOfCard(w, in, run)
		if i+1 < len(each) && run[0].Route == "" { // the last is counted at the end
			done := tick(w, "work.done", cardFill(in, run[0].Card)...)
			done.ID = "out-" + strconv.Itoa(run[len(run)-1].Number)
			s.Blocks = append(s.Blocks, done)
		}
		if i == 0 { // said once
			rules := []Block{Caution(w.say("work.power"))}
			if len(in.Plan.Steps) > 1 {
				rules = append([]Block{Caution(w.say("work.alone"))}, rules...)
			}
			s.Blocks = append(rules, s.Blocks...)
		}
		all = append(all, s)
	}
	return all
}

// runs are steps in a row that need the same card.
func runs(steps []order.Step) [][]order.Step {
	var all [][]order.Step
	for i, s := range steps {
		if i == 0 || s.Card != steps[i-1].Card || (s.Route == "") != (steps[i-1].Route == "") {
			all = append(all, nil)
		}
		all[len(all)-1] = append(all[len(all)-1], s)
	}
	return all
}

// stepsOfCard is the work with one card, from its first step to its last in a
// row.
func stepsOfCard(w speech, in Input, steps []order.Step) Section {
	card := cardFill(in, steps[0].Card)
	s := Section{ID: "work-" + strconv.Itoa(steps[0].Number), Title: w.say("work", card...)}
	if steps[0].Route != "" {
		s.Title = w.say("route.work")
	}
	for i, step := range steps {
		s.Blocks = append(s.Blocks, stepBlock(w, in, step, i == 0 || host(step) != host(steps[i-1])))
	}
	return s
}

func cardFill(in Input, number int) []string {
	return []string{"n", strconv.Itoa(number), "m", strconv.Itoa(len(in.Plan.Cards))}
}

// stepBlock is one step. Where the card comes into another slot with it, the
// devices that would install what they find are named.
func stepBlock(w speech, in Input, s order.Step, moves bool) Step {
	n := strconv.Itoa(s.Number)
	r := in.release(s)
	from, to := w.version(s.From), name(string(s.To))
	step := Step{
		ID: "step-" + n, Number: s.Number, Name: w.say("step.heading", "n", n),
		Device: name(s.Device), Model: in.modelName(s.Model), Place: place(w, in, s.Device),
		Minutes: w.minutes(s.Minutes), Clock: clock(w, in, s.Number), From: from, To: to,
		Facts:    append(stepTerms(w, in, s, r), stepFacts(w, in, s, r)...),
		Cautions: stepCautions(w, in, s, r),
		First:    stepFirst(w, in, s, r),
		Before: Blank{
			ID: "before-" + n, For: s.Device, Want: known(s.From),
			Label: w.say("step.before"),
		},
		Do:    do(w, in, s),
		Read:  Blank{ID: "after-" + n, For: s.Device, Label: w.say("step.read"), Want: to},
		Plain: s.Minutes, SafeStop: safeStop(in.Plan, s.Number),
		Took: Blank{ID: "took-" + n, Label: w.say("step.took")},
		Then: stepThen(w, in, s),
		Note: Blank{ID: "note-" + n, Label: w.say("step.note"), Wide: true},
	}
	if others := wouldTake(in, s); moves && len(others) > 0 && s.Route == "" {
		step.Cautions = append(step.Cautions, w.say("step.keep-out", "devices", names(others)))
	}
	return step
}

// stepTerms are what must be done before a step, what it loses, whether there is
// a way back, and whether the work may stop after it.
func stepTerms(w speech, in Input, s order.Step, r *manifest.Release) []Fact {
	return filled(
		Fact{w.say("step.begin"), after(w, in, s), false},
		Fact{w.say("step.begin.by"), beginBy(in, s.Number), false},
		Fact{w.say("step.settings"), settings(w, in.settings(s)), false},
		Fact{w.say("step.way"), wayBack(w, in, s), false},
		Fact{w.say("step.stop.label"), stop(w, in, s.Number), false},
	)
}

// after is what must be done before a step: the one before it.
func after(w speech, in Input, s order.Step) string {
	i := slices.IndexFunc(in.Plan.Steps, func(o order.Step) bool { return o.Number == s.Number })
	if i <= 0 {
		return w.say("step.first")
	}
	return w.say("step.after", "step", stepName(w, in.Plan.Steps[i-1].Number))
}

// settings are what becomes of the device's settings in a step.
func (in Input) settings(s order.Step) string {
	r := in.release(s)
	if from := in.model(s.Model).Release(s.From, in.device(s.Device).Variant); in.Plan.WayBack && from != nil {
		return from.BackSettings(r)
	}
	return r.Settings
}

func settings(w speech, become string) string {
	switch become {
	case manifest.SettingsKept:
		return w.say("settings.kept")
	case manifest.SettingsLost:
		return w.say("settings.lost")
	}
	return w.say("settings.unsaid")
}

func wayBack(w speech, in Input, s order.Step) string {
	r, from := in.release(s), w.version(s.From)
	switch {
	case in.Plan.WayBack:
		return ""
	case r.WayBack == nil:
		return w.say("way.unsaid")
	case !*r.WayBack:
		return w.say("way.no")
	case s.Back != nil && s.Back.To == "":
		return w.say("way.none-here", "why", clause(s.Back.None))
	case s.Back != nil && s.Back.Settings == manifest.SettingsLost:
		return w.say("way.yes.lost", "version", from)
	}
	return w.say("way.yes", "version", from)
}

// losesSettings reports whether a step's settings have to be written down before it:
// going back, also where nobody says what becomes of them.
func (in Input) losesSettings(s order.Step) bool {
	become := in.settings(s)
	return become == manifest.SettingsLost || in.Plan.WayBack && become == ""
}

// oneWay reports whether the maker gives no way back from what a step installs.
func (in Input) oneWay(s order.Step) bool {
	r := in.release(s)
	return !in.Plan.WayBack && r.WayBack != nil && !*r.WayBack
}

// stepCautions are what can hurt at this step.
func stepCautions(w speech, in Input, s order.Step, r *manifest.Release) []string {
	var all []string
	for _, open := range in.Open[s.Device] {
		all = append(all, prose(open))
	}
	if s.Undoes > 0 {
		all = append(all, w.say("back.undoes", "n", strconv.Itoa(s.Undoes)))
	}
	if s.Before > 0 {
		all = append(all, w.say("back.only-before", "n", strconv.Itoa(s.Before)))
	}
	if in.oneWay(s) {
		all = append(all, w.say("step.one-way", "version", w.version(s.From)))
	}
	if was := in.model(s.Model).Release(s.From, in.device(s.Device).Variant); was != nil && was.Withdrawn != "" {
		all = append(all, w.say("step.withdrawn", "version", w.version(s.From), "why", clause(was.Withdrawn)))
	}
	if r.Withdrawn != "" {
		all = append(all, w.say("step.withdrawn.to", "version", name(string(s.To)), "why", clause(r.Withdrawn)))
	}
	if in.settings(s) == manifest.SettingsLost {
		all = append(all, w.say("step.lost"))
	}
	for _, o := range in.Plan.OutOfService {
		if o.FromStep == s.Number {
			all = append(all, w.say("step.window.from", "device", name(o.Device), "step", stepName(w, o.ToStep)))
		}
	}
	return all
}

// stepFirst is what is done and ticked before the step begins: what the maker
// says of the release, and the settings that would be lost.
func stepFirst(w speech, in Input, s order.Step, r *manifest.Release) []Tick {
	n := strconv.Itoa(s.Number)
	var all []Tick
	if notes := prose(r.Notes); notes != "" {
		all = append(all, Tick{ID: "notes-" + n, Text: notes})
	}
	if in.losesSettings(s) {
		all = append(all, Tick{
			ID: "saved-" + n, Text: w.say("step.saved", "device", name(s.Device)),
			Blanks: []Blank{{ID: "saved-where-" + n, For: s.Device, Label: w.say("start.settings.where")}},
		})
	}
	return all
}

// stepThen is what is done once the new version shows.
func stepThen(w speech, in Input, s order.Step) []Tick {
	if !in.losesSettings(s) {
		return nil
	}
	n := strconv.Itoa(s.Number)
	return []Tick{{
		ID: "entered-" + n, Text: w.say("step.entered", "device", name(s.Device)),
		Blanks: []Blank{{ID: "values-" + n, For: s.Device, Label: w.say("step.values")}},
	}}
}

// stop says whether the work may be broken off after a step.
func stop(w speech, in Input, n int) string {
	last := in.Plan.Steps[len(in.Plan.Steps)-1].Number
	switch until := safeStop(in.Plan, n); {
	case n == last:
		return ""
	case until == n:
		return w.say("step.stop")
	default:
		return w.say("step.stop.not", "step", stepName(w, until))
	}
}

// stepFacts are what the technician looks for on the device and its screen. Of
// several files those that nobody touches are left out.
func stepFacts(w speech, in Input, s order.Step, r *manifest.Release) []Fact {
	if s.Route != "" {
		return routeFacts(w, in, s)
	}
	folder := Fact{w.say("step.folder"), name(s.Folder), true}
	if s.Folder == "" {
		folder = Fact{w.say("step.folder"), w.say("step.folder.root"), false}
	}
	facts := []Fact{folder}
	for _, f := range s.Files {
		if r.Touches(f.Name) {
			facts = append(facts, Fact{w.say("step.file"), name(f.Name), true})
		}
	}
	model := in.model(s.Model)
	return filled(append(facts,
		Fact{w.say("step.shown"), shownAt(w, in, s.Model), false},
		Fact{w.say("step.restarts"), clause(model.Restarts), false},
		Fact{w.say("step.leave"), clause(model.LeaveAlone), false},
	)...)
}

// place is where a device is, with the serial number that tells it from others.
func place(w speech, in Input, device string) string {
	d := in.device(device)
	if d.Serial == "" {
		return prose(d.Place)
	}
	return list([]string{prose(d.Place), w.say("step.serial", "serial", name(d.Serial))})
}

// wouldTake are the devices aboard that install by themselves and that this
// step isn't for.
func wouldTake(in Input, s order.Step) []string {
	var all []string
	for _, d := range in.Vessel.Devices {
		if in.installsAtPowerUp(d.ID) && d.ID != s.Device {
			all = append(all, d.ID)
		}
	}
	return all
}

// do is what is done in one step, in order.
func do(w speech, in Input, s order.Step) []string {
	all := byRoute(w, in, s)
	if s.Route == "" {
		all = append(cardIn(w, in, s), begin(w, in, s)...)
		all = append(all, cardOut(w, in, s)...)
	}
	for _, o := range in.Plan.OutOfService {
		if o.ToStep == s.Number {
			all = append(all, w.say("step.window.to", "device", name(o.Device)))
		}
	}
	return all
}

// cardIn is how the card comes into the slot. A device that installs at
// power-up gets it while it is off for its own step, and while it runs for a
// step that it passes on.
func cardIn(w speech, in Input, s order.Step) []string {
	h := host(s)
	fill := append(cardFill(in, s.Card), "device", name(h))
	switch {
	case in.installsAtPowerUp(h) && s.Through == "":
		return []string{w.say("step.off", "device", name(h)), w.say("step.insert", fill...)}
	case in.installsAtPowerUp(h):
		return []string{w.say("step.insert.running", fill...)}
	case s.Route == "" && staysFrom(in, s.Number-1):
		return []string{w.say("step.stays", fill...)}
	}
	return []string{w.say("step.insert", fill...)}
}

// staysFrom reports whether the card stays in its slot after step n: the next
// step takes the same card in the same device, and that device doesn't install
// at power-up.
func staysFrom(in Input, n int) bool {
	steps := in.Plan.Steps
	i := slices.IndexFunc(steps, func(s order.Step) bool { return s.Number == n })
	if i < 0 || i+1 == len(steps) {
		return false
	}
	now, next := steps[i], steps[i+1]
	return host(now) == host(next) && now.Card == next.Card && next.Route == "" && !in.installsAtPowerUp(host(now))
}

// begin is how the update is started: in the maker's words where the catalogue
// has them.
func begin(w speech, in Input, s order.Step) []string {
	var all []string
	text := in.model(s.Model).Install
	switch {
	case in.installsAtPowerUp(s.Device) && s.Through == "" && text == "":
		all = append(all, w.say("step.power.any", "device", name(s.Device)))
	case in.installsAtPowerUp(s.Device) && s.Through == "":
		all = append(all, w.say("step.power", "device", name(s.Device)))
	case text != "":
	case s.Through != "":
		all = append(all, w.say("step.choose.through", "host", name(s.Through), "device", name(s.Device)))
	default:
		all = append(all, w.say("step.choose", "device", name(s.Device)))
	}
	if text != "" {
		all = append(all, prose(text))
	}
	return all
}

// cardOut is when the card leaves the slot.
func cardOut(w speech, in Input, s order.Step) []string {
	if staysFrom(in, s.Number) {
		return nil
	}
	key := "step.out"
	switch {
	case in.installsAtPowerUp(host(s)) && s.Through == "":
		key = "step.out.power.own"
	case in.installsAtPowerUp(host(s)):
		key = "step.out.power"
	case s.Through == "":
		key = "step.out.own"
	}
	return []string{w.say(key, "device", name(s.Device), "host", name(host(s)))}
}
