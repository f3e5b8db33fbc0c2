package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"strings"
	"text/tabwriter"

	"cardwright/manifest"
	"cardwright/manifest/order"
	"cardwright/media"
	"cardwright/media/readiness"
	"cardwright/verify/visible"
)

// fleetBlockers is how many things in the way are shown below the days of work.
const fleetBlockers = 10

// fleetPlan is the answer of plan --all.
type fleetPlan struct {
	Format   int              `json:"format"`
	Vessels  []order.Standing `json:"vessels"`
	Day      int              `json:"day_minutes"`
	Days     []order.Day      `json:"days"`
	Blockers []order.Blocker  `json:"in_the_way"` // what blocks the most vessels first
}

func runPlanAll(ctx context.Context, s *session, o planOptions) error {
	if len(o.ask.only) > 0 {
		return usage(fmt.Errorf("--only asks about one vessel; name it instead of --all"))
	}
	if o.ask.within != 0 {
		return usage(fmt.Errorf("--within plans a part of one vessel's work; name it instead of --all"))
	}
	if o.why != "" {
		return usage(fmt.Errorf("--why explains one vessel's device; name the vessel instead of --all"))
	}
	ask, err := o.ask.ask()
	if err != nil {
		return err
	}
	shop, err := s.shopFor("")
	if err != nil {
		return err
	}
	if err := learnFleet(ctx, s, shop); err != nil {
		return err
	}
	fleet, err := order.Fleet(shop, ask)
	if bad, ok := errors.AsType[*order.BadAsk](err); ok {
		return usage(bad)
	}
	if err != nil {
		return err
	}
	answer := fleetPlan{Format: 1, Vessels: fleet, Day: order.UsualDay, Blockers: readiness.Serve(shop, fleet)}
	if shop.DayHours > 0 {
		answer.Day = shop.DayHours * 60
	}
	answer.Days = order.Days(fleet, answer.Day)
	s.answer(answer, func(w io.Writer) { writeFleet(w, shop, answer, o.ask) })
	tellWhereFilesDiffer(s, shop)
	if len(s.elsewhere) > 0 {
		return &answered{exitUsage}
	}
	return fleetCode(fleet)
}

func fleetCode(fleet []order.Standing) error {
	var codes []int
	for _, f := range fleet {
		switch f.State {
		case order.ToBeRead, order.NotPlanned:
			codes = append(codes, exitCouldNot)
		case order.Blocked:
			codes = append(codes, exitNo)
		}
	}
	if c := first(codes); c != exitDone {
		return &answered{c}
	}
	return nil
}

func writeFleet(w io.Writer, shop *manifest.Shop, f fleetPlan, ask askOptions) {
	counts := map[order.State]int{}
	total, more := 0, false
	for _, v := range f.Vessels {
		counts[v.State]++
		total += v.Minutes
		more = more || v.AtLeast
	}
	fmt.Fprintln(w, wrapped(fmt.Sprintf("%s: %d due (%s), %d up to date, %d blocked, %d to be read first, %d not planned.",
		counted(len(f.Vessels), "vessel"), counts[order.Due], atLeast(total, more), counts[order.UpToDate],
		counts[order.Blocked], counts[order.ToBeRead], counts[order.NotPlanned]), ""))
	for _, d := range f.Days {
		writeDay(w, shop, f, d)
	}
	if len(f.Days) > 0 {
		fmt.Fprintln(w, "\nA day stays at one place: the way to it isn't counted. The cards for a boat:")
		words := "  cardwright prepare VESSEL --to TARGET"
		for _, flag := range ask.flags() {
			words += " " + media.ShellWord(flag)
		}
		fmt.Fprintln(w, words)
	}
	writeBlockers(w, f.Blockers)
	writeRest(w, f)
}

// writeDay writes which vessels one day of work serves, along the berths.
func writeDay(w io.Writer, shop *manifest.Shop, f fleetPlan, d order.Day) {
	name := fmt.Sprintf("Day %d", d.Number)
	if d.Days > 1 {
		name = fmt.Sprintf("Days %d to %d", d.Number, d.Number+d.Days-1)
	}
	fmt.Fprintf(w, "\n%s, %s: %s of %s\n", name, visible.Visible(or(d.Place, "no berth written down")),
		atLeast(d.Minutes, d.AtLeast), counted(d.Days*f.Day/60, "hour"))
	table := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	for _, id := range d.Vessels {
		berth := strings.TrimSpace(strings.TrimPrefix(strings.TrimPrefix(shop.Vessel(id).Berth, d.Place), ","))
		for _, v := range f.Vessels {
			if v.Vessel == id {
				fmt.Fprintf(table, "  %s\t%s\t%s\t%s\t%s\n", visible.Visible(berth), id, counted(v.Steps, "step"),
					atLeast(v.Minutes, v.AtLeast), cardsText(v.Cards)+partMark(v))
			}
		}
	}
	_ = table.Flush() // a broken pipe ends the process by itself
}

// cardsText is how many cards are to be made, and how large the largest has to be.
func cardsText(cards []order.Card) string {
	if len(cards) == 0 {
		return "no card"
	}
	var most int64
	for _, c := range cards {
		most = max(most, c.Needed)
	}
	size, _, _ := strings.Cut(media.Bytes(most), " (")
	return fmt.Sprintf("%s from %s", counted(len(cards), "card"), size)
}

func partMark(v order.Standing) string {
	if v.State == order.Due {
		return ""
	}
	return ", PART"
}

func writeBlockers(w io.Writer, all []order.Blocker) {
	for i, b := range all[:min(len(all), fleetBlockers)] {
		if i == 0 {
			fmt.Fprintln(w, "\nWhat is in the way, and of how many boats")
		}
		text := fmt.Sprintf("%d: %s", len(b.Vessels), visible.Visible(b.What))
		if at := b.At.String(); at != "" {
			text += " (" + visible.Visible(at) + ")"
		}
		const named = 5
		text += ": " + strings.Join(b.Vessels[:min(len(b.Vessels), named)], ", ")
		if n := len(b.Vessels) - named; n > 0 {
			text += fmt.Sprintf(" and %d more", n)
		}
		fmt.Fprintf(w, "  - %s\n", wrapped(text, "    "))
	}
	if n := len(all) - fleetBlockers; n > 0 {
		fmt.Fprintf(w, "  and %d more: see --json\n", n)
	}
}

// writeRest lists the vessels that no day serves, or only in part.
func writeRest(w io.Writer, f fleetPlan) {
	table := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	shown := 0
	for _, v := range f.Vessels {
		if v.State == order.Due {
			continue
		}
		if shown++; shown == 1 {
			fmt.Fprintln(table, "\nThe others\nvessel\tstate\tsteps")
		}
		fmt.Fprintf(table, "%s\t%s\t%d\n", v.Vessel, v.State, v.Steps)
	}
	_ = table.Flush() // a broken pipe ends the process by itself
	for _, v := range f.Vessels {
		if v.State != order.Due && v.State != order.UpToDate {
			fmt.Fprintln(w, "Why, and what would free it: cardwright plan VESSEL")
			return
		}
	}
}
