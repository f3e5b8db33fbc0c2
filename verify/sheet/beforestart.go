package sheet

import (
	"slices"
	"strconv"
	"strings"

	"cardwright/manifest"
	"cardwright/manifest/order"
)

// tick is something to do, its id that of its words.
func tick(w speech, key string, fill ...string) Tick {
	return Tick{ID: id(key), Text: w.say(key, fill...)}
}

// id makes a key of the words into an id that HTML and JSON take.
func id(key string) string { return strings.NewReplacer(".", "-", " ", "-").Replace(key) }

// blank is a line to fill in, its id that of its words.
func blank(w speech, key string) Blank { return Blank{ID: id(key), Label: w.say(key)} }

// leaving is what must be right before the van leaves the shop.
func leaving(w speech, in Input) Section {
	s := Section{ID: "leave", Title: w.say("leave"), Folded: true}
	if len(in.Plan.Cards) > 0 {
		s.Blocks = append(s.Blocks, tick(w, "leave.cards", "cards", cardsToTake(w, in)))
	}
	if files := filesToTake(in); files != "" {
		s.Blocks = append(s.Blocks, tick(w, "route.files", "files", files))
	}
	if slots := slots(in); slots != "" {
		s.Blocks = append(s.Blocks, tick(w, "leave.slots", "slots", slots))
	}
	told := tick(w, "leave.told")
	told.Blanks = []Blank{blank(w, "leave.told.who"), blank(w, "leave.told.by")}
	s.Blocks = append(s.Blocks, tick(w, "leave.maker"))
	if back := withWayBack(in); back != "" {
		s.Blocks = append(s.Blocks, tick(w, "leave.back", "devices", back))
	}
	s.Blocks = append(s.Blocks, tick(w, "leave.kit"), told)
	return s
}

// cardsToTake names the cards as they are labelled.
func cardsToTake(w speech, in Input) string {
	var all []string
	for _, c := range in.Plan.Cards {
		text := cardName(w, in, c.Number)
		if s := in.card(c.Number); s != nil && s.Label != "" {
			text = w.say("leave.label", "card", text, "label", onLabel(in, *s))
		}
		all = append(all, text)
	}
	return list(all)
}

// withWayBack are the devices that there is a way back for, after one of their steps.
func withWayBack(in Input) string {
	var all []string
	for _, s := range in.Plan.Steps {
		if r := in.release(s); !in.Plan.WayBack && r.WayBack != nil && *r.WayBack && (s.Back == nil || s.Back.To != "") && !slices.Contains(all, s.Device) {
			all = append(all, s.Device)
		}
	}
	return names(all)
}

// slots are the kinds of slot that the cards go into, with their devices.
func slots(in Input) string {
	var kinds []string
	devices := map[string][]string{}
	for _, d := range in.hosts() {
		rules := in.model(in.device(d).Model).Card
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

// starting is what must be right aboard before the first step.
func starting(w speech, in Input) Section {
	s := Section{ID: "start", Title: w.say("start"), Folded: true}
	s.Blocks = append(s.Blocks, tick(w, "start.berth"), tick(w, "start.needed"), supply(w, in), tick(w, "start.engine"))
	if pilots := in.pilots(); len(pilots) > 0 {
		s.Blocks = append(s.Blocks, tick(w, "start.pilot", "devices", names(pilots)))
	}
	settings := tick(w, "start.settings")
	settings.Blanks = []Blank{blank(w, "start.settings.where")}
	s.Blocks = append(s.Blocks, settings, tick(w, "start.versions"))
	undo := in.Plan.Steps[0].Undoes > 0 // then others may have got theirs
	if rest := in.untouched(); len(rest) > 0 && !undo {
		s.Blocks = append(s.Blocks, restAboard(w, in, rest))
	}
	s.Blocks = append(s.Blocks, ownClock(w, in)...)
	return s
}

// restAboard are the devices that no step is for: they must run what the plan
// was made with.
func restAboard(w speech, in Input, rest []*manifest.Device) Boxes {
	var all Boxes
	for i, d := range rest {
		all = append(all, Box{
			ID: "rest-" + strconv.Itoa(i+1), Text: name(d.ID) + " " + w.version(d.Version), Note: shownAt(w, in, d.Model),
		})
	}
	return all
}

// shownAt says where a model shows its version.
func shownAt(w speech, in Input, model string) string {
	if at := clause(in.model(model).VersionShown); at != "" {
		return at
	}
	return w.say("step.shown.any")
}

// supply is steady when it is measured with everything on.
func supply(w speech, in Input) Tick {
	t := tick(w, "start.supply")
	if v := in.Vessel.Supply; v != "" {
		t.Text = w.say("start.supply.aboard", "supply", prose(v))
	}
	if strings.HasPrefix(strings.TrimSpace(in.Vessel.Supply), "12") {
		t.Notes = []string{w.say("start.supply.battery", "practice", w.say("practice"))}
	}
	t.Blanks = []Blank{blank(w, "start.supply.volts"), blank(w, "start.supply.load")}
	return t
}

// versionsAboard is the table of what runs on each device, to be read where
// there is no order of steps.
func versionsAboard(w speech, in Input) Section {
	t := Table{Head: []string{
		w.say("versions.device"), w.say("versions.model"), w.say("versions.serial"), w.say("rest.where"),
		w.say("versions.file"), w.say("versions.read"),
	}}
	for i, d := range in.Vessel.Devices {
		t.Rows = append(t.Rows, Row{
			Cells: []string{
				name(d.ID), list([]string{in.modelName(d.Model), prose(d.Place)}), name(d.Serial), shownAt(w, in, d.Model), w.version(d.Version),
			},
			Blank: &Blank{ID: "read-" + strconv.Itoa(i+1), For: d.ID, Label: w.say("versions.read"), Want: known(d.Version)},
		})
	}
	return Section{ID: "versions", Title: w.say("versions"), Blocks: []Block{t}}
}

// whatFollows says, for devices whose version is unknown, which versions are
// likely and what would be done for each.
func whatFollows(w speech, in Input) Section {
	s := Section{ID: "unknown", Title: w.say("unknown")}
	for _, r := range in.Plan.Unknown {
		likely := make([]string, len(r.Likely))
		for i, v := range r.Likely {
			likely[i] = w.version(v)
		}
		s.Blocks = append(s.Blocks, Paragraph(w.say("unknown.likely",
			"device", name(r.Device), "versions", strings.Join(likely, ", "), "at", name(r.At.String()))))
	}
	for _, a := range in.Plan.Answers {
		s.Blocks = append(s.Blocks, Paragraph(follows(w, in, a)))
	}
	return s
}

// follows says what is done when the unknown versions turn out to be these.
func follows(w speech, in Input, a order.Answer) string {
	var found, steps []string
	for i, v := range a.Found[:min(len(a.Found), len(in.Plan.Unknown))] {
		found = append(found, w.say("unknown.found", "device", name(in.Plan.Unknown[i].Device), "version", w.version(v)))
	}
	for _, s := range a.Then.Steps {
		steps = append(steps, w.say("unknown.step", "device", name(s.Device), "from", w.version(s.From), "to", w.version(s.To)))
	}
	switch {
	case a.Then.Conflict != nil:
		return w.say("unknown.conflict", "found", list(found))
	case len(steps) == 0:
		return w.say("unknown.nothing", "found", list(found))
	}
	return w.say("unknown.steps", "found", list(found), "n", strconv.Itoa(len(steps)), "steps", list(steps))
}
