// Package export writes what a ledger says in forms that others read: CSV for
// a spreadsheet, JSON with everything that proves it, CycloneDX as an
// inventory of devices and their firmware, and a page for a browser. Nothing that
// the ledger says can run in any of them. What is asked of a ledger is package
// audit's.
package export

import (
	"bufio"
	"encoding/json"
	"fmt"
	"io"
	"slices"
	"strconv"
	"time"

	"cardwright/manifest/tables"
	"cardwright/verify/ledger"
)

// About says what an export is of.
type About struct {
	Shop   string
	Ledger string    // its id
	Made   time.Time // when the export was made
	// Contacts are whom to call, as they are given out in JSON; nil: nobody asked for
	// them. The ledger has no such names.
	Contacts any
}

// Call is whom to call about a vessel, for a table.
type Call struct{ Vessel, Name, Phone, Email string }

// Events gives events one after another, as audit.Events does.
type Events func(give func(ledger.Event) error) error

var columns = []string{
	"event", "writer", "seq", "at", "written", "technician", "shop", "kind", "vessel", "visit", "berth",
	"device", "model", "maker", "serial", "place", "version before", "version after", "version planned",
	"card", "target", "verdict", "check", "value", "minutes", "settings saved", "corrects", "reason", "note",
}

// CSV writes one line for each event; for a vessel taken on one for each
// device, and for a card one for each release. Cells that a spreadsheet would
// spoil are guarded, versions such as 4.10 among them.
//
// With calls each line has whom to call about its vessel, too.
func CSV(w io.Writer, events Events, calls ...Call) error {
	out := tables.NewWriter(w)
	head := columns
	if len(calls) > 0 {
		head = slices.Concat(columns, []string{"call name", "call phone", "call e-mail"})
	}
	if err := out.Row(head); err != nil {
		return err
	}
	err := events(func(e ledger.Event) error {
		var call []string
		if len(calls) > 0 {
			i := slices.IndexFunc(calls, func(c Call) bool { return c.Vessel != "" && c.Vessel == e.Statement.Entry.Vessel })
			if call = []string{"", "", ""}; i >= 0 {
				call = []string{calls[i].Name, calls[i].Phone, calls[i].Email}
			}
		}
		for _, row := range rows(e) {
			if err := out.Row(append(row, call...)); err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		return fmt.Errorf("writing CSV: %w", err)
	}
	return out.Flush()
}

// cells are the columns of a line by name.
type cells map[string]string

func (c cells) row() []string {
	row := make([]string, len(columns))
	for i, name := range columns {
		row[i] = c[name]
	}
	return row
}

func rows(e ledger.Event) [][]string {
	s := e.Statement
	c := cells{
		"event": e.ID.String(), "writer": s.Writer, "seq": strconv.FormatInt(s.Seq, 10), "at": stamp(s.Entry.At),
		"written": stamp(s.Written), "technician": s.Technician, "shop": s.Shop, "kind": string(s.Entry.Kind),
		"vessel": s.Entry.Vessel, "visit": s.Entry.Visit, "berth": s.Entry.Berth,
	}
	entry := &s.Entry
	if k := entry.Correction; k != nil {
		c["corrects"], c["reason"] = k.Of, k.Why
		if entry = k.Instead; entry == nil {
			return [][]string{c.row()}
		}
		c["at"] = stamp(entry.At)
	}
	return c.body(entry)
}

func stamp(t time.Time) string { return t.UTC().Format(time.RFC3339) }

func (c cells) body(e *ledger.Entry) [][]string {
	switch {
	case e.TakenOn != nil:
		return c.takenOn(e.TakenOn)
	case e.Card != nil:
		return c.card(e.Card)
	case e.VisitBegun != nil:
		c["note"] = e.VisitBegun.Note
		c["reason"] = e.VisitBegun.Purpose
	case e.Step != nil:
		c.step(e.Step)
	case e.Settings != nil:
		c["device"], c["settings saved"], c["note"] = e.Settings.Device, e.Settings.Where, e.Settings.Note
	case e.Check != nil:
		c.device(e.Check.Device)
		c["check"], c["value"], c["note"] = e.Check.Check, e.Check.Value, e.Check.Note
	case e.Withdrawal != nil:
		w := e.Withdrawal
		c["model"], c["maker"], c["version after"], c["reason"] = w.Model, w.Maker, string(w.Version), w.Why
	}
	return [][]string{c.row()}
}

func (c cells) device(d ledger.Device) {
	c["device"], c["model"], c["maker"], c["serial"], c["place"] = d.ID, d.Model, d.Maker, d.Serial, d.Place
}

func (c cells) step(s *ledger.Step) {
	c.device(s.Device)
	c["version before"], c["version after"], c["version planned"] = string(s.Before), string(s.After), string(s.Planned)
	c["card"], c["minutes"], c["note"] = s.Card, strconv.Itoa(s.Minutes), s.Note
	if s.Reason != "" {
		c["reason"] = s.Reason
	}
}

func (c cells) takenOn(t *ledger.TakenOn) [][]string {
	c["note"] = t.Note
	list := [][]string{}
	for _, f := range t.Devices {
		c.device(f.Device)
		c["version after"] = string(f.Version)
		list = append(list, c.row())
	}
	if len(list) == 0 {
		list = append(list, c.row())
	}
	return list
}

func (c cells) card(k *ledger.Card) [][]string {
	c["card"], c["target"], c["verdict"] = k.Digest, k.Target, k.Verdict
	list := [][]string{}
	for _, r := range k.Releases {
		c["device"], c["model"], c["maker"], c["version after"] = r.Device, r.Model, r.Maker, string(r.Version)
		list = append(list, c.row())
	}
	if len(list) == 0 {
		list = append(list, c.row())
	}
	return list
}

// JSON writes every event whole: with the canonical form of its statement
// (RFC 8785) and the writers' public keys anybody can check digests, links
// and signatures without this program.
func JSON(w io.Writer, about About, heads ledger.Heads, events Events) error {
	out := bufio.NewWriter(w)
	of := map[string]any{"format": 1, "shop": about.Shop, "ledger": about.Ledger, "made": stamp(about.Made), "heads": heads}
	if about.Contacts != nil {
		of["contacts"] = about.Contacts
	}
	head, err := json.Marshal(of)
	if err != nil {
		return fmt.Errorf("writing JSON: %w", err)
	}
	fmt.Fprintf(out, "%s,\"events\":[", head[:len(head)-1])
	between := "\n"
	err = events(func(e ledger.Event) error {
		text, err := json.Marshal(e)
		if err != nil {
			return err
		}
		_, err = fmt.Fprintf(out, "%s%s", between, text)
		between = ",\n"
		return err
	})
	if err != nil {
		return fmt.Errorf("writing JSON: %w", err)
	}
	fmt.Fprint(out, "\n]}\n")
	if err := out.Flush(); err != nil {
		return fmt.Errorf("writing JSON: %w", err)
	}
	return nil
}
