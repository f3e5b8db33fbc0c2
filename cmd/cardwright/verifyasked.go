package main

import (
	"context"
	"errors"
	"fmt"
	"time"

	"cardwright/manifest"
	"cardwright/manifest/order"
	"cardwright/media"
	"cardwright/verify"
)

// askedOf is what a card is asked about, for verify and for sheet. vessel is nil where
// none was named, shop where there is none.
func (s *session) askedOf(ctx context.Context, path string, shop *manifest.Shop, vessel *manifest.Vessel, o askOptions, card int) (verify.Asked, error) {
	visit, err := o.ask()
	name := "VESSEL"
	if vessel != nil {
		name = vessel.ID
	}
	return verify.Asked{
		Shop: shop, Vessel: vessel, Visit: visit, Card: card, On: time.Now(),
		InstallOrder: func(plan order.Plan) ([]byte, error) { return installOrderText(shop, vessel, plan) },
		Commands:     func(cards int) verify.Commands { return cardCommands(path, name, s.flags(o), cards) },
		Made:         func(r *media.Record) *verify.Making { return making(ctx, shop, r) },
	}, err
}

// noVerdict says with commands and flags why a card wasn't judged.
func noVerdict(err error) error {
	if none, ok := errors.AsType[*verify.NoSafeOrder](err); ok {
		return fmt.Errorf("%w: see cardwright plan %s", err, none.Vessel.ID)
	}
	if no, ok := errors.AsType[*verify.NoSuchCard](err); ok {
		return usage(fmt.Errorf("--card %d: the plan for %s has %s", no.Card, no.Vessel.Name, counted(no.Cards, "card")))
	}
	return err
}
