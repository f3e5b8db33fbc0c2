package record

import (
	"bytes"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"cardwright/manifest"
	"cardwright/manifest/edit"
	"cardwright/manifest/problem"
	"cardwright/manifest/survey"
	"cardwright/manifest/tables"
	"cardwright/manifest/version"
)

// SurveyColumns are the columns of the table that is filled in aboard, a row for each
// device. An empty cell changes nothing.
var SurveyColumns = []tables.Column{
	{Name: "vessel", Key: "Vessel.vessel"},
	{Name: "device", Key: "Device.id", Must: true},
	{Name: "model", Key: "Device.model"},
	{Name: "place", Key: "Device.place"},
	{Name: "serial", Key: "Device.serial"},
	{Name: "version", Key: "Device.version"},
	{Name: "variant", Key: "Device.variant"},
	{Name: "version_was"},
	{Name: "note"},
}

// FilledSurvey is a survey that was filled in. By and Found, the day, are "" where it
// doesn't say; Latin1: the letters of a table were a guess.
type FilledSurvey struct {
	Table     *tables.Table
	By, Found string
	Latin1    bool
}

// ReadSurvey reads what was found aboard: the table, or the file that the page on a
// phone saved. path is the file, for the mistakes in it, which come at once as
// manifest.Mistakes.
func ReadSurvey(path string, data []byte, shop *manifest.Shop) (f FilledSurvey, err error) {
	if !bytes.HasPrefix(bytes.TrimLeft(data, "\ufeff \t\r\n"), []byte("{")) {
		data, f.Latin1 = tables.FromLatin1(data)
		f.Table, err = tables.Read(path, data, SurveyColumns)
		return f, err
	}
	answers, err := ReadAnswers(bytes.TrimPrefix(data, []byte("\ufeff")))
	if err != nil {
		return f, placed(path, err)
	}
	f.By, f.Found = answers.By, answers.Found
	f.Table, err = answers.Table(path, shop)
	return f, err
}

// placed are problems of a file's form as mistakes in that file.
func placed(path string, err error) (ms manifest.Mistakes) {
	problems, ok := errors.AsType[Mistakes](err)
	if !ok {
		return manifest.Mistakes{{At: manifest.Pos{File: path}, What: "not a saved survey", Problem: problem.Problem{Found: err.Error(), Expected: "the file that the survey's page saved, or its table (CSV)"}}}
	}
	for _, p := range problems {
		ms = append(ms, manifest.Mistake{At: manifest.Pos{File: path}, What: "not as a saved survey is, at " + p.Where, Problem: problem.Problem{Found: p.Found, Expected: p.Expected}})
	}
	return ms
}

// Table has the rows that a table filled in by hand would have. A device that was
// ticked runs what the page said: that was read, too. A model may be written as
// people do, Fennick Plot 9. path is the file of the answers, for mistakes in it.
func (a Answers) Table(path string, shop *manifest.Shop) (*tables.Table, error) {
	columns := slices.Clone(SurveyColumns)
	for i := range columns {
		columns[i].Must = false // a device that is new has no id yet
		if columns[i].Name == "model" {
			columns[i].Key = "" // what is no model of the catalogue is reported with the nearest
		}
	}
	var rows [][]string
	var at []manifest.Pos
	for _, d := range slices.Concat(a.Devices, a.Also) {
		if d.AsFiled && d.Version == "" && d.Filed != string(version.Unknown) {
			d.Version = d.Filed
		}
		if id := edit.ID(d.Model); shop.Model(d.Model) == nil && shop.Model(id) != nil {
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

// SurveyMistakes are the rows of another boat, the devices that aren't aboard, and
// those that are there twice.
func SurveyMistakes(shop *manifest.Shop, vessel *manifest.Vessel, table *tables.Table) (ms manifest.Mistakes) {
	seen := map[string]bool{}
	for _, row := range table.Rows {
		id := row.Get("device")
		if m := rowMistake(shop, vessel, row, seen[id]); m.What != "" {
			ms = append(ms, m)
		}
		seen[id] = true
	}
	return ms
}

// rowMistake is what can't stand in a row; without a What where all can.
func rowMistake(shop *manifest.Shop, vessel *manifest.Vessel, row tables.Row, again bool) manifest.Mistake {
	id, model := row.Get("device"), row.Get("model")
	d := vessel.Device(id)
	at := func(column, what, expected, advice string) manifest.Mistake {
		found := fmt.Sprintf("%q", row.Get(column))
		return manifest.Mistake{At: row.At(column), What: what, Problem: problem.Problem{Found: found, Expected: expected, Advice: advice}}
	}
	switch boat := row.Get("vessel"); {
	case boat != "" && boat != vessel.ID:
		return at("vessel", "a survey of another boat", vessel.ID, "")
	case id != "" && again:
		return at("device", "device given twice", "each device once", "")
	case d == nil && model == "":
		var aboard []string
		for _, d := range vessel.Devices {
			aboard = append(aboard, d.ID)
		}
		return at("device", "no such device", "one of "+strings.Join(aboard, ", ")+"; or a model, for a device that is new", manifest.Nearest(id, aboard))
	case d == nil && shop.Model(model) == nil:
		return at("model", "another model", "a model of the catalogue", manifest.Nearest(model, shop.ModelIDs()))
	case d != nil && model != "" && model != d.Model:
		return at("model", "another model", d.Model+", as in the vessel's file", "change the vessel's file by hand where the device was exchanged")
	}
	return manifest.Mistake{}
}

// SurveyFromTable is what a table without mistakes says was found. dated says that
// somebody said when that was.
func SurveyFromTable(vessel *manifest.Vessel, table *tables.Table, at time.Time, dated bool) Survey {
	s := Survey{At: at, Read: map[string]version.V{}, Said: map[string]string{}, Visit: surveyVisit(vessel.ID, at, dated, table)}
	for _, row := range table.Rows {
		id := row.Get("device")
		if text := row.Get("note"); text != "" {
			s.Said[id] = text
		}
		if read, err := version.Parse(row.Get("version")); err == nil && vessel.Device(id) != nil {
			s.Read[id] = read
		}
		if d := deviceOfRow(vessel, row); d != nil {
			answer := survey.Answer{Serial: row.Get("serial"), Place: row.Get("place"), Version: row.Get("version"), Variant: row.Get("variant")}
			s.Changes = append(s.Changes, answer.Changes(d)...)
			continue
		}
		s.Fresh = append(s.Fresh, edit.NewDevice{
			ID: id, Model: row.Get("model"), Serial: row.Get("serial"), Place: row.Get("place"),
			Version: row.Get("version"), Variant: row.Get("variant"),
		})
	}
	return s
}

// deviceOfRow is the device that a row is of; nil: it is new. One without an id is
// looked for: the same file may have been taken before.
func deviceOfRow(vessel *manifest.Vessel, row tables.Row) *manifest.Device {
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

// surveyVisit names a survey by what was found: noted again without a date, or
// for the same one, it is the same.
func surveyVisit(vessel string, at time.Time, dated bool, table *tables.Table) string {
	text := "survey of " + vessel + "\n"
	for _, row := range table.Rows {
		for _, c := range SurveyColumns {
			if c.Name != "vessel" { // tables of earlier builds have none, and stay the same visit
				text += row.Get(c.Name) + "\x00"
			}
		}
		text += "\n"
	}
	if dated {
		text += at.Format(time.RFC3339)
	}
	return VisitOf([]byte(text))
}
