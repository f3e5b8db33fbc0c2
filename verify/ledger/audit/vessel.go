package audit

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"slices"
	"time"

	"cardwright/manifest"
	"cardwright/manifest/version"
	"cardwright/verify/ledger"
	"cardwright/verify/ledger/known"
	"cardwright/verify/ledger/store"
)

// History is what a ledger says of one vessel.
type History struct {
	Format         int                   `json:"format"`
	Vessel         Vessel                `json:"vessel"`
	At             *time.Time            `json:"at"`      // the moment that was asked for; null: now
	Devices        []Device              `json:"devices"` // as they were then, by id
	Lines          []Line                `json:"lines"`   // what happened up to then, in order
	Contradictions []known.Contradiction `json:"contradictions"`
	Swings         []Swing               `json:"swings"` // sea trials among the lines
	// Also are vessels of other ids with the same IMO number, MMSI or hull:
	// most likely this one, under the id that it had before.
	Also []Vessel `json:"also"`
	LeftOut

	// Known is what the devices are taken from, as the ledger alone knows it.
	Known known.Vessel `json:"-"`
}

// LeftOut are events that count in no answer, since the shop doesn't trust who
// wrote them.
type LeftOut struct {
	Count int    `json:"left_out"`
	Lines []Line `json:"untrusted"` // of those that were asked about, and withdrawals; at most known.MaxUntrusted
}

func (o *LeftOut) note(events []ledger.Event) {
	o.Count += len(events)
	for _, e := range events[:min(len(events), known.MaxUntrusted)] {
		o.Lines = append(o.Lines, lineOf(e))
	}
}

// ErrNothing says that the ledger holds nothing of what was asked for.
var ErrNothing = errors.New("the ledger has no entry for it")

// errTooMany says that a history has more than maxLines.
var errTooMany = errors.New("more events than anybody can read: narrow the dates")

// OfVessel gives a vessel's history, and what it ran at a moment (the zero
// time: now). The filter narrows the lines, not the state.
func OfVessel(ctx context.Context, l *store.Ledger, vessel string, at time.Time, f Filter) (History, error) {
	h := History{Format: format, Lines: []Line{}, Devices: []Device{}, Contradictions: []known.Contradiction{}, Also: []Vessel{}, Swings: []Swing{}, LeftOut: LeftOut{Lines: []Line{}}}
	if !at.IsZero() {
		h.At = &at
	}
	err := l.Look(ctx, func(q store.Querier) error {
		return errors.Join(h.vessel(ctx, q, vessel), h.also(ctx, q), h.fill(ctx, l, q, vessel, f))
	})
	if err == nil && h.Vessel.ID == "" {
		err = fmt.Errorf("%w: vessel %q", ErrNothing, vessel)
	}
	if err != nil {
		return History{}, fmt.Errorf("auditing vessel %s: %w", vessel, err)
	}
	h.Swings = swings(h.Lines)
	return h, nil
}

func (h *History) vessel(ctx context.Context, q store.Querier, id string) error {
	return store.Each(ctx, q, `SELECT vessel, name, berth, imo, mmsi, hull FROM vessel WHERE vessel = $1`, []any{id}, func(r *sql.Rows) error {
		v := &h.Vessel
		return r.Scan(&v.ID, &v.Name, &v.Berth, &v.IMO, &v.MMSI, &v.Hull)
	})
}

// maxAlso is how many other ids of one vessel are told.
const maxAlso = 20

func (h *History) also(ctx context.Context, q store.Querier) error {
	v := h.Vessel
	if v.IMO == "" && v.MMSI == "" && v.Hull == "" {
		return nil
	}
	return store.Each(ctx, q, `SELECT `+vesselColumns+` FROM vessel v WHERE v.vessel <> $1 AND
			(v.imo <> '' AND v.imo = $2 OR v.mmsi <> '' AND v.mmsi = $3 OR v.hull <> '' AND v.hull = $4)
		ORDER BY v.vessel`+fmt.Sprintf(" LIMIT %d", maxAlso), []any{v.ID, v.IMO, v.MMSI, v.Hull}, func(r *sql.Rows) error {
		var other Vessel
		err := r.Scan(other.scan()...)
		h.Also = append(h.Also, other)
		return err
	})
}

