package main

import (
	"context"
	"errors"

	"github.com/spf13/cobra"

	"cardwright/manifest/order"
)

type planOptions struct {
	ask askOptions
	all bool
	why string // a device
}

func newPlanCommand(s *session) *cobra.Command {
	var o planOptions
	cmd := &cobra.Command{
		Use:   "plan VESSEL | plan --all",
		Short: "Show which releases a vessel's devices get, in which order",
		Long: `plan finds the newest releases that work together, and an order in which every step is
allowed when it is taken; or it shows the facts that rule every order out.

Devices that aren't connected with a conflict or an unknown version are planned all
the same. Such a plan says that it is a part of the work, and never ends with exit
code 0. So does --within, which plans the best part that is sure to be done in time.

--aim, --hold and --only show what would follow. Give the same flags to prepare and
verify, to make and to verify the cards of that plan.`,
		Example: `  cardwright plan kittiwake
  cardwright plan kittiwake --hold radar --within 3h
  cardwright plan --all`,
		Args: func(cmd *cobra.Command, args []string) error {
			if o.all {
				return exactly(0, "--all takes no vessel")(cmd, args)
			}
			return exactly(1, "the id of a vessel")(cmd, args)
		},
		RunE: func(cmd *cobra.Command, args []string) error {
			if o.all {
				return runPlanAll(interruptible(cmd), s, o)
			}
			if o.why != "" {
				return runWhy(s, o, args[0])
			}
			return runPlan(interruptible(cmd), s, o, args[0])
		},
	}
	o.ask.addFlags(cmd)
	cmd.Flags().StringVar(&o.why, "why", "", "explain the choice for one `DEVICE`")
	cmd.Flags().BoolVar(&o.all, "all", false, "every vessel of the shop: by place and day of work, with the cards to make, and what holds up how many boats")
	return cmd
}

func runPlan(_ context.Context, s *session, o planOptions, id string) error {
	shop, vessel, err := s.vessel(id)
	if err != nil {
		return err
	}
	ranBefore(vessel, s.known[vessel.ID], &o.ask)
	_, plan, err := planned(shop, vessel, o.ask)
	_, isUnread := errors.AsType[*order.Unread](err)
	if err != nil && !isUnread {
		return err
	}
	behind := staysBehind(shop, vessel, o.ask, plan)
	if !s.json {
		writeOpen(s.out, &s.terminal, vessel, s.known[vessel.ID])
	}
	switch {
	case s.json:
		s.writeJSON(planAnswer{plan, s.known[vessel.ID].OpenAboard(vessel), behind.stays})
	case isUnread:
		writeUnread(s.text(), vessel, plan, inDoubt(s.known[vessel.ID]))
	default:
		writePlan(s.out, shop, vessel, plan, behind, inDoubt(s.known[vessel.ID]))
	}
	if c := leftOutCode(plan); c != exitDone {
		return endWith(c)
	}
	if behind.blocked || plan.WayBack && len(plan.Steps) == 0 {
		return &answered{exitNo}
	}
	return nil
}
