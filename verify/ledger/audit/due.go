package audit

import (
	"cmp"
	"context"
	"database/sql"
	"fmt"
	"slices"
	"time"

	"cardwright/verify/ledger"
	"cardwright/verify/ledger/known"
	"cardwright/verify/ledger/store"
)

// PlanSummary is what planning says of one vessel today. The ledger knows
// nothing of plans: the caller makes them.
type PlanSummary struct {
	Vessel   string `json:"vessel"`
	Name     string `json:"name"`  // as its file says today; "": as the ledger has it
	Berth    string `json:"berth"` // the same
	Steps    int    `json:"steps"`
	Minutes  int    `json:"minutes"`            // with checks and settings
	AtLeast  bool   `json:"at_least,omitempty"` // some of it nobody wrote down
	Conflict string `json:"conflict"`           // why no set of releases has a safe order; "" where one has
	Unread   string `json:"unread"`             // why nothing could be planned yet; "" where it could
}

// Due says what is to be done, vessel by vessel.
type Due struct {
	Format  int         `json:"format"`
	Vessels []DueVessel `json:"vessels"` // those with something to do, longest unvisited first
}

// DueVessel is what is to be done on one vessel.
type DueVessel struct {
	Vessel Vessel       `json:"vessel"`
	Last   time.Time    `json:"last"` // when the last visit began; zero: none on record
	Plan   *PlanSummary `json:"plan"` // null: nothing was planned for it
	Open   []Line       `json:"open"` // steps that failed or were put off, checks that failed or weren't done, and nobody did since
}

// OfDue joins the plans with what earlier visits left open.
func OfDue(ctx context.Context, l *store.Ledger, plans []PlanSummary, f Filter) (Due, error) {
	due := Due{Format: format, Vessels: []DueVessel{}}
	err := l.Look(ctx, func(q store.Querier) error {
		again, err := anewIn(ctx, l, q)
		if err != nil {
			return err
		}
		open, err := openLines(ctx, l, q, again.Names, f)
		if err != nil {
			return err
		}
		for vessel, d := range dueVessels(&again.lives, plans, open) {
			if again.gone[vessel] {
				continue
			}
			if err := d.describe(ctx, q, vessel, &again); err != nil {
				return err
			}
			if f.letsBerth(d.Vessel.Berth) {
				due.Vessels = append(due.Vessels, *d)
			}
		}
		return nil
	})
	slices.SortFunc(due.Vessels, func(a, b DueVessel) int {
		return cmp.Or(a.Last.Compare(b.Last), cmp.Compare(a.Vessel.ID, b.Vessel.ID))
	})
	if err != nil {
		return Due{}, fmt.Errorf("auditing what is due: %w", err)
	}
	return due, nil
}

// dueVessels are those with something to do, by their ids of today.
func dueVessels(lives *lives, plans []PlanSummary, open []Line) map[string]*DueVessel {
	all := map[string]*DueVessel{}
	at := func(vessel string) *DueVessel {
		vessel = lives.Now(vessel)
		if all[vessel] == nil {
			all[vessel] = &DueVessel{Open: []Line{}}
		}
		return all[vessel]
	}
	for _, p := range plans {
		if p.Steps > 0 || p.Conflict != "" || p.Unread != "" {
			at(p.Vessel).Plan = &p
		}
	}
	for _, line := range open {
		d := at(line.Entry.Vessel)
		d.Open = append(d.Open, line)
	}
	return all
}

func (d *DueVessel) describe(ctx context.Context, q store.Querier, id string, again *anew) (err error) {
	if is, anew := again.vessels[id]; anew {
		d.Vessel, d.Last = is.words()
	} else {
		d.Vessel.ID = id
		if err := again.describe(ctx, q, &d.Vessel); err != nil {
			return err
		}
		d.Last, err = lastVisit(ctx, q, id)
	}
	if p := d.Plan; p != nil {
		d.Vessel.Name, d.Vessel.Berth = cmp.Or(p.Name, d.Vessel.Name), cmp.Or(p.Berth, d.Vessel.Berth)
	}
	return err
}

// lastVisit is when a vessel's last visit began: what says who was aboard but no name.
func lastVisit(ctx context.Context, q store.Querier, vessel string) (last time.Time, err error) {
	err = store.Each(ctx, q, `SELECT ord FROM sighting WHERE vessel = $1 AND name = '' ORDER BY ord DESC LIMIT 1`, []any{vessel}, func(r *sql.Rows) error {
		var ord []byte
		err := r.Scan(&ord)
		last = ledger.AtOf(ord)
		return err
	})
	return last, err
}

// openLines are what steps and checks left open and nobody did since.
func openLines(ctx context.Context, l *store.Ledger, q store.Querier, names known.Names, f Filter) ([]Line, error) {
	var vessels []string
	err := store.Each(ctx, q, `SELECT vessel FROM event WHERE kind IN ('step failed', 'step put off', 'check failed', 'check not done')
		UNION SELECT vessel FROM event WHERE corrects IS NOT NULL AND vessel <> ''`, nil, func(r *sql.Rows) error {
		var vessel string
		err := r.Scan(&vessel)
		vessels = append(vessels, names.Now(vessel))
		return err
	})
	if err != nil {
		return nil, err
	}
	slices.Sort(vessels)
	vessels = slices.Compact(vessels)
	trust, err := l.Trust(ctx, q)
	if err != nil {
		return nil, err
	}
	f.Berth = "" // asked of the vessel
	var open []Line
	err = eachVessel(ctx, q, names, vessels, ofDevices, func(about aboutVessel) error {
		v := known.Of(about.vessel, about.events, known.Ask{Trust: trust, Seen: about.seen, Formerly: about.formerly})
		for _, line := range openOn(&v, about.events) {
			if f.lets(line) {
				open = append(open, line)
			}
		}
		return nil
	})
	if err != nil {
		return nil, err
	}
	slices.SortFunc(open, func(a, b Line) int {
		return cmp.Or(a.Entry.At.Compare(b.Entry.At), cmp.Compare(a.Writer, b.Writer), cmp.Compare(a.Seq, b.Seq), slices.Compare(a.Event[:], b.Event[:]))
	})
	return open, nil
}

// openOn is what steps and checks left open on one vessel.
func openOn(v *known.Vessel, events []ledger.Event) (lines []Line) {
	for _, d := range v.Devices {
		for _, o := range d.Open {
			if !o.Left() {
				continue
			}
			i := slices.IndexFunc(events, func(e ledger.Event) bool { return e.ID == o.Event })
			line := lineOf(events[i])
			line.Entry = o.Entry
			lines = append(lines, line)
		}
	}
	return lines
}
