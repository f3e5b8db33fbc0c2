package main

import (
	"errors"
	"fmt"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"cardwright/manifest"
	"cardwright/manifest/order"
	"cardwright/manifest/version"
	"cardwright/media"
)

// maxWithin is the longest time that can be asked for, in minutes: a week.
const maxWithin = 7 * 24 * 60

// askOptions narrow a plan.
type askOptions struct {
	aim        []string
	hold, only []string
	within     time.Duration
}

func (o *askOptions) addFlags(cmd *cobra.Command) {
	flags := cmd.Flags()
	flags.StringArrayVar(&o.aim, "aim", nil, "MODEL=VERSION: the release that all devices of a model should end on; may be repeated")
	flags.StringSliceVar(&o.hold, "hold", nil, "devices to leave alone on this visit")
	flags.DurationVar(&o.within, "within", 0, "the time that there is, such as 60m: the best part of the work that is sure to be done in it, with its checks")
	flags.StringSliceVar(&o.only, "only", nil, "the only devices to update on this visit")
}

// flags are the options as they are given to another command, so that it has
// the same plan.
func (o askOptions) flags() []string {
	var flags []string
	for _, aim := range o.aim {
		flags = append(flags, "--aim", aim)
	}
	if len(o.hold) > 0 {
		flags = append(flags, "--hold", strings.Join(o.hold, ","))
	}
	if len(o.only) > 0 {
		flags = append(flags, "--only", strings.Join(o.only, ","))
	}
	if o.within > 0 {
		flags = append(flags, "--within", fmt.Sprintf("%dm", int(o.within.Minutes())))
	}
	return flags
}

// flags are what a command that an answer names needs to have the same plan.
func (s *session) flags(o askOptions) []string {
	flags := o.flags()
	if s.shopDir != "" {
		flags = append(flags, "--shop", s.shopDir)
	}
	return flags
}

// ask is what the options ask of the planner.
func (o askOptions) ask() (order.Ask, error) {
	a := order.Ask{Hold: o.hold, Only: o.only, Within: int(o.within.Minutes())}
	if o.within != 0 && (a.Within < 1 || a.Within > maxWithin) {
		return a, usage(fmt.Errorf("--within %s: expected from 1m to 168h", o.within))
	}
	for _, text := range o.aim {
		model, v, ok := strings.Cut(text, "=")
		if !ok {
			return a, usage(fmt.Errorf("--aim %s: expected MODEL=VERSION", text))
		}
		parsed, err := version.Parse(v)
		if err != nil {
			return a, usage(fmt.Errorf("--aim %s: %w", text, err))
		}
		if a.Aim == nil {
			a.Aim = map[string]version.V{}
		}
		a.Aim[model] = parsed
	}
	return a, nil
}

// planned plans a vessel's visit and lays its cards out; sizes are those of
// the cards at hand.
func planned(shop *manifest.Shop, vessel *manifest.Vessel, o askOptions, sizes ...int64) (media.Layout, order.Plan, error) {
	ask, err := o.ask()
	if err != nil {
		return media.Layout{}, order.Plan{}, err
	}
	return plannedFor(shop, vessel, ask, sizes...)
}

// plannedAs is planned for a card or a sheet that names its plan: it is the plan
// that builds before this one made of the same steps, where that is the one named.
func plannedAs(id string, shop *manifest.Shop, vessel *manifest.Vessel, o askOptions, sizes ...int64) (media.Layout, order.Plan, error) {
	layout, plan, err := planned(shop, vessel, o, sizes...)
	if err != nil || id == "" || plan.ID() == id {
		return layout, plan, err
	}
	ask, err := o.ask()
	if err != nil {
		return layout, plan, err
	}
	ask.Earlier = true
	if before, then, err := plannedFor(shop, vessel, ask, sizes...); err == nil && then.ID() == id {
		return before, then, nil
	}
	return layout, plan, nil
}

func plannedFor(shop *manifest.Shop, vessel *manifest.Vessel, ask order.Ask, sizes ...int64) (media.Layout, order.Plan, error) {
	plan, err := order.WhatIf(shop, vessel, ask)
	if bad, ok := errors.AsType[*order.BadAsk](err); ok {
		return media.Layout{}, plan, usage(bad)
	}
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
