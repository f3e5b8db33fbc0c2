package main

import (
	"fmt"
	"io"
	"slices"
	"strings"

	"cardwright/manifest"
	"cardwright/manifest/order"
	"cardwright/media"
	"cardwright/verify/visible"
)

// writeUnread says which versions to read first, and what would follow.
func writeUnread(w io.Writer, vessel *manifest.Vessel, plan order.Plan, inDoubt func(device string) bool) {
	fmt.Fprintf(w, "%s: first read the version off %s; nothing is planned on a guess.\n\n",
		visible.Visible(vessel.Name), counted(len(plan.Unknown), "device"))
	writeReadings(w, vessel, plan, inDoubt)
	for _, l := range plan.LeftOut {
		if len(l.Unknown) == 0 {
			writeLeft(w, l)
		}
	}
	writeNotes(w, plan.Notes)
}

func writeReadings(w io.Writer, vessel *manifest.Vessel, plan order.Plan, inDoubt func(device string) bool) {
	for _, r := range plan.Unknown {
		what := r.Model
		if r.Place != "" {
			what += ", " + r.Place
		}
		text := fmt.Sprintf("%s (%s): switch it on, read its version, write it at %s", r.Device, what, r.At)
		if inDoubt(r.Device) {
			text = fmt.Sprintf("%s (%s): switch it on, read its version, and note it: cardwright record %s --read %s=VERSION", r.Device, what, vessel.ID, r.Device)
		}
		fmt.Fprintf(w, "  - %s\n", wrapped(text, "    "))
	}
	for i, a := range plan.Answers {
		if i == 0 {
			fmt.Fprintln(w, "\nWhat to do, by the versions read")
		}
		fmt.Fprintf(w, "  - %s\n", wrapped(foundText(plan.Unknown, a)+": "+followsText(a.Then), "    "))
	}
}

func foundText(unknown []order.Reading, a order.Answer) string {
	parts := make([]string, len(a.Found))
	for i, v := range a.Found {
		parts[i] = unknown[i].Device + " " + string(v)
	}
	return strings.Join(parts, ", ")
}

func followsText(p order.Plan) string {
	switch {
	case p.Conflict != nil && p.WayBack:
		return "no way back"
	case p.Conflict != nil:
		return "no safe order"
	}
	if len(p.Steps) == 0 {
		return "nothing to do"
	}
	parts := make([]string, len(p.Steps))
	for i, s := range p.Steps {
		parts[i] = s.Device + " to " + string(s.To)
	}
	return fmt.Sprintf("%s%s, %s (%s)", part(p), counted(len(p.Steps), "step"), timeText(p.Time), strings.Join(parts, ", "))
}

func writePlan(w io.Writer, shop *manifest.Shop, vessel *manifest.Vessel, plan order.Plan, behind behind, inDoubt func(device string) bool) {
	name := visible.Visible(vessel.Name)
	switch {
	case plan.Conflict != nil && plan.WayBack:
		fmt.Fprintf(w, "%s: no way back.\n", visible.Visible(vessel.Name))
		writeBecause(w, plan.Conflict)
	case plan.WayBack && len(plan.Steps) == 0:
		fmt.Fprintf(w, "%s: no way back: no step of the plan has one.\n", visible.Visible(vessel.Name))
	case plan.Conflict != nil:
		writeConflict(w, vessel, plan)
	case len(plan.Later) > 0 && len(plan.Steps) == 0:
		fmt.Fprintf(w, "%s: nothing that ends with everything fitting together is sure to be done in the time.\n", name)
	case behind.blocked:
		fmt.Fprintf(w, "%s: nothing can be done for %s alone.\n", name, strings.Join(behind.only, ", "))
	case len(plan.Steps) == 0:
		fmt.Fprintf(w, "%s: nothing to do; every device runs the newest release that fits.\n", name)
	default:
		writeSteps(w, name, plan)
		writeInShop(w, shop, vessel, plan)
		writeWayBack(w, vessel, plan)
	}
	if plan.Conflict == nil {
		writeAllLeft(w, vessel, plan, inDoubt)
	}
	behind.write(w)
	writeNotes(w, plan.NotesBeside(behind.stays))
}

