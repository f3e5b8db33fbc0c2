package record

import (
	"errors"
	"fmt"
	"io"
	"strconv"

	"cardwright/manifest"
	"cardwright/manifest/problem"
	"cardwright/manifest/tables"
	"cardwright/manifest/version"
	"cardwright/verify/ledger"
)

// sheetColumns are those of a filled sheet as a table, in any order. A line with
// a check is a check, another one a step; where the settings were saved, who agreed and
// who was informed may stand on any line.
var sheetColumns = []tables.Column{
	{Name: "step"},
	{Name: "device"},
	{Name: "check"},
	{Name: "before"},
	{Name: "after"},
	{Name: "result"},
	{Name: "minutes"},
	{Name: "value"},
	{Name: "note"},
	{Name: "settings_saved"},
	{Name: "approved_by"},
	{Name: "told"},
}

// ReadCSV reads a filled sheet from a table. Vessel, plan and technician are not
// in it: the caller adds them. What doesn't fit is Mistakes, all at once.
func ReadCSV(r io.Reader) (Filled, error) {
	data, err := io.ReadAll(io.LimitReader(r, MaxSheet+1))
	if err != nil {
		return Filled{}, fmt.Errorf("reading filled sheet: %w", err)
	}
	f := Filled{Format: 1} // a table has nothing of later forms
	data, f.Latin1 = tables.FromLatin1(data)
	table, err := tables.Read("", data, sheetColumns)
	var mistakes Mistakes
	if all, ok := errors.AsType[manifest.Mistakes](err); ok {
		mistakes = mistakesIn(all)
	}
	for _, row := range table.Rows {
		if len(mistakes) < maxMistakes {
			mistakes = append(mistakes, f.addRow(row)...)
		}
	}
	if err := mistakes.err(); err != nil {
		return Filled{}, fmt.Errorf("reading filled sheet: %w", err)
	}
	return f.tidy(), nil
}

func mistakesIn(table manifest.Mistakes) (mistakes Mistakes) {
	for _, m := range table {
		where := m.What
		if m.At.Line > 0 {
			where = fmt.Sprintf("line %d, column %d, %s", m.At.Line, m.At.Column, m.What)
		}
		mistakes = append(mistakes, Mistake{where, m.Problem})
	}
	return mistakes
}

func (f *Filled) addRow(row tables.Row) (mistakes Mistakes) {
	number := func(column string) int {
		text := row.Get(column)
		if text == "" {
			return 0
		}
		v, err := strconv.Atoi(text)
		if err != nil || v < 0 || v > ledger.MaxMinutes {
			mistakes = append(mistakes, Mistake{placeIn(row, column), problem.Problem{Found: fmt.Sprintf("%.40q", text), Expected: "a number"}})
		}
		return v
	}
	for column, field := range map[string]*string{"settings_saved": &f.SettingsSaved, "approved_by": &f.ApprovedBy, "told": &f.Told} {
		if text := row.Get(column); text != "" {
			*field = text
		}
	}
	switch {
	case row.Get("check") != "":
		f.Checks = append(f.Checks, FilledCheck{row.Get("device"), row.Get("check"), row.Get("result"), row.Get("value")})
	case row.Get("step") != "" || row.Get("result") != "":
		f.Steps = append(f.Steps, FilledStep{
			number("step"), row.Get("device"), version.V(row.Get("before")), version.V(row.Get("after")), row.Get("result"), number("minutes"), row.Get("note"),
		})
	}
	return append(mistakes, leftOver(row)...)
}

func placeIn(row tables.Row, column string) string {
	return fmt.Sprintf("line %d, %s", row.At(column).Line, column)
}

// leftOver reports what is in a line and belongs to nothing: it would be
// lost without a word.
func leftOver(row tables.Row) (mistakes Mistakes) {
	not, of := []string{"value"}, "a step: write it as a note"
	switch {
	case row.Get("check") != "":
		not, of = []string{"before", "after", "minutes", "note"}, "a check: write what was read as its value"
	case row.Get("step") == "" && row.Get("result") == "":
		not, of = []string{"before", "after", "minutes", "value", "note"}, "a line without a step, a check or a result"
	}
	for _, column := range not {
		if text := row.Get(column); text != "" {
			mistakes = append(mistakes, Mistake{placeIn(row, column), problem.Problem{Found: fmt.Sprintf("%.40q", text), Expected: "nothing for " + of}})
		}
	}
	return mistakes
}
