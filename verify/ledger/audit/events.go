package audit

import (
	"context"
	"database/sql"
	"fmt"

	"cardwright/verify/ledger"
	"cardwright/verify/ledger/store"
)

func eachOnCard(ctx context.Context, q store.Querier, vessel string, give func(ledger.OnCard)) error {
	return store.Each(ctx, q, `SELECT device, model, version, card FROM carried WHERE vessel = $1 AND good = 1 ORDER BY at, card, device`, []any{vessel},
		func(r *sql.Rows) error {
			var c ledger.OnCard
			err := r.Scan(&c.Device, &c.Model, &c.Version, &c.Card)
			give(c)
			return err
		})
}

// Events gives every event that passes the filter, in order of time (or of
// one vessel, where vessel is set), one after another: there may be millions.
func Events(ctx context.Context, l *store.Ledger, vessel string, f Filter, give func(ledger.Event) error) error {
	ask := question{where: []string{"1 = 1"}}
	ask.equal("vessel", vessel)
	ask.times(f, "at")
	ask.berth(f, "berth")
	ask.equal("technician", f.Technician)
	err := l.Look(ctx, func(q store.Querier) error {
		return store.EachEvent(ctx, q, ask.String()+" ORDER BY ord", ask.args, func(e ledger.Event) error {
			if !f.lets(lineOf(e)) {
				return nil
			}
			return give(e)
		})
	})
	if err != nil {
		return fmt.Errorf("reading events: %w", err)
	}
	return nil
}
