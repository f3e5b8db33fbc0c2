package main

import (
	"context"
	"fmt"
	"io"
	"strings"

	"github.com/spf13/cobra"

	"cardwright/manifest"
	"cardwright/manifest/order"
	"cardwright/media"
	"cardwright/verify/visible"
)

func newPlanCommand(s *session) *cobra.Command {
	return &cobra.Command{
		Use:   "plan VESSEL",
		Short: "Show which releases a vessel's devices get, in which order, on which cards",
		Args:  exactly(1, "the id of a vessel"),
		RunE: func(cmd *cobra.Command, args []string) error {
			return runPlan(interruptible(cmd), s, args[0])
		},
	}
}

func runPlan(_ context.Context, s *session, id string) error {
	shop, vessel, err := s.vessel(id)
	if err != nil {
		return err
	}
	_, plan, err := planned(shop, vessel)
	if err != nil {
		return err
	}
	if s.json {
		s.writeJSON(plan)
	} else {
		writePlan(s.out, vessel, plan)
	}
	if plan.Conflict != nil {
		return &answered{exitNo}
	}
	return nil
}

// planned plans a vessel's visit and lays its cards out; sizes are those of
// the cards at hand.
func planned(shop *manifest.Shop, vessel *manifest.Vessel, sizes ...int64) (media.Layout, order.Plan, error) {
	plan, err := order.Make(shop, vessel)
	if err != nil {
		return media.Layout{}, plan, fmt.Errorf("planning %s: %w", vessel.ID, err)
	}
	if plan.Conflict != nil {
		return media.Layout{}, plan, nil
	}
	layout, plan, err := media.Lay(shop, vessel, plan, sizes...)
	if err != nil {
		return layout, plan, fmt.Errorf("laying out the cards for %s: %w", vessel.ID, err)
	}
	return layout, plan, nil
}

func writePlan(w io.Writer, vessel *manifest.Vessel, plan order.Plan) {
	switch {
	case plan.Conflict != nil:
		writeConflict(w, vessel, plan.Conflict)
	case len(plan.Steps) == 0:
		fmt.Fprintf(w, "%s: nothing to do; every device runs the newest release that fits.\n", visible.Visible(vessel.Name))
	default:
		fmt.Fprintf(w, "%s: %s on %s, %s.\n\n", visible.Visible(vessel.Name),
			counted(len(plan.Steps), "step"), counted(len(plan.Cards), "card"), counted(minutes(plan), "minute"))
		for _, step := range plan.Steps {
			writeStep(w, step)
		}
		writeCards(w, plan.Cards)
		writeOutOfService(w, plan.OutOfService)
	}
	writeNotes(w, plan.Notes)
}

func writeStep(w io.Writer, s order.Step) {
	fmt.Fprintf(w, "%3d. %s (%s)%s\n", s.Number, s.Device, s.Model, through(s))
	folder := "/" + s.Folder
	fmt.Fprintf(w, "     %s → %s, %s, card %d, folder %s\n",
		s.From, s.To, counted(s.Minutes, "minute"), s.Card, visible.Visible(folder))
}

func through(s order.Step) string {
	if s.Through == "" {
		return ""
	}
	return ", updated through " + s.Through
}

func writeCards(w io.Writer, cards []order.Card) {
	fmt.Fprintln(w)
	for _, c := range cards {
		fmt.Fprintf(w, "Card %d: %s of packages for %s;\n        needs a card of at least %s.\n",
			c.Number, media.Bytes(c.Bytes), strings.Join(c.Devices, ", "), media.Bytes(c.Needed))
	}
}

func writeOutOfService(w io.Writer, windows []order.OutOfService) {
	for _, o := range windows {
		fmt.Fprintf(w, "%s is out of service from step %d to step %d: stay alongside.\n", o.Device, o.FromStep, o.ToStep)
	}
}

func writeNotes(w io.Writer, notes []string) {
	for i, n := range notes {
		if i == 0 {
			fmt.Fprintln(w)
		}
		fmt.Fprintf(w, "Note: %s\n", wrapped(n, "      "))
	}
}

func writeConflict(w io.Writer, vessel *manifest.Vessel, c *order.Conflict) {
	fmt.Fprintf(w, "%s: no safe order.\n\nBecause\n", visible.Visible(vessel.Name))
	for _, f := range c.Because {
		fmt.Fprintf(w, "  - %s\n    (%s)\n", wrapped(f.Fact, "    "), visible.Visible(f.At.String()))
	}
	if len(c.WouldFree) > 0 {
		fmt.Fprintln(w, "\nAny one of these would free it")
		for _, change := range c.WouldFree {
			fmt.Fprintf(w, "  - %s\n", wrapped(change, "    "))
		}
	}
}

func minutes(p order.Plan) (sum int) {
	for _, s := range p.Steps {
		sum += s.Minutes
	}
	return sum
}
