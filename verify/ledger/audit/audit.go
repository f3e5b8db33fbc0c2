// Package audit asks a ledger what somebody wants to know years later: what
// was done to a vessel and what it runs, which boats have a release, who is
// behind, who must be called. Every answer is a plain value with a JSON form.
//
// Answers follow the ledger as it stands: whether it may be believed is what
// its check says. Earlier events that were corrected since count as
// corrected, also in what was so at a date.
package audit

import (
	"database/sql"
	"fmt"
	"slices"
	"strings"
	"time"

	"cardwright/manifest/version"
	"cardwright/verify/ledger"
	"cardwright/verify/ledger/known"
)

// format is the version of the answers' JSON form.
const format = 1

// Filter narrows an answer. A zero field lets everything through.
type Filter struct {
	From       time.Time // the first moment
	To         time.Time // the last moment
	Berth      string
	Technician string
	Maker      string
}

// Device is what the ledger knows of one device.
type Device struct {
	ledger.Device
	Version version.V `json:"version"` // or version.Unknown; "" when gone
	Other   version.V `json:"other"`   // what a second writer left it with at about the same time; "" where nobody disagrees
	Since   time.Time `json:"since"`   // when this was read
	Gone    bool      `json:"gone"`    // no longer aboard

	// Only where one vessel was asked for:
	By   string       `json:"by,omitempty"` // who says so
	How  known.How    `json:"how,omitempty"`
	Open []known.Open `json:"open,omitempty"` // what is open about it, the gravest first
}

// Vessel is what the ledger knows of a vessel.
type Vessel struct {
	ID    string `json:"id"`
	Name  string `json:"name"`
	Berth string `json:"berth"`
	IMO   string `json:"imo"`
	MMSI  string `json:"mmsi"`
	Hull  string `json:"hull"`

	Formerly []string `json:"formerly,omitempty"` // ids that she had before
}

// Line is one event of a history.
type Line struct {
	Event       ledger.ID    `json:"event"`
	Seq         int64        `json:"seq"`
	Writer      string       `json:"writer"`
	Shop        string       `json:"shop"`
	Technician  string       `json:"technician"`
	Written     time.Time    `json:"written"`
	Entry       ledger.Entry `json:"entry"`
	CorrectedBy string       `json:"corrected_by"` // id of the correction that counts; "" where the event stands
}

func lineOf(e ledger.Event) Line {
	s := e.Statement
	return Line{Event: e.ID, Seq: s.Seq, Writer: s.Writer, Shop: s.Shop, Technician: s.Technician, Written: s.Written, Entry: s.Entry}
}

// lets reports whether a line passes the filter.
func (f Filter) lets(l Line) bool {
	return f.letsTime(l.Entry.At) && f.letsBerth(l.Entry.Berth) &&
		(f.Technician == "" || f.Technician == l.Technician) && (f.Maker == "" || slices.Contains(makers(&l.Entry), f.Maker))
}

// letsBerth takes a harbour for all of its berths: "Hollin Quay" for "Hollin
// Quay, C 14", but not "Hollin Quay, C 1".
func (f Filter) letsBerth(berth string) bool {
	rest, ok := strings.CutPrefix(berth, f.Berth)
	return ok && (f.Berth == "" || rest == "" || rest[0] == ',' || rest[0] == ' ')
}

func (f Filter) letsTime(t time.Time) bool {
	return (f.From.IsZero() || !t.Before(f.From)) && (f.To.IsZero() || !t.After(f.To))
}

// makers are those that an entry is about.
func makers(e *ledger.Entry) []string {
	e = e.Says()
	switch {
	case e == nil:
		return nil
	case e.Step != nil:
		return []string{e.Step.Device.Maker}
	case e.Check != nil:
		return []string{e.Check.Device.Maker}
	case e.Withdrawal != nil:
		return []string{e.Withdrawal.Maker}
	}
	var list []string
	if e.Card != nil {
		for _, r := range e.Card.Releases {
			list = append(list, r.Maker)
		}
	}
	if e.TakenOn != nil {
		for _, d := range e.TakenOn.Devices {
			list = append(list, d.Device.Maker)
		}
	}
	return list
}

// question builds the conditions of a query.
type question struct {
	where []string
	args  []any
}

// and adds a condition in which %d is the number of the argument.
func (q *question) and(condition string, arg any) {
	q.args = append(q.args, arg)
	q.where = append(q.where, fmt.Sprintf(condition, len(q.args)))
}

func (q *question) String() string { return strings.Join(q.where, " AND ") }

// text is how times are written in the database.
func text(t time.Time) string { return t.UTC().Format(time.RFC3339) }

func moment(s string) (time.Time, error) {
	t, err := time.Parse(time.RFC3339, s)
	return t.UTC(), err
}

// times adds the filter's dates, on a column.
func (q *question) times(f Filter, column string) {
	if !f.From.IsZero() {
		q.and(column+" >= $%d", text(f.From))
	}
	if !f.To.IsZero() {
		q.and(column+" <= $%d", text(f.To))
	}
}

// berth asks as Filter.letsBerth does.
func (q *question) berth(f Filter, column string) {
	if f.Berth != "" {
		q.and(`(`+column+` = CAST($%[1]d AS text) OR substr(`+column+`, 1, length(CAST($%[1]d AS text)) + 1)
			IN (CAST($%[1]d AS text) || ',', CAST($%[1]d AS text) || ' '))`, f.Berth)
	}
}

func (q *question) equal(column, want string) {
	if want != "" {
		q.and(column+" = $%d", want)
	}
}

// deviceColumns are those that scanDevice reads, of the table device as d.
const deviceColumns = `d.device, d.kind, d.maker, d.model, d.name, d.place, d.serial, d.variant, d.version, d.other, d.at, d.gone`

func scanDevice(d *Device, at *string, gone *int64) []any {
	return []any{&d.ID, &d.Kind, &d.Maker, &d.Model, &d.Name, &d.Place, &d.Serial, &d.Variant, &d.Version, &d.Other, at, gone}
}

// scanWith scans a row that holds a device after other columns.
func scanWith(r *sql.Rows, before []any, d *Device) error {
	var at string
	var gone int64
	if err := r.Scan(append(before, scanDevice(d, &at, &gone)...)...); err != nil {
		return err
	}
	d.Gone = gone != 0
	var err error
	d.Since, err = moment(at)
	return err
}
