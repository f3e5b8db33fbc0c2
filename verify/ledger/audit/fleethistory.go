package audit

import (
	"context"
	"database/sql"
	"fmt"
	"time"

	"cardwright/manifest"
	"cardwright/verify/ledger/known"
	"cardwright/verify/ledger/store"
)

// Stood is how the devices of a fleet stood at a moment, by the releases that
// were published, and the withdrawals that were noted, up to then.
type Stood struct {
	At     time.Time      `json:"at"`
	Counts map[Status]int `json:"counts"` // devices, zeros too
}

// OverTime reports how the vessels of a fleet got to where they are: how their
// devices stood at so many moments, evenly from the first event of the ledger to
// the last moment. A release without a day counts as published from the first.
// There is no history of a fleet without vessels, or one narrowed by who read
// what when, or of a ledger without events.
func OverTime(ctx context.Context, l *store.Ledger, catalogue []*manifest.Model, fleet Fleet, f Filter, last time.Time, moments int) (all []Stood, err error) {
	if f.Technician != "" || !f.From.IsZero() || !f.To.IsZero() {
		return nil, nil
	}
	err = l.Look(ctx, func(q store.Querier) error {
		first, err := firstEvent(ctx, q)
		if err != nil || first.IsZero() || !first.Before(last) || len(fleet.Vessels) == 0 {
			return err
		}
		withdrawn, _, err := withdrawalsIn(ctx, l, q)
		if err != nil {
			return err
		}
		judges := make([]*judge, moments)
		for i := range moments {
			at := first.Add(time.Duration(float64(last.Sub(first)) * float64(i) / float64(moments-1)))
			all = append(all, Stood{At: at, Counts: map[Status]int{}})
			for _, s := range Statuses {
				all[i].Counts[s] = 0
			}
			judges[i] = newJudge(publishedBy(catalogue, withdrawn, at), notedBy(withdrawn, at))
		}
		lives, err := livesIn(ctx, l, q)
		if err != nil {
			return err
		}
		trust, err := l.Trust(ctx, q)
		if err != nil {
			return err
		}
		vessels := make([]string, len(fleet.Vessels))
		for i, row := range fleet.Vessels {
			vessels[i] = row.Vessel.ID
		}
		return eachVessel(ctx, q, lives.Names, vessels, ofDevices, func(about aboutVessel) error {
			ask := known.Ask{Trust: trust, Seen: about.seen, Formerly: about.formerly}
			for i := range all {
				ask.Until = all[i].At
				for _, d := range known.Of(about.vessel, about.events, ask).Devices {
					if !d.Gone && d.EverRead() && (f.Maker == "" || f.Maker == d.Maker) {
						all[i].Counts[judges[i].standing(deviceOf(d)).Status]++
					}
				}
			}
			return nil
		})
	})
	if err != nil {
		return nil, fmt.Errorf("auditing the fleet over time: %w", err)
	}
	return all, nil
}

// firstEvent is when the first event about a vessel was; zero: there is none.
func firstEvent(ctx context.Context, q store.Querier) (at time.Time, err error) {
	var text sql.NullString
	if err := q.QueryRowContext(ctx, `SELECT MIN(at) FROM event WHERE vessel <> ''`).Scan(&text); err != nil || !text.Valid {
		return at, err
	}
	return moment(text.String)
}

// publishedBy is the catalogue as it was at a moment. A withdrawal that it has
// without a day counts from the day on which the ledger notes it, if it does.
func publishedBy(catalogue []*manifest.Model, withdrawn known.Withdrawals, at time.Time) []*manifest.Model {
	then := make([]*manifest.Model, len(catalogue))
	for i, m := range catalogue {
		was := *m
		was.Releases = nil
		for _, r := range m.Releases {
			if r.Released.After(at) {
				continue
			}
			if w := withdrawn.Of(m.ID, r.Variant, r.Version); w != nil && w.At.After(at) {
				still := *r
				still.Withdrawn = ""
				r = &still
			}
			was.Releases = append(was.Releases, r)
		}
		then[i] = &was
	}
	return then
}

// notedBy are the withdrawals that were noted up to a moment.
func notedBy(all known.Withdrawals, at time.Time) (then known.Withdrawals) {
	for _, w := range all {
		if !w.At.After(at) {
			then = append(then, w)
		}
	}
	return then
}
