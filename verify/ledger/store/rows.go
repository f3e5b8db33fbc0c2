package store

import (
	"context"
	"database/sql"
	"encoding/hex"
	"fmt"
	"slices"
	"strings"
	"time"

	"cardwright/verify/ledger"
)

// chunk is how many rows one question is about.
const chunk = 100

// timeText is how times are written in the database: they sort as text.
func timeText(t time.Time) string { return t.UTC().Format(time.RFC3339) }

// values writes the parameters of n rows: ($1, $2), ($3, $4), …
func values(n, columns int) string {
	var b strings.Builder
	p := 1
	for row := range n {
		if row > 0 {
			b.WriteString(", ")
		}
		for col := range columns {
			b.WriteString([]string{"(", ", "}[min(col, 1)])
			fmt.Fprintf(&b, "$%d", p)
			p++
		}
		b.WriteString(")")
	}
	return b.String()
}

// insert puts rows into a table, as many at a time as the engine likes;
// columns is what follows the table's name, and tail what follows the values.
func (t *tx) insert(ctx context.Context, table, columns, tail string, rows [][]any, returned func(*sql.Rows) error) error {
	if len(rows) == 0 {
		return nil
	}
	many := min(t.engine.rows, len(rows))
	query := "INSERT INTO " + table + " (" + columns + ") VALUES " + values(many, len(rows[0])) + tail
	if many == len(rows) {
		return run(ctx, direct{t, query}, slices.Concat(rows...), returned)
	}
	whole, err := t.PrepareContext(ctx, query)
	if err != nil {
		return err
	}
	defer whole.Close()
	for part := range slices.Chunk(rows, many) {
		if len(part) < many {
			return t.insert(ctx, table, columns, tail, part, returned)
		}
		if err := run(ctx, whole, slices.Concat(part...), returned); err != nil {
			return err
		}
	}
	return nil
}

// statement is one that is prepared, or only run once.
type statement interface {
	ExecContext(ctx context.Context, args ...any) (sql.Result, error)
	QueryContext(ctx context.Context, args ...any) (*sql.Rows, error)
}

// direct runs a query without preparing it first.
type direct struct {
	t     *tx
	query string
}

func (d direct) ExecContext(ctx context.Context, args ...any) (sql.Result, error) {
	return d.t.ExecContext(ctx, d.query, args...)
}

func (d direct) QueryContext(ctx context.Context, args ...any) (*sql.Rows, error) {
	return d.t.QueryContext(ctx, d.query, args...)
}

func run(ctx context.Context, s statement, args []any, returned func(*sql.Rows) error) error {
	if returned == nil {
		_, err := s.ExecContext(ctx, args...)
		return err
	}
	rows, err := s.QueryContext(ctx, args...)
	if err != nil {
		return err
	}
	return eachRow(rows, returned)
}

// placed is an event with its number in this ledger.
type placed struct {
	no int64
	*ledger.Event
}

const eventColumns = "id, chain, seq, ord, at, kind, vessel, visit, berth, technician, card, target, corrects, content, signature"

// eventRow is what is looked up of an event, and the event itself.
func eventRow(e *ledger.Event, chain int64) []any {
	s := &e.Statement
	card, target := cardOf(&s.Entry)
	return []any{
		e.ID[:], chain, s.Seq, ledger.Ord(s.Entry.At, s, e.ID), timeText(s.Entry.At), string(s.Entry.Kind),
		s.Entry.Vessel, s.Entry.Visit, s.Entry.Berth, s.Technician, card, target, corrects(e),
		string(e.Content), e.Signature,
	}
}

// cardOf is the digest of the card that an entry is about or used, and where
// it was written or read.
func cardOf(e *ledger.Entry) (digest, target string) {
	switch {
	case e.Card != nil:
		return e.Card.Digest, e.Card.Target
	case e.Step != nil:
		return e.Step.Card, ""
	case e.CardFate != nil:
		return e.CardFate.Card, ""
	}
	return "", ""
}

// corrects is the id of the event that e corrects, or nil.
func corrects(e *ledger.Event) []byte {
	if e.Statement.Entry.Correction == nil {
		return nil
	}
	id, err := ledger.ParseID(e.Statement.Entry.Correction.Of)
	if err != nil { // validated
		panic(err)
	}
	return id[:]
}

// says holds the rows that an event gives in the tables that are looked up.
type says struct {
	sightings [][]any
	readings  [][]any
	carried   [][]any
}

const (
	sightingColumns = "event, ord, vessel, name, berth, imo, mmsi, hull"
	readingColumns  = "vessel, device, ord, event, at, writer, kind, maker, model, name, place, serial, variant, version, version_key, before, installed, gone, by_hand, lost"
	seenColumns     = "chain, other, seq, upto"
	carriedColumns  = "event, place, at, vessel, card, device, maker, model, variant, version, version_key, good"
)

// saysOf gives the rows of an event that stands.
func saysOf(p placed) says { return saysIn(p, p.Event) }

// saysIn gives the rows of an event that takes the place of another, which
// it corrects.
func saysIn(p placed, place *ledger.Event) says {
	var out says
	e := p.Statement.Entry.Says()
	if e == nil {
		return out
	}
	ord := ledger.Ord(e.At, &place.Statement, place.ID)
	if row := sightingRow(p.no, ord, e); row != nil {
		out.sightings = append(out.sightings, row)
	}
	readings := ledger.Readings(e)
	ledger.Place(readings, place, e.At)
	for _, r := range readings {
		d := r.Device
		out.readings = append(out.readings, []any{
			r.Vessel, d.ID, r.Ord, p.no, timeText(r.At), r.Writer, d.Kind, d.Maker, d.Model, d.Name, d.Place, d.Serial,
			d.Variant, string(r.Version), ledger.VersionKey(r.Version), string(r.Before), number(r.Installed), number(r.Gone),
			number(r.ByHand), number(r.Lost),
		})
	}
	for i, c := range ledger.CarriedBy(e) {
		r := c.Release
		out.carried = append(out.carried, []any{
			p.no, int64(i), timeText(c.At), c.Vessel, c.Card, r.Device, r.Maker, r.Model, r.Variant,
			string(r.Version), ledger.VersionKey(r.Version), number(c.Good),
		})
	}
	return out
}

// seenRows are what an event says that its writer had seen.
func seenRows(e *ledger.Event) [][]any {
	var rows [][]any
	s := &e.Statement
	for _, x := range s.Seen {
		rows = append(rows, []any{chainText(ledger.ChainKey(s.Writer, s.Chain)), chainText(ledger.ChainKey(x.Writer, x.Chain)), s.Seq, x.Seq})
	}
	return rows
}

func chainText(id ledger.ChainID) string { return hex.EncodeToString(id[:]) }

func sightingRow(no int64, ord []byte, e *ledger.Entry) []any {
	w, said := ledger.WordsOf(e)
	if !said {
		return nil
	}
	return []any{no, ord, e.Vessel, w.Name, w.Berth, w.IMO, w.MMSI, w.Hull}
}

func number(b bool) int64 {
	if b {
		return 1
	}
	return 0
}

func parseTime(s string) (time.Time, error) {
	t, err := time.Parse(time.RFC3339, s)
	if err != nil {
		return time.Time{}, fmt.Errorf("time %.40q in the database: %w", s, err)
	}
	return t.UTC(), nil
}