// eventsOf are all events about a vessel with their corrections, whoever wrote
// them, in order of time.
func eventsOf(ctx context.Context, q store.Querier, vessel string) ([]ledger.Event, error) {
	events, err := store.Events(ctx, q, `vessel = $1 ORDER BY ord LIMIT `+fmt.Sprint(maxLines+1), vessel)
	if err != nil {
		return nil, err
	}
	// A correction stands under the vessel of what it corrects; one that doesn't
	// corrects it all the same.
	more, err := store.Events(ctx, q, `corrects IS NOT NULL AND vessel <> $1 AND corrects IN (SELECT id FROM event WHERE vessel = $1) LIMIT `+fmt.Sprint(maxLines+1), vessel)
	if events = append(events, more...); err == nil && len(events) > maxLines {
		err = errTooMany
	}
	return events, err
}

// fill takes everything from the vessel's events.
func (h *History) fill(ctx context.Context, l *store.Ledger, q store.Querier, vessel string, f Filter) error {
	withdrawn, left, err := withdrawalsIn(ctx, l, q)
	if err != nil {
		return err
	}
	h.note(left)
	ask, events, err := askOf(ctx, l, q, vessel, withdrawn)
	if err != nil {
		return err
	}
	if h.At != nil {
		ask.Until = *h.At
	}
	h.lines(events, ask.Trust, vessel, f)
	v, contradictions := known.WithContradictions(vessel, events, ask)
	h.Known = v
	if v.LeftOut > 0 {
		facts, _ := known.Facts(events, ask.Trust)
		h.Vessel, _ = wordsOf(vessel, facts, ask.Seen)
	}
	h.Count += v.LeftOut - len(v.Untrusted)
	h.note(v.Untrusted)
	for _, d := range v.Devices {
		h.Devices = append(h.Devices, deviceOf(d))
	}
	h.Contradictions = append(h.Contradictions, contradictions...)
	return nil
}

// askOf reads a vessel's events, and what is taken into account with them.
func askOf(ctx context.Context, l *store.Ledger, q store.Querier, vessel string, withdrawn known.Withdrawals) (ask known.Ask, events []ledger.Event, err error) {
	if ask.Trust, err = l.Trust(ctx, q); err != nil {
		return ask, nil, err
	}
	if events, err = eventsOf(ctx, q, vessel); err != nil {
		return ask, nil, err
	}
	ask.Withdrawn = withdrawn
	ask.Seen, err = store.SeenAmong(ctx, q, events)
	return ask, events, err
}

// vesselIn is what is known of a vessel, and the events that say so.
func vesselIn(ctx context.Context, l *store.Ledger, q store.Querier, vessel string, withdrawn known.Withdrawals) (known.Vessel, []ledger.Event, error) {
	ask, events, err := askOf(ctx, l, q, vessel, withdrawn)
	if err != nil {
		return known.Vessel{}, nil, err
	}
	return known.Of(vessel, events, ask), events, nil
}

// Known is what a ledger tells of a vessel, with the releases that the ledger or
// a catalogue withdrew. A vessel that it tells nothing of has no devices.
func Known(ctx context.Context, l *store.Ledger, catalogue []*manifest.Model, vessel string) (v known.Vessel, err error) {
	err = l.Look(ctx, func(q store.Querier) error {
		withdrawn, _, err := withdrawalsIn(ctx, l, q)
		if err != nil {
			return err
		}
		v, _, err = vesselIn(ctx, l, q, vessel, append(withdrawn, known.WithdrawalsOf(catalogue, nil, nil)...))
		return err
	})
	if err != nil {
		err = fmt.Errorf("looking up vessel %s in the ledger: %w", vessel, err)
	}
	return v, err
}

