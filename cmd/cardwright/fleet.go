package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"runtime"
	"sync"
	"text/tabwriter"

	"cardwright/manifest"
	"cardwright/manifest/order"
	"cardwright/verify/visible"
)

// The states of a vessel in the fleet's list, worst last.
const (
	upToDate   = "up to date"
	due        = "due"
	blocked    = "blocked"
	cantPlan   = "can't plan"
	fleetNotes = 3 // reasons shown in full below the list
)

// fleetVessel is one line of plan --all.
type fleetVessel struct {
	Vessel  string `json:"vessel"`
	Name    string `json:"name"`
	Berth   string `json:"berth"`
	State   string `json:"state"`
	Steps   int    `json:"steps"`
	Minutes int    `json:"minutes"`
	Cards   int    `json:"cards"`
	Reason  string `json:"reason"` // why it is blocked or can't be planned
}

func runPlanAll(ctx context.Context, s *session, o planOptions) error {
	shop, err := s.shop()
	if err != nil {
		return err
	}
	fleet := make([]fleetVessel, len(shop.Vessels))
	var wait sync.WaitGroup
	turns := make(chan struct{}, runtime.NumCPU())
	for i, v := range shop.Vessels {
		wait.Go(func() {
			turns <- struct{}{}
			defer func() { <-turns }()
			if ctx.Err() == nil {
				fleet[i] = inFleet(shop, v, o.ask)
			}
		})
	}
	wait.Wait()
	if err := ctx.Err(); err != nil {
		return fmt.Errorf("planning every vessel: %w", err)
	}
	if s.json {
		s.writeJSON(struct {
			Format  int           `json:"format"`
			Vessels []fleetVessel `json:"vessels"`
		}{1, fleet})
	} else {
		writeFleet(s.out, fleet)
	}
	return fleetCode(fleet)
}

func inFleet(shop *manifest.Shop, v *manifest.Vessel, ask askOptions) fleetVessel {
	f := fleetVessel{Vessel: v.ID, Name: v.Name, Berth: v.Berth}
	_, plan, err := planned(shop, v, ask)
	f.Steps, f.Minutes, f.Cards = len(plan.Steps), minutes(plan), len(plan.Cards)
	unread, isUnread := errors.AsType[*order.Unread](err)
	switch {
	case isUnread:
		f.State, f.Reason = cantPlan, "read first: "+unread.Error()
	case err != nil:
		f.State, f.Reason = cantPlan, err.Error()
	case plan.Conflict != nil:
		f.State, f.Reason = blocked, plan.Conflict.Because[0].Fact
	case len(plan.Steps) == 0:
		f.State = upToDate
	default:
		f.State = due
	}
	return f
}

func fleetCode(fleet []fleetVessel) error {
	var codes []int
	for _, f := range fleet {
		switch f.State {
		case cantPlan:
			codes = append(codes, exitCouldNot)
		case blocked:
			codes = append(codes, exitNo)
		}
	}
	if c := first(codes); c != exitDone {
		return &answered{c}
	}
	return nil
}

func writeFleet(w io.Writer, fleet []fleetVessel) {
	counts := map[string]int{}
	total := 0
	for _, f := range fleet {
		counts[f.State]++
		total += f.Minutes
	}
	fmt.Fprintf(w, "%s: %d due (%s), %d up to date, %d blocked, %d can't be planned.\n\n",
		counted(len(fleet), "vessel"), counts[due], counted(total, "minute"), counts[upToDate], counts[blocked], counts[cantPlan])
	table := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	fmt.Fprintln(table, "vessel\tstate\tsteps\tminutes\tcards")
	for _, f := range fleet {
		fmt.Fprintf(table, "%s\t%s\t%d\t%d\t%d\n", f.Vessel, f.State, f.Steps, f.Minutes, f.Cards)
	}
	_ = table.Flush() // a broken pipe ends the process by itself
	shown := 0
	for _, f := range fleet {
		if f.Reason == "" {
			continue
		}
		if shown++; shown > fleetNotes {
			fmt.Fprintln(w, "\nFor the others: cardwright plan VESSEL")
			break
		}
		fmt.Fprintf(w, "\n%s\n", wrapped(fmt.Sprintf("%s is %s: %s", visible.Visible(f.Name), f.State, f.Reason), "  "))
	}
}
