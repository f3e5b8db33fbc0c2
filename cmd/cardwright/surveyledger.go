package main

import (
	"context"

	"cardwright/manifest"
	"cardwright/verify/ledger/record"
)

// note notes the survey in the ledger, where this laptop has a key, and tells
// how many events that were; vessel is as its file will be.
func (v *surveying) note(ctx context.Context, shop *manifest.Shop, vessel *manifest.Vessel, found record.Survey) (int, error) {
	entries := found.Entries(vessel, shop.Models)
	if len(entries) == 0 {
		return 0, nil
	}
	key, err := keyOptions{}.signingIfKnown(v.session, "what was found is not noted in the ledger")
	if err != nil {
		return 0, err
	}
	if key == nil {
		v.complain("what was found is not noted in the ledger: there is no key yet; make one with cardwright key new")
		return 0, nil
	}
	there, err := hasVisit(ctx, shop, found.Visit)
	if err != nil || there {
		return 0, err
	}
	_, err = noteVisit(ctx, v.session, shop, key, found.Visit, entries...)
	return len(entries), err
}

func hasVisit(ctx context.Context, shop *manifest.Shop, visit string) (bool, error) {
	l, err := openLedgerIfAny(ctx, shop)
	if l == nil || err != nil {
		return false, err
	}
	defer l.Close()
	return l.HasVisit(ctx, visit)
}
