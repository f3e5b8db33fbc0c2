package main

import (
	"context"

	"cardwright/manifest"
	"cardwright/media"
	"cardwright/verify"
	"cardwright/verify/ledger/audit"
)

// holds says what a card holds, with what the shop's ledger knows of it. shop is
// nil where there is none.
func holds(ctx context.Context, shop *manifest.Shop, g verify.Listing) string {
	if shop == nil {
		return g.Holds("", nil)
	}
	return g.Holds(shop.Name, making(ctx, shop, g.Record))
}

// making looks a card up in the ledger. Without a ledger, or one that can't be
// read, nothing is known; that is no reason not to go on.
func making(ctx context.Context, shop *manifest.Shop, r *media.Record) *verify.Making {
	if r == nil || r.Shop != shop.Name {
		return nil
	}
	l, err := openLedger(ctx, shop)
	if err != nil {
		return nil
	}
	defer l.Close() // opened for reading only
	e, ok, err := audit.Making(ctx, l, r.Vessel, r.Plan, r.VolumeID)
	if err != nil || !ok {
		return nil
	}
	return &verify.Making{At: e.At, Proven: e.Card.Verdict == string(verify.Good)}
}
