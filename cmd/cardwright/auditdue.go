package main

import (
	"fmt"
	"io"

	"github.com/spf13/cobra"

	"cardwright/manifest"
	"cardwright/manifest/order"
	"cardwright/verify/ledger/audit"
	"cardwright/verify/ledger/store"
)

func newAuditDueCommand(s *session, o *auditOptions) *cobra.Command {
	return &cobra.Command{
		Use:   "due",
		Short: "List the updates that are due, and what visits left open",
		Long: `due lists the updates that each vessel is to get, and what earlier visits left open:
steps put off, checks not done, settings not entered again.`,
		Example: `  cardwright audit due
  cardwright audit due --berth 'Hollin Quay'`,
		Args: exactly(0, "no arguments"),
		RunE: func(cmd *cobra.Command, _ []string) error {
			return asked(interruptible(cmd), s, o, func(shop *manifest.Shop, l *store.Ledger, f audit.Filter) error {
				if err := learnFleet(interruptible(cmd), s, shop); err != nil {
					return err
				}
				plans, err := summaries(shop)
				if err != nil {
					return err
				}
				due, err := audit.OfDue(interruptible(cmd), l, plans, f)
				if err != nil {
					return err
				}
				s.answer(due, func(w io.Writer) { writeDue(w, due) })
				tellWhereFilesDiffer(s, shop)
				return nil
			})
		},
	}
}

// summaries plan every vessel; one that can't be planned says why.
func summaries(shop *manifest.Shop) (all []audit.PlanSummary, err error) {
	fleet, err := order.Fleet(shop, order.Ask{})
	if err != nil {
		return nil, err
	}
	for _, v := range fleet {
		p := audit.PlanSummary{Vessel: v.Vessel, Name: v.Name, Berth: v.Berth, Steps: v.Steps, Minutes: v.Minutes, AtLeast: v.AtLeast}
		switch v.State {
		case order.Blocked:
			p.Conflict = v.Why
		case order.ToBeRead, order.NotPlanned:
			p.Unread = v.Why
		}
		all = append(all, p)
	}
	return all, nil
}

func writeDue(w io.Writer, due audit.Due) {
	fmt.Fprintf(w, "%s with something to do.\n", counted(len(due.Vessels), "vessel"))
	for _, v := range due.Vessels {
		last := "no visit on record"
		if !v.Last.IsZero() {
			last = "last visit " + date(v.Last)
		}
		fmt.Fprintf(w, "\n%s\n", wrapped(vesselText(v.Vessel)+"; "+last, "  "))
		if v.Plan != nil {
			fmt.Fprintf(w, "  %s\n", wrapped(planText(*v.Plan), "    "))
		}
		for _, l := range v.Open {
			fmt.Fprintf(w, "  %s\n", wrapped("open: "+l.Entry.Tell(), "    "))
		}
	}
}

func planText(p audit.PlanSummary) string {
	switch {
	case p.Conflict != "":
		return "no safe order: " + p.Conflict + around(p)
	case p.Unread != "":
		return "not planned yet: " + p.Unread + around(p)
	}
	return fmt.Sprintf("%s planned, %s", counted(p.Steps, "step"), atLeast(p.Minutes, p.AtLeast))
}

// around describes the part of the work that is planned all the same.
func around(p audit.PlanSummary) string {
	if p.Steps == 0 {
		return ""
	}
	return fmt.Sprintf("; around it %s, %s", counted(p.Steps, "step"), atLeast(p.Minutes, p.AtLeast))
}
