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

// errTooMany says that there are more than maxLines about vessels that are read together.
var errTooMany = errors.New("more than 100,000 events about so few vessels: no boat gets that many in its life, somebody filled the ledger")

// OfVessel gives a vessel's history, and what it ran at a moment (the zero
// time: now). The filter narrows the lines, not the state.
func OfVessel(ctx context.Context, l *store.Ledger, vessel string, at time.Time, f Filter) (History, error) {
	h := History{Format: format, Lines: []Line{}, Devices: []Device{}, Contradictions: []known.Contradiction{}, Also: []Vessel{}, Swings: []Swing{}, LeftOut: LeftOut{Lines: []Line{}}}
	if !at.IsZero() {
		h.At = &at
	}
	err := l.Look(ctx, func(q store.Querier) error {
		all, err := livesIn(ctx, l, q)
		if err != nil {
			return err
		}
		return errors.Join(h.vessel(ctx, q, &all, vessel), h.fill(ctx, l, q, all.Names, vessel, f), h.also(ctx, q))
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

// vessel is what is looked up of her; of one that had other ids fill says it.
func (h *History) vessel(ctx context.Context, q store.Querier, all *lives, id string) error {
	hers, args := among("v.vessel", all.All(id), 1)
	return store.Each(ctx, q, `SELECT `+vesselColumns+` FROM vessel v WHERE `+hers, args, func(r *sql.Rows) error {
		return r.Scan(h.Vessel.scan()...)
	})
}

// maxAlso bounds the other ids that are shown of one vessel.
const maxAlso = 20

func (h *History) also(ctx context.Context, q store.Querier) error {
	v := h.Vessel
	if v.IMO == "" && v.MMSI == "" && v.Hull == "" {
		return nil
	}
	hers, ids := among("v.vessel", append([]string{v.ID}, v.Formerly...), 4)
	return store.Each(ctx, q, `SELECT `+vesselColumns+` FROM vessel v WHERE NOT `+hers+` AND
			(v.imo <> '' AND v.imo = $1 OR v.mmsi <> '' AND v.mmsi = $2 OR v.hull <> '' AND v.hull = $3)
		ORDER BY v.vessel`+fmt.Sprintf(" LIMIT %d", maxAlso), append([]any{v.IMO, v.MMSI, v.Hull}, ids...), func(r *sql.Rows) error {
		var other Vessel
		err := r.Scan(other.scan()...)
		h.Also = append(h.Also, other)
		return err
	})
}

// eventsOf are all events about a vessel, under any of her ids, with their
// corrections, whoever wrote them, in order of time.
func eventsOf(ctx context.Context, q store.Querier, ids []string) ([]ledger.Event, error) {
	hers, args := among("vessel", ids, 1)
	events, err := store.Events(ctx, q, hers+` ORDER BY ord LIMIT `+fmt.Sprint(maxLines+1), args...)
	if err != nil {
		return nil, err
	}
	// A correction stands under the vessel of what it corrects; one that doesn't
	// corrects it all the same.
	more, err := store.Events(ctx, q, `corrects IS NOT NULL AND NOT `+hers+` AND corrects IN (SELECT id FROM event WHERE `+hers+`) LIMIT `+fmt.Sprint(maxLines+1), args...)
	if events = append(events, more...); err == nil && len(events) > maxLines {
		err = errTooMany
	}
	return events, err
}

// fill takes everything from the vessel's events.
func (h *History) fill(ctx context.Context, l *store.Ledger, q store.Querier, names known.Names, vessel string, f Filter) error {
	withdrawn, left, err := withdrawalsIn(ctx, l, q)
	if err != nil {
		return err
	}
	h.note(left)
	ask, events, err := askOf(ctx, l, q, names, vessel, withdrawn)
	if err != nil {
		return err
	}
	vessel = names.Now(vessel)
	if h.At != nil {
		ask.Until = *h.At
	}
	h.lines(events, ask.Trust, names.All(vessel), f)
	v, contradictions := known.WithContradictions(vessel, events, ask)
	h.Known = v
	if v.LeftOut > 0 || len(ask.Formerly) > 0 {
		facts, _ := known.Facts(events, ask.Trust)
		h.Vessel, _ = wordsOf(vessel, ask, facts)
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
func askOf(ctx context.Context, l *store.Ledger, q store.Querier, names known.Names, vessel string, withdrawn known.Withdrawals) (ask known.Ask, events []ledger.Event, err error) {
	if ask.Trust, err = l.Trust(ctx, q); err != nil {
		return ask, nil, err
	}
	if events, err = eventsOf(ctx, q, names.All(vessel)); err != nil {
		return ask, nil, err
	}
	ask.Withdrawn, ask.Formerly = withdrawn, names.Were(vessel)
	ask.Seen, err = store.SeenAmong(ctx, q, events)
	return ask, events, err
}

// vesselIn is what is known of a vessel, and the events that say so.
func vesselIn(ctx context.Context, l *store.Ledger, q store.Querier, names known.Names, vessel string, withdrawn known.Withdrawals) (known.Vessel, []ledger.Event, error) {
	ask, events, err := askOf(ctx, l, q, names, vessel, withdrawn)
	if err != nil {
		return known.Vessel{}, nil, err
	}
	return known.Of(names.Now(vessel), events, ask), events, nil
}

// Known is what a ledger knows of a vessel, with the releases that the ledger or
// a catalogue withdrew. A vessel that it doesn't know has no devices.
func Known(ctx context.Context, l *store.Ledger, catalogue []*manifest.Model, vessel string) (v known.Vessel, err error) {
	err = l.Look(ctx, func(q store.Querier) error {
		withdrawn, _, err := withdrawalsIn(ctx, l, q)
		if err != nil {
			return err
		}
		all, err := livesIn(ctx, l, q)
		if err != nil {
			return err
		}
		v, _, err = vesselIn(ctx, l, q, all.Names, vessel, append(withdrawn, known.WithdrawalsOf(catalogue, nil, nil)...))
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

func (h *History) lines(events []ledger.Event, trust known.Trust, ids []string, f Filter) {
	last := known.Corrections(events, trust)
	h.Lines = make([]Line, 0, len(events))
	for i := range events {
		e := &events[i]
		entry := &e.Statement.Entry
		if !slices.Contains(ids, entry.Vessel) || trust != nil && !trust(e) || h.At != nil && entry.At.After(*h.At) {
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

// Unknown reports whether nobody has read a device's version yet.
func (d Device) Unknown() bool { return d.Version == version.Unknown || d.Version == "" }

// Doubtful are the vessels with something that may have to be read before anything is
// planned: a step failed there, writers disagree, or the lookup tables can't
// be trusted (see anew). They are listed under all of their ids.
func Doubtful(ctx context.Context, l *store.Ledger) (vessels []string, err error) {
	err = l.Look(ctx, func(q store.Querier) error {
		all, err := livesIn(ctx, l, q)
		if err != nil {
			return err
		}
		_, untrusted, err := l.Untrusted(ctx, q)
		if err != nil {
			return err
		}
		for _, vessel := range append(untrusted, all.Renames()...) {
			vessels = append(vessels, all.All(vessel)...)
		}
		for vessel := range all.gone {
			vessels = append(vessels, all.All(vessel)...)
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

// Otherwise are the vessels whose files have a device, or a word about the vessel
// herself, otherwise than the tables that are looked up, or a device that these don't
// have; those that were renamed or are gone; and those whose tables can't be
// trusted, since a writer unknown to the shop wrote of them.
func Otherwise(ctx context.Context, l *store.Ledger, files []*manifest.Vessel) (vessels []string, err error) {
	aboard := map[string]map[string]Device{}
	words := map[string]Vessel{}
	var untrusted []string
	var all lives
	err = l.Look(ctx, func(q store.Querier) error {
		if _, untrusted, err = l.Untrusted(ctx, q); err != nil {
			return err
		}
		if all, err = livesIn(ctx, l, q); err != nil {
			return err
		}
		err := store.Each(ctx, q, `SELECT `+vesselColumns+` FROM vessel v`, nil, func(r *sql.Rows) error {
			var v Vessel
			err := r.Scan(v.scan()...)
			words[v.ID] = v
			return err
		})
		if err != nil {
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
		return nil, fmt.Errorf("comparing the vessels' files with the ledger: %w", err)
	}
	for _, v := range files {
		is, w := aboard[v.ID], words[v.ID]
		if now := all.Now(v.ID); all.gone[now] || all.named[now] || slices.Contains(untrusted, v.ID) || w.otherwise(v) || is != nil && devicesOtherwise(is, v.Devices) {
			vessels = append(vessels, v.ID)
		}
	}
	return vessels, nil
}

// otherwise reports whether a file says something else of a vessel; what one of the two
// doesn't say doesn't count.
func (v *Vessel) otherwise(file *manifest.Vessel) bool {
	for _, w := range [][2]string{{v.Name, file.Name}, {v.Berth, file.Berth}, {v.IMO, file.Identity.IMO}, {v.MMSI, file.Identity.MMSI}, {v.Hull, file.Identity.Hull}} {
		if w[0] != "" && w[1] != "" && w[0] != w[1] {
			return true
		}
	}
	return false
}

func devicesOtherwise(is map[string]Device, file []*manifest.Device) bool {
	return len(is) != len(file) || slices.ContainsFunc(file, func(d *manifest.Device) bool {
		x, there := is[d.ID]
		return !there || x.Model != d.Model || x.Serial != d.Serial || x.Place != d.Place || x.Variant != d.Variant ||
			ledger.VersionKey(x.Version) != ledger.VersionKey(d.Version)
	})
}
