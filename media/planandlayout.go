package media

import (
	"errors"
	"fmt"

	"cardwright/manifest"
	"cardwright/manifest/order"
)

// Visit plans a vessel's visit and lays its cards out. sizes are the bytes of the
// cards at hand, none where they aren't known. A plan that is a conflict has no
// layout. A question that makes no sense is *order.BadAsk.
func Visit(shop *manifest.Shop, vessel *manifest.Vessel, ask order.Ask, sizes ...int64) (Layout, order.Plan, error) {
	plan, err := order.WhatIf(shop, vessel, ask)
	if bad, ok := errors.AsType[*order.BadAsk](err); ok {
		return Layout{}, plan, bad
	}
	if err != nil {
		return Layout{}, plan, fmt.Errorf("planning %s: %w", vessel.ID, err)
	}
	if plan.Conflict != nil {
		return Layout{}, plan, nil
	}
	layout, plan, err := Lay(shop, vessel, plan, sizes...)
	if err != nil {
		return layout, plan, fmt.Errorf("laying out the cards for %s: %w", vessel.ID, err)
	}
	return layout, plan, nil
}

// VisitNamed is Visit for a card or sheet that names its plan ("": none). Where
// earlier builds would have made the plan of that name, or it was made under an id that
// the vessel had before, it is that one.
func VisitNamed(id string, shop *manifest.Shop, vessel *manifest.Vessel, ask order.Ask, sizes ...int64) (Layout, order.Plan, error) {
	layout, plan, err := Visit(shop, vessel, ask, sizes...)
	if err != nil || id == "" || plan.ID() == id {
		return layout, plan, err
	}
	for _, then := range append([]string{vessel.ID}, vessel.Formerly...) {
		for _, ask.Earlier = range append([]order.Earlier{0}, order.AllEarlier...) {
			if before, was, err := Visit(shop, vessel.Under(then), ask, sizes...); err == nil && was.ID() == id {
				return before, was, nil
			}
		}
	}
	return layout, plan, nil
}
