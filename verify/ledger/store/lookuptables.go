package store

import (
	"cmp"
	"context"
	"database/sql"
	"errors"
	"fmt"
	"slices"

	"cardwright/manifest/version"
	"cardwright/verify/ledger"
	"cardwright/verify/ledger/known"
)

type deviceKey struct{ vessel, device string }

// touched is what has to be worked out again after a change.
type touched struct {
	devices map[deviceKey]bool
	vessels map[string]bool
}

func (t *touched) note(s says) {
	for _, r := range s.readings {
		t.devices[deviceKey{r[0].(string), r[1].(string)}] = true
		t.vessels[r[0].(string)] = true
	}
	for _, r := range s.sightings {
		t.vessels[r[2].(string)] = true
	}
}

// noteStored notes what rows that are about to go are about.
func (t *touched) noteStored(ctx context.Context, q Querier, members string, args ...any) error {
	err := Each(ctx, q, "SELECT vessel, device FROM reading WHERE event "+members, args, func(r *sql.Rows) error {
		var k deviceKey
		err := r.Scan(&k.vessel, &k.device)
		t.devices[k] = true
		return err
	})
	if err != nil {
		return err
	}
	return Each(ctx, q, "SELECT vessel FROM sighting WHERE event "+members, args, func(r *sql.Rows) error {
		var vessel string
		err := r.Scan(&vessel)
		t.vessels[vessel] = true
		return err
	})
}

func (t *tx) refresh(ctx context.Context, what touched) error {
	devices := make([]deviceKey, 0, len(what.devices))
	for k := range what.devices {
		devices = append(devices, k)
	}
	slices.SortFunc(devices, compareKeys)
	for part := range slices.Chunk(devices, chunk) {
		if err := t.refreshDevices(ctx, part); err != nil {
			return err
		}
	}
	vessels := make([]string, 0, len(what.vessels))
	for v := range what.vessels {
		vessels = append(vessels, v)
	}
	slices.Sort(vessels)
	for part := range slices.Chunk(vessels, chunk) {
		if err := t.refreshVessels(ctx, part); err != nil {
			return err
		}
	}
	return nil
}

func compareKeys(a, b deviceKey) int {
	return cmp.Or(cmp.Compare(a.vessel, b.vessel), cmp.Compare(a.device, b.device))
}

// settled is the row of one device.
type settled struct {
	key   deviceKey
	event int64
	state known.State
}

const deviceColumns = "vessel, device, event, at, kind, maker, model, name, place, serial, variant, version, version_key, other, gone"

func (s settled) row() []any {
	d := s.state.Device
	return []any{
		s.key.vessel, s.key.device, s.event, timeText(s.state.At), d.Kind, d.Maker, d.Model, d.Name, d.Place, d.Serial,
		d.Variant, string(s.state.Version), ledger.VersionKey(s.state.Version), string(s.state.Other), number(s.state.Gone),
	}
}

func (t *tx) refreshDevices(ctx context.Context, keys []deviceKey) error {
	states, err := settle(ctx, t, keys)
	if err != nil {
		return err
	}
	var rows [][]any
	for _, k := range keys {
		if s, ok := states[k]; ok {
			rows = append(rows, s.row())
			continue
		}
		if _, err := t.ExecContext(ctx, `DELETE FROM device WHERE vessel = $1 AND device = $2`, k.vessel, k.device); err != nil {
			return err
		}
	}
	return t.insert(ctx, "device", deviceColumns, ` ON CONFLICT (vessel, device) DO UPDATE SET
		event = excluded.event, at = excluded.at, kind = excluded.kind, maker = excluded.maker, model = excluded.model,
		name = excluded.name, place = excluded.place, serial = excluded.serial, variant = excluded.variant,
		version = excluded.version, version_key = excluded.version_key, other = excluded.other, gone = excluded.gone`, rows, nil)
}

// settle works out the states of some devices from their readings.
func settle(ctx context.Context, q Querier, keys []deviceKey) (map[deviceKey]settled, error) {
	args := make([]any, 0, 2*len(keys))
	for _, k := range keys {
		args = append(args, k.vessel, k.device)
	}
	query := `SELECT vessel, device, event, at, writer, kind, maker, model, name, place, serial, variant, version, before, installed, gone, by_hand, lost, ord
		FROM (SELECT r.*, row_number() OVER (PARTITION BY vessel, device ORDER BY ord DESC) AS back
			FROM reading r WHERE (vessel, device) IN (VALUES ` + values(len(keys), 2) + `)) last
		WHERE back <= ` + fmt.Sprint(known.SettleOver) + ` ORDER BY vessel, device, back DESC`
	readings := map[deviceKey][]ledger.Reading{}
	events := map[deviceKey]map[string]int64{} // by Ord
	err := Each(ctx, q, query, args, func(r *sql.Rows) error {
		reading, no, err := scanReading(r)
		k := deviceKey{reading.Vessel, reading.Device.ID}
		readings[k] = append(readings[k], reading)
		if events[k] == nil {
			events[k] = map[string]int64{}
		}
		events[k][string(reading.Ord)] = no
		return err
	})
	if err != nil {
		return nil, err
	}
	seen, err := seenBetween(ctx, q, readings)
	if err != nil {
		return nil, err
	}
	states := make(map[deviceKey]settled, len(readings))
	for k, list := range readings {
		s := known.Settle(list, seen)
		states[k] = settled{k, events[k][string(s.Ord)], s}
	}
	return states, nil
}

