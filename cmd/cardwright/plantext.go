package main

import (
	"fmt"
	"io"
	"strings"

	"cardwright/manifest"
	"cardwright/manifest/order"
	"cardwright/media"
	"cardwright/verify/visible"
)

// writeUnread says which versions to read first, and what would follow.
func writeUnread(w io.Writer, vessel *manifest.Vessel, unread *order.Unread, plan order.Plan, inDoubt func(device string) bool) {
	fmt.Fprintf(w, "%s: first read the version off %s; nothing is planned by guess.\n\n",
		visible.Visible(vessel.Name), counted(len(unread.Devices), "device"))
	for _, r := range unread.Devices {
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
			fmt.Fprintln(w, "\nWhat follows, by what is read")
		}
		fmt.Fprintf(w, "  - %s\n", wrapped(foundText(unread, a)+": "+followsText(a.Then), "    "))
	}
	fmt.Fprintf(w, "\nWhat is not connected with it can be planned:\n  cardwright plan %s --around\n", vessel.ID)
	writeNotes(w, plan.Notes)
}

func foundText(unread *order.Unread, a order.Answer) string {
	parts := make([]string, len(a.Found))
	for i, v := range a.Found {
		parts[i] = unread.Devices[i].Device + " " + string(v)
	}
	return strings.Join(parts, ", ")
}

func followsText(p order.Plan) string {
	if p.Conflict != nil {
		return "no safe order"
	}
	if len(p.Steps) == 0 {
		return "nothing to do"
	}
	parts := make([]string, len(p.Steps))
	for i, s := range p.Steps {
		parts[i] = s.Device + " to " + string(s.To)
	}
	return fmt.Sprintf("%s, %s (%s)", counted(len(p.Steps), "step"), timeText(p.Time), strings.Join(parts, ", "))
}

func writePlan(w io.Writer, vessel *manifest.Vessel, plan order.Plan, behind behind) {
	switch {
	case plan.Conflict != nil:
		writeConflict(w, vessel, plan.Conflict)
		fmt.Fprintf(w, "\nWhat is not connected with it can be planned:\n  cardwright plan %s --around\n", vessel.ID)
	case len(plan.Later) > 0 && len(plan.Steps) == 0:
		fmt.Fprintf(w, "%s: nothing that ends with everything fitting together is sure to be done in the time.\n", visible.Visible(vessel.Name))
	case len(plan.LeftOut) > 0 && len(plan.Steps) == 0:
		fmt.Fprintf(w, "%s: nothing can be planned around what is blocked.\n", visible.Visible(vessel.Name))
	case behind.blocked():
		fmt.Fprintf(w, "%s: nothing can be done for %s alone.\n", visible.Visible(vessel.Name), strings.Join(behind.only, ", "))
	case len(plan.Steps) == 0:
		fmt.Fprintf(w, "%s: nothing to do; every device runs the newest release that fits.\n", visible.Visible(vessel.Name))
	default:
		part := ""
		if len(plan.LeftOut)+len(plan.Later) > 0 {
			part = "PART of the work, "
		}
		fmt.Fprintf(w, "%s: %s%s on %s, %s.\n", visible.Visible(vessel.Name), part,
			counted(len(plan.Steps), "step"), counted(len(plan.Cards), "card"), timeText(plan.Time))
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
		writeStops(w, plan.Steps)
	}
	for _, l := range plan.LeftOut {
		writeAround(w, l)
	}
	behind.write(w)
	writeNotes(w, behind.without(plan.Notes))
}

func writeStep(w io.Writer, s order.Step) {
	fmt.Fprintf(w, "%3d. %s (%s)%s\n", s.Number, s.Device, s.Model, through(s))
	if s.Card == 0 {
		fmt.Fprintf(w, "     %s → %s, %s, on no card: the catalogue has no file of it\n", s.From, s.To, stepMinutes(s))
	} else {
		fmt.Fprintf(w, "     %s → %s, %s, card %d, folder %s\n", s.From, s.To, stepMinutes(s), s.Card, visible.Visible("/"+s.Folder))
	}
	if len(s.Why) > 0 {
		const named = 3
		fmt.Fprintln(w, wrappedAfter("     because: ", strings.Join(s.Why[:min(len(s.Why), named)], "; "), "       "))
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

// writeStops says after which steps the work can stop: the tide decides.
func writeStops(w io.Writer, steps []order.Step) {
	var stops []string
	for _, s := range steps {
		if s.Stop {
			stops = append(stops, fmt.Sprint(s.Number))
		}
	}
	if len(steps) < 2 || len(stops) == 0 {
		return
	}
	text := fmt.Sprintf("Safe to stop, with the checks so far made, after step %s. What is aboard then fits together.", strings.Join(stops, ", "))
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

func writeConflict(w io.Writer, vessel *manifest.Vessel, c *order.Conflict) {
	fmt.Fprintf(w, "%s: no safe order.\n", visible.Visible(vessel.Name))
	writeBecause(w, c)
}

// partOf says behind a card's name that its plan is a part of the work.
func partOf(plan order.Plan) string {
	if len(plan.LeftOut)+len(plan.Later) == 0 {
		return ""
	}
	return ", PART of the work"
}

// writeAround says what a part of the work leaves out, and why.
func writeAround(w io.Writer, l order.LeftOut) {
	fmt.Fprintf(w, "\n%s\n", wrapped("Left out: "+strings.Join(l.Devices, ", ")+".", "  "))
	if l.Conflict != nil {
		writeBecause(w, l.Conflict)
		return
	}
	fmt.Fprintln(w, wrapped("First read the version of "+strings.Join(l.Unknown, ", ")+" off the device and write it down.", "  "))
}

func writeBecause(w io.Writer, c *order.Conflict) {
	fmt.Fprintf(w, "\nBecause\n")
	for _, f := range c.Because {
		fmt.Fprintf(w, "  - %s\n", wrapped(f.Fact, "    "))
		if at := f.At.String(); at != "" { // what was asked stands nowhere
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
