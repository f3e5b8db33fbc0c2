package main

import (
	"context"
	"fmt"
	"io"
	"strconv"
	"text/tabwriter"

	"cardwright/manifest/order"
	"cardwright/verify/visible"
)

// fleetNotes is how many reasons are shown below the list.
const fleetNotes = 3

func runPlanAll(ctx context.Context, s *session, o planOptions) error {
	if len(o.ask.aim)+len(o.ask.hold)+len(o.ask.only) > 0 {
		return usage(fmt.Errorf("--aim, --hold and --only ask about one vessel; name it instead of --all"))
	}
	if o.ask.within != 0 {
		return usage(fmt.Errorf("--within plans a part of one vessel's work; name it instead of --all"))
	}
	if o.why != "" {
		return usage(fmt.Errorf("--why explains one vessel's device; name the vessel instead of --all"))
	}
	shop, err := s.shop()
	if err != nil {
		return err
	}
	if err := s.learnFleet(ctx, shop); err != nil {
		return err
	}
	fleet := order.Fleet(shop)
	s.answer(struct {
		Format  int              `json:"format"`
		Vessels []order.Standing `json:"vessels"`
	}{1, fleet}, func(w io.Writer) { writeFleet(w, fleet) })
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

func writeFleet(w io.Writer, fleet []order.Standing) {
	counts := map[order.State]int{}
	total, more := 0, false
	for _, f := range fleet {
		counts[f.State]++
		total += f.Minutes
		more = more || f.AtLeast
	}
	fmt.Fprintf(w, "%s: %d due (%s), %d up to date, %d blocked,\n%d to be read first, %d not planned.\n\n",
		counted(len(fleet), "vessel"), counts[order.Due], atLeast(total, more), counts[order.UpToDate],
		counts[order.Blocked], counts[order.ToBeRead], counts[order.NotPlanned])
	table := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	fmt.Fprintln(table, "vessel\tstate\tdevices\tsteps\tminutes")
	for _, f := range fleet {
		minutes := strconv.Itoa(f.Minutes)
		if f.AtLeast {
			minutes += " or more"
		}
		fmt.Fprintf(table, "%s\t%s\t%d\t%d\t%s\n", f.Vessel, f.State, f.Devices, f.Steps, minutes)
	}
	_ = table.Flush() // a broken pipe ends the process by itself
	shown := 0
	for _, f := range fleet {
		if f.Why == "" {
			continue
		}
		if shown++; shown > fleetNotes {
			fmt.Fprintln(w, "\nFor the others: cardwright plan VESSEL")
			break
		}
		fmt.Fprintf(w, "\n%s\n", wrapped(fmt.Sprintf("%s is %s: %s", visible.Visible(f.Name), f.State, f.Why), "  "))
	}
}
