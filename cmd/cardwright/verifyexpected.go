package main

import (
	"fmt"
	"slices"
	"time"

	"cardwright/manifest"
	"cardwright/media"
	"cardwright/verify"
)

// expect is what the card should hold: what the vessel needs, or, without
// --for, what a record on the card says that a known shop has signed.
func (v *verifying) expect(bytes int64, choose func(media.Layout) (media.Card, bool)) (*verify.Expected, error) {
	if v.vessel == nil {
		expected := verify.Expected{FromRecord: true, Trusts: v.trusts(), Commands: v.commands(0)}
		if v.shop != nil {
			expected.Aboard = &verify.Aboard{Shop: v.shop}
		}
		return &expected, nil
	}
	layout, err := v.layout(bytes)
	if err != nil {
		return nil, err
	}
	if v.plan.Conflict != nil {
		return nil, fmt.Errorf("there is no safe order for %s, so no card can be right for it: see cardwright plan %s", v.vessel.Name, v.vessel.ID)
	}
	if v.number > len(layout.Cards) || v.number < 0 {
		return nil, usage(fmt.Errorf("--card %d: the plan for %s has %s", v.number, v.vessel.Name, counted(len(layout.Cards), "card")))
	}
	card, ok := choose(layout)
	if v.number > 0 {
		card, ok = layout.Cards[v.number-1], true
	}
	if !ok {
		return &verify.Expected{
			Nothing: true, RecordOptional: true, Trusts: v.trusts(), Commands: v.commands(0),
			Record: media.Record{Vessel: v.vessel.ID, VesselName: v.vessel.Name},
			Aboard: &verify.Aboard{Shop: v.shop, Vessel: v.vessel, Plan: v.plan},
		}, nil
	}
	v.cards, v.card = layout, card
	order, err := installOrderText(v.shop, v.vessel, v.plan)
	if err != nil {
		return nil, err
	}
	expected := verify.ForCard(layout, card, order, media.PackagesOf(v.shop))
	expected.Trusts, expected.Commands = v.trusts(), v.commands(len(layout.Cards))
	expected.Aboard = &verify.Aboard{Shop: v.shop, Vessel: v.vessel, Plan: v.plan, Card: card.Number}
	return &expected, nil
}

// layout is laid out for cards of the size at hand; where that size doesn't
// do, for any size, so that the report can say what is wrong with this one.
func (v *verifying) layout(bytes int64) (media.Layout, error) {
	if bytes > 0 {
		layout, plan, err := plannedAs(v.planID, v.shop, v.vessel, v.ask, bytes)
		if err == nil {
			v.plan = plan
			return layout, nil
		}
	}
	layout, plan, err := plannedAs(v.planID, v.shop, v.vessel, v.ask)
	v.plan = plan
	return layout, err
}

func (v *verifying) trusts() []*manifest.Trust {
	if v.shop == nil {
		return nil
	}
	return slices.DeleteFunc(slices.Clone(v.shop.Trusts), func(t *manifest.Trust) bool { return t.Left(time.Now()) })
}

// commands are those that advice names, for a plan of so many cards.
func (v *verifying) commands(cards int) verify.Commands {
	vessel := "VESSEL"
	if v.vessel != nil {
		vessel = v.vessel.ID
	}
	return cardCommands(v.path, vessel, v.session.flags(v.ask), cards)
}

// planOn is the plan that a card's record names, or "".
func planOn(l verify.Listing) string {
	if l.Record == nil {
		return ""
	}
	return l.Record.Plan
}
