package sheet

import (
	"fmt"
	"maps"
	"slices"
	"strconv"

	"cardwright/manifest"
	"cardwright/manifest/order"
)

// summary is what stands first: what is done, how long it takes, until when
// which device is out of use, what can't be undone.
func summary(w speech, in Input) Section {
	s := Section{ID: "summary", Title: w.say("summary")}
	s.Blocks = append(s.Blocks, backCautions(w, in)...)
	s.Blocks = append(s.Blocks, Caution(w.say("first.maker")), Paragraph(total(w, in)))
	for _, o := range in.Plan.OutOfService {
		s.Blocks = append(s.Blocks, Caution(outOfService(w, in, o)))
	}
	var one, lost []int
	for _, step := range in.Plan.Steps {
		if in.oneWay(step) {
			one = append(one, step.Number)
		}
		if in.settings(step) == manifest.SettingsLost {
			lost = append(lost, step.Number)
		}
	}
	if len(one) > 0 {
		s.Blocks = append(s.Blocks, Caution(w.say("summary.one-way", "steps", w.numbers(one))))
	}
	if len(lost) > 0 {
		s.Blocks = append(s.Blocks, Caution(w.say("summary.lost", "steps", w.numbers(lost))))
	}
	s.Blocks = append(s.Blocks, openElsewhere(in)...)
	s.Blocks = append(s.Blocks, heldBack(w, in)...)
	s.Blocks = append(s.Blocks, untilWords(w, in)...)
	if len(in.Plan.Steps) > 1 {
		s.Blocks = append(s.Blocks, timetable(w, in), Paragraph(w.say("summary.stop")))
	}
	return s
}

// openElsewhere is what is open about devices that no step is about.
func openElsewhere(in Input) (cautions []Block) {
	for _, device := range slices.Sorted(maps.Keys(in.Open)) {
		if slices.ContainsFunc(in.Plan.Steps, func(s order.Step) bool { return s.Device == device }) {
			continue
		}
		for _, open := range in.Open[device] {
			cautions = append(cautions, Caution(name(device)+": "+prose(open)))
		}
	}
	return cautions
}

// backCautions say what a way back is, and where its cards must not be left.
func backCautions(w speech, in Input) []Block {
	if !in.Plan.WayBack {
		return nil
	}
	all := []Block{Caution(w.say("back.caution"))}
	var powerUp []string
	for _, d := range in.Vessel.Devices {
		if in.installsAtPowerUp(d.ID) {
			powerUp = append(powerUp, d.ID)
		}
	}
	if powerUp != nil {
		all = append(all, Caution(w.say("back.power-up", "devices", names(powerUp))))
	}
	if in.Plan.Steps[0].Undoes > 0 {
		all = append(all, Caution(w.say("back.undo")))
	}
	return all
}

// total counts the steps and tells how long the work takes, as the plan does.
func total(w speech, in Input) string {
	t := in.Plan.Time
	steps, cards := counted(w, "steps", len(in.Plan.Steps)), counted(w, "cards", len(in.Plan.Cards))
	switch {
	case t.Minutes() == 0:
		return w.say("total.unsaid", "steps", steps, "cards", cards)
	case t.AtLeast():
		return w.say("total.least", "steps", steps, "cards", cards, "minutes", w.minutes(t.Minutes()), "missing", strconv.Itoa(len(t.Missing)))
	}
	return w.say("total", "steps", steps, "cards", cards, "minutes", w.minutes(t.Minutes()))
}

// counted is a number with its noun: of one, or of many.
func counted(w speech, noun string, n int) string {
	if n == 1 {
		return w.say("counted." + noun + ".one")
	}
	return w.say("counted."+noun, "n", strconv.Itoa(n))
}

// outOfService says which device doesn't work, from which step to which, and how
// long that is.
func outOfService(w speech, in Input, o order.OutOfService) string {
	return w.say("summary.out", "device", name(o.Device),
		"from", stepName(w, o.FromStep), "to", stepName(w, o.ToStep), "minutes", duration(w, in, o.FromStep, o.ToStep))
}

// atLeast writes a time that may have unknown parts.
func atLeast(w speech, minutes int, least bool) string {
	switch {
	case minutes == 0:
		return w.say("step.minutes.unsaid")
	case least:
		return w.say("least", "minutes", w.minutes(minutes))
	}
	return w.minutes(minutes)
}

// timetable is a row for each step: what runs, what will, when on the clock that
// starts with step 1, how long it is to a point where the work may stop, and a
// box for the version that was read before any step began.
func timetable(w speech, in Input) Table {
	t := Table{Narrow: true, Head: []string{
		w.say("time.step"), w.say("time.device"), w.say("time.now"), w.say("time.then"), w.say("time.clock"), w.say("time.stop"), w.say("time.read"),
	}}
	var seen []string
	for i, s := range in.Plan.Steps {
		stop := safeStop(in.Plan, s.Number)
		row := Row{Cells: []string{
			strconv.Itoa(s.Number), name(s.Device), w.version(s.From), name(string(s.To)), clock(w, in, s.Number),
			toStop(w, in, s.Number, stop),
		}}
		if !slices.Contains(seen, s.Device) {
			seen = append(seen, s.Device)
			row.Tick = fmt.Sprintf("seen-%d", i+1)
		}
		t.Rows = append(t.Rows, row)
	}
	return t
}

// toStop is how long a step and those behind it take to a safe stop, and, where
// the time that there is was given, by when it has to begin.
func toStop(w speech, in Input, n, stop int) string {
	fill := []string{"minutes", duration(w, in, n, stop), "step", strconv.Itoa(stop), "by", beginBy(in, n)}
	if beginBy(in, n) != "" {
		return w.say("time.until.by", fill...)
	}
	return w.say("time.until", fill...)
}

// duration is how long it is from the start of one step to the end of another.
func duration(w speech, in Input, from, to int) string {
	long, least := minutesOf(in.Plan.Steps, from, to)
	return atLeast(w, long, least)
}

// clock is when a step begins and ends, in hours and minutes from the start of
// the first.
func clock(w speech, in Input, n int) string {
	before, unsaid := minutesOf(in.Plan.Steps, 0, n-1)
	after, _ := minutesOf(in.Plan.Steps, 0, n)
	key := "clock"
	if unsaid {
		key = "clock.least"
	}
	if after == before { // no time for this one
		return w.say(key+".open", "from", hours(before))
	}
	return w.say(key, "from", hours(before), "to", hours(after))
}

func hours(minutes int) string { return fmt.Sprintf("%d:%02d", minutes/60, minutes%60) }

func stepName(w speech, n int) string { return w.say("step.name", "n", strconv.Itoa(n)) }

// heldBack says which devices the customer wants kept where they are, and which
// are left on a release that its maker has withdrawn.
func heldBack(w speech, in Input) []Block {
	var all []Block
	for _, d := range in.untouched() {
		if r := in.model(d.Model).Release(d.Version, d.Variant); r != nil && r.Withdrawn != "" {
			all = append(all, Caution(w.say("withdrawn.left", "device", name(d.ID), "version", w.version(d.Version), "why", clause(r.Withdrawn))))
		}
	}
	for _, d := range in.Vessel.Devices {
		switch {
		case len(d.Hold) == 0:
		case d.HoldWhy == "":
			all = append(all, Paragraph(w.say("hold.unsaid", "device", name(d.ID), "range", name(d.Hold.String()))))
		default:
			all = append(all, Paragraph(w.say("hold", "device", name(d.ID), "range", name(d.Hold.String()), "why", clause(d.HoldWhy))))
		}
	}
	return all
}
