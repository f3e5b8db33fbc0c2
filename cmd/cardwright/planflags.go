package main

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"cardwright/manifest"
	"cardwright/manifest/order"
	"cardwright/manifest/version"
	"cardwright/media"
	"cardwright/verify/ledger/known"
)

// maxWithin is the longest time that can be asked for, in minutes: a week.
const maxWithin = 7 * 24 * 60

// askOptions narrow a plan.
type askOptions struct {
	aim        []string
	hold, only []string
	within     time.Duration
	back       []string // DEVICE or DEVICE=VERSION
	because    string   // why a device goes back to a withdrawn release
	wayBack    bool     // of the whole plan
}

func (o *askOptions) addFlags(cmd *cobra.Command) {
	flags := cmd.Flags()
	flags.StringArrayVar(&o.aim, "aim", nil, "`MODEL=VERSION`: the release that all devices of a model should end on; may be repeated")
	flags.StringSliceVar(&o.hold, "hold", nil, "`DEVICES` to leave alone on this visit, with commas between them")
	flags.DurationVar(&o.within, "within", 0, "plan the best part of the work that is sure to be done in this `TIME`, with its checks: 60m, 3h30m")
	flags.StringArrayVar(&o.back, "back", nil, "`DEVICE[=VERSION]`: take a device back to VERSION (default: what the ledger says it ran before, else the newest older release); may be repeated")
	flags.StringVar(&o.because, "because", "", "`WHY` a device goes back to a withdrawn release, with --back DEVICE=VERSION")
	flags.BoolVar(&o.wayBack, "way-back", false, "plan the way back from the plan's steps, on a card of its own")
	flags.StringSliceVar(&o.only, "only", nil, "the only `DEVICES` to update on this visit, with commas between them")
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
	for _, back := range o.back {
		flags = append(flags, "--back", back)
	}
	if o.because != "" {
		flags = append(flags, "--because", o.because)
	}
	if o.wayBack {
		flags = append(flags, "--way-back")
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
	a := order.Ask{Hold: o.hold, Only: o.only, Within: int(o.within.Minutes()), Undo: o.wayBack}
	if o.within != 0 && (a.Within < 1 || a.Within > maxWithin) {
		return a, usage(fmt.Errorf("--within %s: expected from 1m to 168h", o.within))
	}
	var err error
	if a.Back, err = o.returns(); err != nil {
		return a, err
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

// returns are the devices that go back.
func (o askOptions) returns() (all []order.Return, err error) {
	for _, text := range o.back {
		device, v, named := strings.Cut(text, "=")
		back := order.Return{Device: device, Why: o.because}
		if named {
			if back.To, err = version.Parse(v); err != nil {
				return nil, usage(fmt.Errorf("--back %s: %w", text, err))
			}
		}
		all = append(all, back)
	}
	if o.because != "" && len(all) == 0 {
		return nil, usage(errors.New("--because says why a device goes back to a withdrawn release: expected --back DEVICE=VERSION with it"))
	}
	return all, nil
}

// ranBefore names the versions that devices go back to where the ledger knows them:
// what a device ran before the step that brought what it runs now.
func ranBefore(vessel *manifest.Vessel, k *known.Joined, o *askOptions) {
	if k == nil {
		return
	}
	o.back = slices.Clone(o.back)
	for i, id := range o.back {
		aboard := vessel.Device(id)
		if aboard == nil {
			continue
		}
		if before := k.RanBefore(aboard); before != "" {
			o.back[i] += "=" + string(before)
		}
	}
}

// planned plans a vessel's visit as the options ask, and lays its cards out; sizes
// are those of the cards at hand.
func planned(shop *manifest.Shop, vessel *manifest.Vessel, o askOptions, sizes ...int64) (media.Layout, order.Plan, error) {
	return plannedAs("", shop, vessel, o, sizes...)
}

// plannedAs is planned for a card or a sheet that names its plan, perhaps as an
// earlier build made it.
func plannedAs(id string, shop *manifest.Shop, vessel *manifest.Vessel, o askOptions, sizes ...int64) (media.Layout, order.Plan, error) {
	ask, err := o.ask()
	if err != nil {
		return media.Layout{}, order.Plan{}, err
	}
	return media.VisitNamed(id, shop, vessel, ask, sizes...)
}