func writeSteps(w io.Writer, name string, plan order.Plan) {
	fmt.Fprintf(w, "%s: %s%s on %s, %s.\n", name, part(plan),
		counted(len(plan.Steps), "step"), counted(len(plan.Cards), "card"), timeText(plan.Time))
	if left := leftDevices(plan); len(left) > 0 {
		fmt.Fprintln(w, wrapped("Left out: "+strings.Join(left, ", ")+"; the reasons are below.", "  "))
	}
	writeTime(w, plan.Time)
	fmt.Fprintln(w)
	for _, step := range plan.Steps {
		writeStep(w, step)
	}
	writeCards(w, plan.Cards)
	if len(plan.Cards) == 0 && len(plan.OutOfService) > 0 {
		fmt.Fprintln(w)
	}
	writeOutOfService(w, plan.OutOfService)
	writeStops(w, plan)
}

// part says before a plan's steps that they are a part of the work, or a way back.
func part(plan order.Plan) string {
	if plan.WayBack {
		return "WAY BACK, "
	}
	if len(plan.LeftOut)+len(plan.Later) == 0 {
		return ""
	}
	return "PART of the work, "
}

func leftDevices(plan order.Plan) (all []string) {
	for _, l := range plan.LeftOut {
		all = append(all, l.Devices...)
	}
	return all
}

func writeStep(w io.Writer, s order.Step) {
	fmt.Fprintf(w, "%3d. %s (%s)%s\n", s.Number, s.Device, s.Model, through(s))
	switch {
	case s.Route != "":
		fmt.Fprintf(w, "     %s → %s, %s, %s\n", s.From, s.To, stepMinutes(s), routeWords[s.Route])
	case s.Card == 0:
		fmt.Fprintf(w, "     %s → %s, %s, on no card: the catalogue has no file for it\n", s.From, s.To, stepMinutes(s))
	default:
		fmt.Fprintf(w, "     %s → %s, %s, card %d, folder %s\n", s.From, s.To, stepMinutes(s), s.Card, visible.Visible("/"+s.Folder))
	}
	if s.Back != nil && s.Back.To == "" {
		fmt.Fprintln(w, wrappedAfter("     NO WAY BACK: ", s.Back.None, "       "))
	}
	if len(s.Why) > 0 {
		const named = 3
		fmt.Fprintln(w, wrappedAfter("     because: ", strings.Join(s.Why[:min(len(s.Why), named)], "; "), "       "))
	}
}

// routeWords say how a step is done that comes from no card.
var routeWords = map[string]string{
	manifest.ByCable: "by cable from the shop's laptop", manifest.ByProgram: "by the maker's program on the shop's laptop", manifest.ByMaker: "by the maker only",
}

// writeInShop says which files the steps that come from no card need.
func writeInShop(w io.Writer, shop *manifest.Shop, vessel *manifest.Vessel, plan order.Plan) {
	var lines []string
	for _, s := range plan.Steps {
		if s.Route == "" || s.Route == manifest.ByMaker {
			continue
		}
		files := media.InShop(shop, vessel, s)
		if len(files) == 0 {
			lines = append(lines, fmt.Sprintf("step %d (%s): the catalogue has no file for it", s.Number, s.Device))
		}
		for _, file := range files {
			lines = append(lines, fmt.Sprintf("step %d (%s): %s", s.Number, s.Device, file))
		}
		for _, err := range media.NotInShop(shop, vessel, s) {
			lines = append(lines, fmt.Sprintf("NOT AT HAND, step %d (%s): %v", s.Number, s.Device, err))
		}
	}
	for i, line := range lines {
		if i == 0 {
			fmt.Fprintln(w, "\nFiles for the laptop, in the shop folder")
		}
		fmt.Fprintf(w, "  - %s\n", wrapped(visible.Visible(line), "    "))
	}
}

