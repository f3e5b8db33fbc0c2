package main

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"os"
	"slices"

	"cardwright/manifest"
	"cardwright/manifest/problem"
	"cardwright/manifest/tables"
	"cardwright/manifest/version"
	"cardwright/verify/ledger/record"
)

// toldBeside is what a survey says besides its devices; "": nothing.
type toldBeside struct {
	found string // when, as --at takes it
	by    string
}

// readAnswers reads what was found aboard: a table, or the file that the page on
// a phone saved.
func readAnswers(path string, shop *manifest.Shop) (*tables.Table, toldBeside, error) {
	data, err := readAtMost(path, record.MaxSheet)
	if err != nil {
		return nil, toldBeside{}, fmt.Errorf("reading the answers: %w", err)
	}
	if !bytes.HasPrefix(bytes.TrimLeft(data, "\ufeff \t\r\n"), []byte("{")) {
		table, err := tables.Read(path, data, answerColumns)
		return table, toldBeside{}, asMistakes(path, err)
	}
	answers, err := record.ReadAnswers(bytes.TrimPrefix(data, []byte("\ufeff")))
	if err != nil {
		return nil, toldBeside{}, asMistakes(path, placed(path, err))
	}
	table, err := answersTable(path, shop, answers)
	return table, toldBeside{found: answers.Found, by: answers.By}, asMistakes(path, err)
}

// readAtMost reads a file and one byte more than it may have, for its reader to
// refuse.
func readAtMost(path string, most int64) ([]byte, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer f.Close() // opened for reading only
	return io.ReadAll(io.LimitReader(f, most+1))
}

func asMistakes(path string, err error) error {
	if ms, ok := errors.AsType[manifest.Mistakes](err); ok {
		return mistakesIn(path, ms)
	}
	return err
}

// placed are problems of a file's form as mistakes in that file.
func placed(path string, err error) error {
	var ms manifest.Mistakes
	problems, ok := errors.AsType[record.Mistakes](err)
	if !ok {
		return manifest.Mistakes{{At: manifest.Pos{File: path}, What: "not a saved survey", Problem: problem.Problem{Found: err.Error(), Expected: "the file that the survey's page saved, or its table (CSV)"}}}
	}
	for _, p := range problems {
		ms = append(ms, manifest.Mistake{At: manifest.Pos{File: path}, What: "not as a saved survey is, at " + p.Where, Problem: problem.Problem{Found: p.Found, Expected: p.Expected}})
	}
	return ms
}

// answersTable has the rows that a table filled in by hand would have. A device
// that was ticked runs what the page said: that was read, too. A model may be
// written as people do, Fennick Plot 9.
func answersTable(path string, shop *manifest.Shop, a record.Answers) (*tables.Table, error) {
	columns := slices.Clone(answerColumns)
	for i := range columns {
		columns[i].Must = false // a device that is new has no id yet
		if columns[i].Name == "model" {
			columns[i].Key = "" // what is no model of the catalogue is told with the nearest
		}
	}
	var rows [][]string
	var at []manifest.Pos
	for _, d := range slices.Concat(a.Devices, a.Also) {
		if d.AsFiled && d.Version == "" && d.Filed != string(version.Unknown) {
			d.Version = d.Filed
		}
		if id := slug(d.Model); shop.Model(d.Model) == nil && shop.Model(id) != nil {
			d.Model = id
		}
		cells := map[string]string{
			"vessel": a.Vessel, "device": d.Device, "model": d.Model, "place": d.Place,
			"serial": d.Serial, "version": d.Version, "note": d.Note,
		}
		row := make([]string, len(columns))
		for i, c := range columns {
			row[i] = cells[c.Name]
		}
		rows = append(rows, row)
		at = append(at, manifest.Pos{File: path, Line: d.Line})
	}
	return tables.Of(path, columns, rows, at)
}

// answeredDevice is the device that a row is of; nil: it is new. One without an id is
// looked for: the same file may have been taken before.
func answeredDevice(vessel *manifest.Vessel, row tables.Row) *manifest.Device {
	if id := row.Get("device"); id != "" {
		return vessel.Device(id)
	}
	serial := row.Get("serial")
	for _, d := range vessel.Devices {
		if d.Model == row.Get("model") && d.Serial == serial && (serial != "" || d.Place == row.Get("place")) {
			return d
		}
	}
	return nil
}
