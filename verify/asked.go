package verify

import (
	"fmt"
	"slices"
	"time"

	"cardwright/manifest"
	"cardwright/manifest/order"
	"cardwright/media"
)

// Asked is a question about a card: whether it is right for a vessel, or,
// with no vessel named, for the vessel in a record that a trusted shop signed.
type Asked struct {
	Shop   *manifest.Shop   // nil where there is none: then nobody's signature is believed
	Vessel *manifest.Vessel // nil: none was named
	Visit  order.Ask        // which plan of the vessel's
	Card   int              // which card of the plan it should be; 0: whichever it is
	On     time.Time        // the day, which shops' keys are believed on
	// InstallOrder gives the text on the cards of a plan.
	InstallOrder func(order.Plan) ([]byte, error)
	// Commands that advice names, for a plan of so many cards.
	Commands func(cards int) Commands
	// Made gives what the shop's ledger has of a card with this record, nil for
	// nothing.
	Made func(*media.Record) *Making
}

// Wanted is what a card should hold, and which card of which plan that is.
type Wanted struct {
	Expected Expected
	Plan     order.Plan   // with no steps where no vessel was named
	Layout   media.Layout // the plan's cards
	Card     media.Card   // the one that this card should be; no number: none
}

// NoSafeOrder says that no card can be right for a vessel.
type NoSafeOrder struct{ Vessel *manifest.Vessel }

func (e *NoSafeOrder) Error() string {
	return fmt.Sprintf("there is no safe order for %s, so no card can be right for it", e.Vessel.Name)
}

// NoSuchCard says that a plan has no card of the number that was asked for.
type NoSuchCard struct {
	Vessel      *manifest.Vessel
	Card, Cards int
}

func (e *NoSuchCard) Error() string {
	return fmt.Sprintf("no card %d: the plan for %s has %d", e.Card, e.Vessel.Name, e.Cards)
}

// Wanted finds what the card behind a listing should hold; bytes is its
// measured size, 0 for a folder. The error is *NoSafeOrder, *NoSuchCard, or why the
// vessel can't be planned.
func (a Asked) Wanted(on Listing, bytes int64) (Wanted, error) {
	if a.Vessel == nil {
		return Wanted{Expected: a.believed()}, nil
	}
	layout, plan, err := a.layout(planOn(on), bytes)
	if err != nil {
		return Wanted{}, err
	}
	w := Wanted{Plan: plan, Layout: layout}
	switch {
	case plan.Conflict != nil:
		return w, &NoSafeOrder{a.Vessel}
	case a.Card < 0 || a.Card > len(layout.Cards):
		return w, &NoSuchCard{a.Vessel, a.Card, len(layout.Cards)}
	}
	card, any := Choose(layout, on)
	if a.Card > 0 {
		card = layout.Cards[a.Card-1]
	}
	if !any {
		w.Expected = a.nothing(plan)
		return w, nil
	}
	w.Card = card
	text, err := a.InstallOrder(plan)
	if err != nil {
		return w, err
	}
	w.Expected = ForCard(layout, card, text, media.PackagesOf(a.Shop))
	w.Expected.Trusts, w.Expected.Commands = a.trusts(), a.Commands(len(layout.Cards))
	w.Expected.Aboard = &Aboard{Shop: a.Shop, Vessel: a.Vessel, Plan: plan, Card: card.Number}
	return w, nil
}

// believed is expected where no vessel was named: what the card's record says, if a
// trusted shop has signed it.
func (a Asked) believed() Expected {
	e := Expected{FromRecord: true, Trusts: a.trusts(), Commands: a.Commands(0)}
	if a.Shop != nil {
		e.Aboard = &Aboard{Shop: a.Shop}
	}
	return e
}

// nothing is expected where the vessel needs no card.
func (a Asked) nothing(plan order.Plan) Expected {
	return Expected{
		Nothing: true, RecordOptional: true, Trusts: a.trusts(), Commands: a.Commands(0),
		Record: media.Record{Vessel: a.Vessel.ID, VesselName: a.Vessel.Name},
		Aboard: &Aboard{Shop: a.Shop, Vessel: a.Vessel, Plan: plan},
	}
}

// layout is the plan's, for cards of the size at hand; where that size doesn't do,
// for any size, so that the report can say what is wrong with this one. named is the
// plan that the card's record names.
func (a Asked) layout(named string, bytes int64) (media.Layout, order.Plan, error) {
	if bytes > 0 {
		layout, plan, err := media.VisitNamed(named, a.Shop, a.Vessel, a.Visit, bytes)
		if err == nil {
			return layout, plan, nil
		}
	}
	return media.VisitNamed(named, a.Shop, a.Vessel, a.Visit)
}

// trusts are the shops whose signatures are believed on the day.
func (a Asked) trusts() []*manifest.Trust {
	if a.Shop == nil {
		return nil
	}
	return slices.DeleteFunc(slices.Clone(a.Shop.Trusts), func(t *manifest.Trust) bool { return t.Left(a.On) })
}

// planOn is the plan that a card's record names, or "".
func planOn(on Listing) string {
	if on.Record == nil {
		return ""
	}
	return on.Record.Plan
}