func stepMinutes(s order.Step) string {
	if s.Minutes == 0 {
		return "minutes not given"
	}
	return counted(s.Minutes, "minute")
}

func through(s order.Step) string {
	if s.Through == "" {
		return ""
	}
	return ", updated through " + s.Through
}

func writeCards(w io.Writer, cards []order.Card) {
	for i, c := range cards {
		if i == 0 {
			fmt.Fprintln(w)
		}
		text := fmt.Sprintf("Card %d: %s of packages for %s; it needs a card of at least %s.",
			c.Number, media.Bytes(c.Bytes), strings.Join(c.Devices, ", "), media.Bytes(c.Needed))
		fmt.Fprintln(w, wrapped(text, "        "))
	}
}

func writeOutOfService(w io.Writer, windows []order.OutOfService) {
	for _, o := range windows {
		text := fmt.Sprintf("%s is out of service from step %d to step %d, %s: stay alongside.",
			o.Device, o.FromStep, o.ToStep, atLeast(o.Minutes, o.AtLeast))
		fmt.Fprintln(w, wrapped(text, "        "))
	}
}

// writeWayBack says which steps have a way back, and how its card is made; of a way
// back, where the card must not be left.
func writeWayBack(w io.Writer, vessel *manifest.Vessel, plan order.Plan) {
	if plan.WayBack {
		fmt.Fprintf(w, "\n%s\n", wrapped("Keep WAY BACK cards apart from those of updates, and out of every device that installs at power-up until its step comes.", "  "))
		return
	}
	var steps, losing []string
	for _, s := range plan.Steps {
		if s.Back == nil || s.Back.To == "" {
			continue
		}
		steps = append(steps, fmt.Sprint(s.Number))
		if s.Back.Settings != manifest.SettingsKept {
			losing = append(losing, s.Device)
		}
	}
	if len(steps) == 0 {
		return
	}
	text := fmt.Sprintf("Way back: for step %s.", strings.Join(steps, ", "))
	if len(losing) > 0 {
		slices.Sort(losing)
		text += " Going back may lose the settings of " + strings.Join(slices.Compact(losing), ", ") + "."
	}
	fmt.Fprintf(w, "\n%s\n  cardwright prepare %s --way-back --to TARGET\n", wrapped(text+" Its card:", "  "), vessel.ID)
}

// writeStops says after which steps the work can stop: the tide decides.
func writeStops(w io.Writer, plan order.Plan) {
	var stops []string
	for _, s := range plan.Steps {
		if s.Stop {
			stops = append(stops, fmt.Sprint(s.Number))
		}
	}
	if len(plan.Steps) < 2 || len(stops) == 0 {
		return
	}
	but := ""
	if len(plan.LeftOut) > 0 {
		but = ", but for what is left out"
	}
	text := fmt.Sprintf("Safe to stop, with the checks so far made, after step %s. What is aboard then fits together%s.", strings.Join(stops, ", "), but)
	fmt.Fprintf(w, "\n%s\n", wrapped(text, "  "))
}

func writeNotes(w io.Writer, notes []string) {
	for i, n := range notes {
		if i == 0 {
			fmt.Fprintln(w)
		}
		word := "Note"
		for _, graver := range []string{"Warning", "Risk"} {
			if rest, ok := strings.CutPrefix(n, strings.ToLower(graver)+": "); ok {
				word, n = graver, rest
			}
		}
		fmt.Fprintln(w, wrappedAfter(word+": ", n, "      "))
	}
}

// writeConflict writes a plan without steps; what is not left out in it runs the
// newest that fits.
func writeConflict(w io.Writer, vessel *manifest.Vessel, plan order.Plan) {
	left := leftDevices(plan)
	if len(left) == len(vessel.Devices) {
		fmt.Fprintf(w, "%s: no safe order.\n", visible.Visible(vessel.Name))
	} else {
		text := fmt.Sprintf("%s: no safe order for %s. Nothing to do for the others: they run the newest releases that fit.",
			visible.Visible(vessel.Name), strings.Join(left, ", "))
		fmt.Fprintln(w, wrapped(text, "  "))
	}
	if len(plan.LeftOut) < 2 {
		writeBecause(w, plan.Conflict)
		return
	}
	for _, l := range plan.LeftOut {
		writeLeft(w, l)
	}
}

