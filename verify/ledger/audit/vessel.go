package audit

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"cardwright/manifest/version"
	"cardwright/verify/ledger"
	"cardwright/verify/ledger/store"
)

// History is what a ledger says of one vessel.
type History struct {
	Format         int                    `json:"format"`
	Vessel         Vessel                 `json:"vessel"`
	At             *time.Time             `json:"at"`      // the moment that was asked for; null: now
	Devices        []Device               `json:"devices"` // as they were then, by id
	Lines          []Line                 `json:"lines"`   // what happened up to then, in order
	Contradictions []ledger.Contradiction `json:"contradictions"`
	Swings         []Swing                `json:"swings"` // sea trials among the lines
	// Also are vessels of other ids with the same IMO number, MMSI or hull:
	// most likely this one, under the id that it had before.
	Also []Vessel `json:"also"`
}

// ErrNothing says that the ledger holds nothing of what was asked for.
var ErrNothing = errors.New("the ledger says nothing of it")

// MaxLines is how many lines of one vessel's history are given: far more than
// a boat gets in its life.
const MaxLines = 100_000

// ErrTooMany says that a history has more than MaxLines.
var ErrTooMany = errors.New("more events than anybody can read: narrow the dates")

// OfVessel gives a vessel's history, and what it ran at a moment (the zero
// time: now). The filter narrows the lines, not the state.
func OfVessel(ctx context.Context, l *store.Ledger, vessel string, at time.Time, f Filter) (History, error) {
	h := History{Format: Format, Lines: []Line{}, Devices: []Device{}, Contradictions: []ledger.Contradiction{}, Also: []Vessel{}, Swings: []Swing{}}
	if !at.IsZero() {
		h.At = &at
	}
	err := l.Look(ctx, func(q store.Querier) error {
		return errors.Join(h.vessel(ctx, q, vessel), h.also(ctx, q), h.lines(ctx, q, vessel, f), h.state(ctx, q, vessel))
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

// upTo is the condition on ord for everything up to the moment that was
// asked for.
func (h *History) upTo(q *question) {
	if h.At != nil {
		q.and("ord < $%d", ledger.OrdAt(h.At.Add(time.Second)))
	}
}

func (h *History) lines(ctx context.Context, q store.Querier, vessel string, f Filter) error {
	var ask question
	ask.and("vessel = $%d", vessel)
	h.upTo(&ask)
	ask.times(f, "at")
	// The last correction of each event comes with it.
	query := `SELECT id, content, signature, (SELECT c.id FROM event c WHERE c.corrects = event.id ORDER BY c.ord DESC LIMIT 1)
		FROM event WHERE ` + ask.String() + ` ORDER BY ord` + fmt.Sprintf(" LIMIT %d", MaxLines+1)
	n := 0
	return store.Each(ctx, q, query, ask.args, func(r *sql.Rows) error {
		var id, content, signature, correction []byte
		if err := r.Scan(&id, &content, &signature, &correction); err != nil {
			return err
		}
		e, err := ledger.Read(idOf(id), content, signature)
		if err != nil {
			return err
		}
		if n++; n > MaxLines {
			return ErrTooMany
		}
		line := lineOf(e)
		if correction != nil {
			line.CorrectedBy = idOf(correction).String()
		}
		if f.lets(line) {
			h.Lines = append(h.Lines, line)
		}
		return nil
	})
}

func idOf(b []byte) (id ledger.ID) {
	copy(id[:], b)
	return id
}

// state takes the devices from their readings, so that it can say what was so
// at any moment, and finds the contradictions among these.
func (h *History) state(ctx context.Context, q store.Querier, vessel string) error {
	var ask question
	ask.and("r.vessel = $%d", vessel)
	h.upTo(&ask)
	var readings []ledger.Reading
	err := store.Each(ctx, q, `SELECT r.device, e.id, r.at, r.writer, r.kind, r.maker, r.model, r.name, r.place, r.serial, r.variant,
			r.version, r.before, r.installed, r.gone
		FROM reading r JOIN event e ON e.no = r.event
		WHERE `+strings.ReplaceAll(ask.String(), "ord", "r.ord")+` ORDER BY r.device, r.ord`, ask.args, func(rows *sql.Rows) error {
		r, err := scanReading(rows)
		r.Vessel = vessel
		readings = append(readings, r)
		return err
	})
	if err != nil {
		return err
	}
	for of := range chunksBy(readings, func(a, b ledger.Reading) bool { return a.Device.ID == b.Device.ID }) {
		h.Devices = append(h.Devices, settled(of))
		h.Contradictions = append(h.Contradictions, ledger.Contradictions(of)...)
	}
	return nil
}

func scanReading(rows *sql.Rows) (ledger.Reading, error) {
	var r ledger.Reading
	var id []byte
	var at string
	var installed, gone int64
	d := &r.Device
	err := rows.Scan(&d.ID, &id, &at, &r.Writer, &d.Kind, &d.Maker, &d.Model, &d.Name, &d.Place, &d.Serial, &d.Variant,
		&r.Version, &r.Before, &installed, &gone)
	if err != nil {
		return r, err
	}
	r.Event = idOf(id)
	r.Installed, r.Gone = installed != 0, gone != 0
	r.At, err = moment(at)
	return r, err
}

func settled(readings []ledger.Reading) Device {
	s := ledger.Settle(readings[max(0, len(readings)-ledger.SettleOver):])
	return Device{Device: s.Device, Version: s.Version, Other: s.Other, Since: s.At, Gone: s.Gone}
}

// chunksBy gives the runs of neighbours that belong together.
func chunksBy[T any](list []T, together func(a, b T) bool) func(yield func([]T) bool) {
	return func(yield func([]T) bool) {
		for len(list) > 0 {
			n := 1
			for n < len(list) && together(list[0], list[n]) {
				n++
			}
			if !yield(slices.Clip(list[:n])) {
				return
			}
			list = list[n:]
		}
	}
}

// Unknown tells whether nobody has read a device's version yet.
func (d Device) Unknown() bool { return d.Version == version.Unknown || d.Version == "" }