// seenBetween is what the writers of each device's readings had seen of one
// another.
func seenBetween(ctx context.Context, q Querier, readings map[deviceKey][]ledger.Reading) (*known.Seen, error) {
	var want sightings
	for _, list := range readings {
		places := make([]chainPlace, len(list))
		for i, r := range list {
			places[i] = chainPlace{r.Chain, r.Seq}
		}
		want.between(places)
	}
	return want.ask(ctx, q)
}

func scanReading(r *sql.Rows) (ledger.Reading, int64, error) {
	var out ledger.Reading
	var no, installed, gone, byHand, lost int64
	var at, v, before string
	d := &out.Device
	err := r.Scan(&out.Vessel, &d.ID, &no, &at, &out.Writer, &d.Kind, &d.Maker, &d.Model, &d.Name, &d.Place, &d.Serial,
		&d.Variant, &v, &before, &installed, &gone, &byHand, &lost, &out.Ord)
	if err != nil {
		return out, 0, err
	}
	out.Version, out.Before, out.Gone = version.V(v), version.V(before), gone != 0
	out.Installed, out.ByHand, out.Lost = installed != 0, byHand != 0, lost != 0
	var ok bool
	if out.Chain, out.Seq, ok = ledger.PlaceOf(out.Ord); !ok {
		return out, 0, fmt.Errorf("%w: reading.ord of %d bytes", ErrSchema, len(out.Ord))
	}
	out.At, err = parseTime(at)
	return out, no, err
}

const vesselColumns = "vessel, name, berth, imo, mmsi, hull"

// refreshVessels takes each word about a vessel from the last sighting that
// has it.
func (t *tx) refreshVessels(ctx context.Context, vessels []string) error {
	seen, err := describe(ctx, t, vessels)
	if err != nil {
		return err
	}
	rows := make([][]any, len(vessels))
	for i, v := range vessels {
		rows[i] = []any{v}
		words := seen[v]
		for _, word := range words {
			rows[i] = append(rows[i], word)
		}
	}
	return t.insert(ctx, "vessel", vesselColumns, ` ON CONFLICT (vessel) DO UPDATE SET
		name = excluded.name, berth = excluded.berth, imo = excluded.imo, mmsi = excluded.mmsi, hull = excluded.hull`, rows, nil)
}

// words about a vessel: name, berth, IMO number, MMSI, hull.
type words [5]string

// describe gives each word about some vessels from the last sighting that has it.
// Where a vessel had several names, dates alone don't say which is the last.
func describe(ctx context.Context, q Querier, vessels []string) (map[string]words, error) {
	args := make([]any, len(vessels))
	for i, v := range vessels {
		args[i] = v
	}
	query := `SELECT vessel, name, berth, imo, mmsi, hull
		FROM (SELECT s.*, row_number() OVER (PARTITION BY vessel ORDER BY ord DESC) AS back
			FROM sighting s WHERE vessel IN ` + list(len(vessels)) + `) last
		ORDER BY vessel, back`
	seen := map[string]words{}
	renamed := map[string]bool{}
	err := Each(ctx, q, query, args, func(r *sql.Rows) error {
		var vessel string
		var w words
		if err := r.Scan(&vessel, &w[0], &w[1], &w[2], &w[3], &w[4]); err != nil {
			return err
		}
		known := seen[vessel]
		if w[0] != "" && known[0] != "" && w[0] != known[0] {
			renamed[vessel] = true
		}
		for i := range known {
			if known[i] == "" {
				known[i] = w[i]
			}
		}
		seen[vessel] = known
		return nil
	})
	for vessel := range renamed {
		name, err2 := lastName(ctx, q, vessel)
		w := seen[vessel]
		w[0] = name
		seen[vessel], err = w, errors.Join(err, err2)
	}
	return seen, err
}

// lastName is what a vessel was called last, whatever clocks say.
func lastName(ctx context.Context, q Querier, vessel string) (string, error) {
	var events []ledger.Event
	err := EachEvent(ctx, q, `vessel = $1 AND kind IN ('vessel taken on', 'vessel renamed', 'written by hand', 'correction')`, []any{vessel}, func(e ledger.Event) error {
		events = append(events, e)
		return nil
	})
	if err != nil {
		return "", err
	}
	seen, err := SeenAmong(ctx, q, events)
	facts, _ := known.Facts(events, nil)
	return known.Named(slices.DeleteFunc(facts, func(f known.Fact) bool { return f.Entry.Vessel != vessel }), seen), err
}