// partOf says behind a card's name that its plan is a part of the work, or a way back.
func partOf(plan order.Plan) string {
	if plan.WayBack {
		return ", WAY BACK"
	}
	if part(plan) == "" {
		return ""
	}
	return ", PART of the work"
}

// writeAllLeft says what a part of the work leaves out, and why.
func writeAllLeft(w io.Writer, vessel *manifest.Vessel, plan order.Plan, inDoubt func(device string) bool) {
	for _, l := range plan.LeftOut {
		if len(l.Unknown) == 0 {
			writeLeft(w, l)
		}
	}
	for _, l := range plan.LeftOut {
		if len(l.Unknown) > 0 {
			fmt.Fprintf(w, "\n%s\n", wrapped(fmt.Sprintf("Left out: %s. First read the version off %s; nothing is planned on a guess.",
				strings.Join(l.Devices, ", "), strings.Join(l.Unknown, ", ")), "  "))
		}
	}
	writeReadings(w, vessel, plan, inDoubt)
}

// writeLeft writes one group that is left out, and why.
func writeLeft(w io.Writer, l order.LeftOut) {
	if l.Conflict == nil {
		fmt.Fprintf(w, "\n%s\n", wrapped(fmt.Sprintf("Left out: %s. Gave up without an answer: %s.", strings.Join(l.Devices, ", "), l.GaveUp), "  "))
		return
	}
	fmt.Fprintf(w, "\n%s\n", wrapped("Left out, with no safe order: "+strings.Join(l.Devices, ", ")+".", "  "))
	writeBecause(w, l.Conflict)
	if len(l.Conflict.WouldFree) == 0 {
		fmt.Fprintln(w, "No single change frees it.")
	}
}

func writeBecause(w io.Writer, c *order.Conflict) {
	fmt.Fprintf(w, "\nBecause\n")
	for _, f := range c.Because {
		fmt.Fprintf(w, "  - %s\n", wrapped(f.Fact, "    "))
		if at := f.At.String(); at != "" { // a request has no position in a file
			fmt.Fprintf(w, "    (%s)\n", visible.Visible(at))
		}
	}
	if len(c.WouldFree) > 0 {
		fmt.Fprintln(w, "\nAny one of these would free it")
		for _, change := range c.WouldFree {
			fmt.Fprintf(w, "  - %s\n", wrapped(change, "    "))
		}
	}
}

// timeText is how long a plan's work takes, in minutes.
func timeText(t order.Time) string { return atLeast(t.Minutes(), t.AtLeast()) }

func atLeast(minutes int, more bool) string {
	switch {
	case more && minutes == 0:
		return "time unknown"
	case more:
		return "at least " + counted(minutes, "minute")
	}
	return counted(minutes, "minute")
}

// writeTime says what the time is made of, and what it leaves out.
func writeTime(w io.Writer, t order.Time) {
	if t.Checks+t.Settings > 0 {
		parts := []string{fmt.Sprintf("%d for updates", t.Steps)}
		if t.Checks > 0 {
			parts = append(parts, fmt.Sprintf("%d for checks", t.Checks))
		}
		if t.Settings > 0 {
			parts = append(parts, fmt.Sprintf("%d to enter settings again", t.Settings))
		}
		fmt.Fprintf(w, "%s.\n", strings.Join(parts, ", "))
	}
	if n := len(t.Missing); n > 0 {
		const named = 3
		missing := strings.Join(t.Missing[:min(n, named)], "; ")
		if n > named {
			missing += fmt.Sprintf("; and %d more", n-named)
		}
		fmt.Fprintln(w, wrapped("No time is written down for "+missing+".", "  "))
	}
}