func deviceOf(d known.Device) Device {
	return Device{
		Device: d.Device, Version: d.Version, Other: d.Other, Since: d.Since, Gone: d.Gone,
		By: d.By, How: d.How, Open: d.Open,
	}
}

func (h *History) lines(events []ledger.Event, trust known.Trust, vessel string, f Filter) {
	last := known.Corrections(events, trust)
	h.Lines = make([]Line, 0, len(events))
	for i := range events {
		e := &events[i]
		entry := &e.Statement.Entry
		if entry.Vessel != vessel || trust != nil && !trust(e) || h.At != nil && entry.At.After(*h.At) {
			continue
		}
		line := lineOf(*e)
		if c, ok := last[e.ID]; ok {
			line.CorrectedBy = c.String()
		}
		if f.lets(line) {
			h.Lines = append(h.Lines, line)
		}
	}
}

// Unknown tells whether nobody has read a device's version yet.
func (d Device) Unknown() bool { return d.Version == version.Unknown || d.Version == "" }

// Doubtful are the vessels of which something may have to be read before anything is
// planned: a step failed there, writers disagree, or somebody wrote of them whom the
// shop doesn't trust.
func Doubtful(ctx context.Context, l *store.Ledger) (vessels []string, err error) {
	err = l.Look(ctx, func(q store.Querier) error {
		if _, vessels, err = l.Untrusted(ctx, q); err != nil {
			return err
		}
		// The first condition is that of an index.
		return store.Each(ctx, q, `SELECT vessel FROM event WHERE kind IN ('step failed', 'step put off', 'check failed', 'check not done') AND kind = 'step failed'
			UNION SELECT vessel FROM event WHERE corrects IS NOT NULL
			UNION SELECT vessel FROM device WHERE other <> ''`, nil, func(r *sql.Rows) error {
			var vessel string
			err := r.Scan(&vessel)
			vessels = append(vessels, vessel)
			return err
		})
	})
	if err != nil {
		return nil, fmt.Errorf("looking for what is open: %w", err)
	}
	slices.Sort(vessels)
	return slices.Compact(vessels), nil
}

// Otherwise are the vessels whose files have a device otherwise than the tables that
// are looked up, or one that these don't have; and those of which the tables can't be
// gone by, since somebody wrote of them whom the shop doesn't trust.
func Otherwise(ctx context.Context, l *store.Ledger, files []*manifest.Vessel) (vessels []string, err error) {
	aboard := map[string]map[string]Device{}
	var untrusted []string
	err = l.Look(ctx, func(q store.Querier) error {
		if _, untrusted, err = l.Untrusted(ctx, q); err != nil {
			return err
		}
		return store.Each(ctx, q, `SELECT d.vessel, `+deviceColumns+` FROM device d`, nil, func(r *sql.Rows) error {
			var vessel string
			var d Device
			if err := scanWith(r, []any{&vessel}, &d); err != nil {
				return err
			}
			if aboard[vessel] == nil {
				aboard[vessel] = map[string]Device{}
			}
			if !d.Gone {
				aboard[vessel][d.ID] = d
			}
			return nil
		})
	})
	if err != nil {
		return nil, fmt.Errorf("laying files beside the ledger: %w", err)
	}
	for _, v := range files {
		if slices.Contains(untrusted, v.ID) || aboard[v.ID] != nil && otherwise(v, aboard[v.ID]) {
			vessels = append(vessels, v.ID)
		}
	}
	return vessels, nil
}

// otherwise tells whether a vessel's file has other devices than are looked up.
func otherwise(v *manifest.Vessel, aboard map[string]Device) bool {
	return len(aboard) != len(v.Devices) || slices.ContainsFunc(v.Devices, func(d *manifest.Device) bool {
		is, there := aboard[d.ID]
		return !there || is.Model != d.Model || is.Serial != d.Serial || is.Place != d.Place || is.Variant != d.Variant ||
			ledger.VersionKey(is.Version) != ledger.VersionKey(d.Version)
	})
}
