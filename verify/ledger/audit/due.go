package audit

import (
	"cmp"
	"context"
	"database/sql"
	"fmt"
	"slices"
	"time"

	"cardwright/manifest/version"
	"cardwright/verify/ledger"
	"cardwright/verify/ledger/store"
)

// PlanSummary is what planning says of one vessel today. The ledger knows
// nothing of plans: the caller makes them.
type PlanSummary struct {
	Vessel   string `json:"vessel"`
	Name     string `json:"name"`  // as its file says today; "": as the ledger has it
	Berth    string `json:"berth"` // the same
	Steps    int    `json:"steps"`
	Minutes  int    `json:"minutes"`
	Conflict string `json:"conflict"` // why no set of releases has a safe order; "" where one has
	Unread   string `json:"unread"`   // why nothing could be planned yet; "" where it could
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
	due := Due{Format: Format, Vessels: []DueVessel{}}
	err := l.Look(ctx, func(q store.Querier) error {
		open, err := openLines(ctx, q, f)
		if err != nil {
			return err
		}
		for vessel, d := range dueVessels(plans, open) {
			if err := d.describe(ctx, q, vessel); err != nil {
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

func dueVessels(plans []PlanSummary, open []Line) map[string]*DueVessel {
	all := map[string]*DueVessel{}
	at := func(vessel string) *DueVessel {
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

func (d *DueVessel) describe(ctx context.Context, q store.Querier, id string) error {
	d.Vessel.ID = id
	if err := d.Vessel.describe(ctx, q); err != nil {
		return err
	}
	if p := d.Plan; p != nil {
		d.Vessel.Name, d.Vessel.Berth = cmp.Or(p.Name, d.Vessel.Name), cmp.Or(p.Berth, d.Vessel.Berth)
	}
	// What says who was aboard but no name is a visit.
	return store.Each(ctx, q, `SELECT ord FROM sighting WHERE vessel = $1 AND name = '' ORDER BY ord DESC LIMIT 1`, []any{id}, func(r *sql.Rows) error {
		var ord []byte
		err := r.Scan(&ord)
		d.Last = ledger.AtOf(ord)
		return err
	})
}

// openLines are the last of each kind of thing left open on a device, those
// that weren't done since.
func openLines(ctx context.Context, q store.Querier, f Filter) ([]Line, error) {
	last := map[string]Line{}
	err := eachStanding(ctx, q, `kind IN ('step failed', 'step put off', 'check failed', 'check not done')`, `1 = 1`, nil, func(line Line) error {
		if slices.Contains(openKinds, line.Entry.Kind) {
			last[whatIsOpen(&line.Entry)] = line
		}
		return nil
	})
	if err != nil {
		return nil, err
	}
	var open []Line
	for _, line := range last {
		done, err := doneSince(ctx, q, line)
		if err != nil {
			return nil, err
		}
		f := f
		f.Berth = "" // asked of the vessel
		if !done && f.lets(line) {
			open = append(open, line)
		}
	}
	slices.SortFunc(open, func(a, b Line) int {
		return cmp.Or(a.Entry.At.Compare(b.Entry.At), cmp.Compare(a.Writer, b.Writer), cmp.Compare(a.Seq, b.Seq), slices.Compare(a.Event[:], b.Event[:]))
	})
	return open, nil
}

var openKinds = []ledger.Kind{ledger.StepFailed, ledger.StepPutOff, ledger.CheckFailed, ledger.CheckNotDone}

func whatIsOpen(e *ledger.Entry) string {
	if e.Step != nil {
		return e.Vessel + "\n" + e.Step.Device.ID
	}
	return e.Vessel + "\n" + e.Check.Device.ID + "\n" + e.Check.Check
}

// doneSince tells whether a later event did what was left open: the check
// passed, or the device runs what was planned, or something newer.
func doneSince(ctx context.Context, q store.Querier, line Line) (done bool, err error) {
	e := line.Entry
	if e.Step != nil {
		return stepDone(ctx, q, &e)
	}
	if gone, err := isGone(ctx, q, e.Vessel, e.Check.Device); gone || err != nil {
		return gone, err
	}
	err = eachStanding(ctx, q, `vessel = $1 AND kind = 'check passed'`, `vessel = $1`, []any{e.Vessel}, func(later Line) error {
		k := later.Entry.Check
		done = done || later.Entry.Kind == ledger.CheckPassed && !later.Entry.At.Before(e.At) && k.Check == e.Check.Check && k.Device.ID == e.Check.Device.ID
		return nil
	})
	return done, err
}

// isGone tells whether a device is no longer aboard, or another model stands
// in its place: what was left open on it can't be done any more.
func isGone(ctx context.Context, q store.Querier, vessel string, d ledger.Device) (is bool, err error) {
	err = store.Each(ctx, q, `SELECT model, gone FROM device WHERE vessel = $1 AND device = $2`, []any{vessel, d.ID}, func(r *sql.Rows) error {
		var model string
		var gone int64
		err := r.Scan(&model, &gone)
		is = gone != 0 || model != "" && d.Model != "" && model != d.Model
		return err
	})
	return is, err
}

func stepDone(ctx context.Context, q store.Querier, e *ledger.Entry) (done bool, err error) {
	if gone, err := isGone(ctx, q, e.Vessel, e.Step.Device); gone || err != nil {
		return gone, err
	}
	err = store.Each(ctx, q, `SELECT version, at FROM device WHERE vessel = $1 AND device = $2`, []any{e.Vessel, e.Step.Device.ID}, func(r *sql.Rows) error {
		var now version.V
		var at string
		if err := r.Scan(&now, &at); err != nil {
			return err
		}
		planned := ledger.VersionKey(e.Step.Planned) != ""
		switch {
		case planned && ledger.VersionKey(now) != "":
			done = version.Compare(now, e.Step.Planned) >= 0
		case !planned:
			done = at > text(e.At)
		}
		return nil
	})
	return done, err
}
