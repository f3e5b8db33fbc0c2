package audit

import (
	"context"

	"cardwright/verify/ledger"
	"cardwright/verify/ledger/known"
	"cardwright/verify/ledger/store"
)

// goneVessels are the ids of vessels that are no longer served: nothing is due there,
// and they are no part of the fleet. What they had stays in every other answer.
func goneVessels(ctx context.Context, l *store.Ledger, q store.Querier) (map[string]bool, error) {
	gone := map[string]bool{}
	var events []ledger.Event
	collect := func(e ledger.Event) error {
		events = append(events, e)
		return nil
	}
	const kinds = `kind IN (` + store.LifeKinds + `)`
	if err := store.EachEvent(ctx, q, kinds, nil, collect); err != nil || len(events) == 0 {
		return gone, err
	}
	if err := store.EachEvent(ctx, q, `corrects IS NOT NULL AND corrects IN (SELECT id FROM event WHERE `+kinds+`)`, nil, collect); err != nil {
		return nil, err
	}
	trust, err := l.Trust(ctx, q)
	if err != nil {
		return nil, err
	}
	facts, _ := known.Facts(events, trust)
	for _, f := range facts {
		if f.Entry.Kind == ledger.VesselGone {
			gone[f.Entry.Vessel] = true
		}
	}
	return gone, nil
}

// markGone marks the vessels that are no longer served: what they had is still told.
func (u *ReleaseUse) markGone(ctx context.Context, l *store.Ledger, q store.Querier) error {
	gone, err := goneVessels(ctx, l, q)
	if err != nil {
		return err
	}
	for _, uses := range [][]Use{u.Has, u.Had} {
		for i := range uses {
			uses[i].VesselGone = gone[uses[i].Vessel.ID]
		}
	}
	for i := range u.Carried {
		u.Carried[i].VesselGone = gone[u.Carried[i].Vessel.ID]
	}
	return nil
}
