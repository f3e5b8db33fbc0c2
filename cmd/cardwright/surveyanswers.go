package main

import (
	"context"
	"fmt"
	"strings"
	"time"

	"cardwright/manifest"
	"cardwright/manifest/edit"
	"cardwright/manifest/problem"
	"cardwright/manifest/survey"
	"cardwright/manifest/tables"
	"cardwright/manifest/version"
	"cardwright/verify/ledger/record"
)

var answerColumns = []tables.Column{
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

// answers takes what was found aboard into ledger and file.
func (v *surveying) answers(ctx context.Context) error {
	path := v.options.answers
	table, told, err := readAnswers(path, v.shop)
	if err != nil {
		return err
	}
	v.options.at, v.by = or(v.options.at, told.found), or(v.by, told.by)
	at, err := v.moment(ctx)
	if err != nil {
		return err
	}
	file, err := v.reopen()
	if err != nil {
		return err
	}
	if err := mistakesIn(path, answerMistakes(v.shop, v.vessel, table)); err != nil {
		return err
	}
	changes := []survey.Change{}
	found := record.Survey{At: at, Read: map[string]version.V{}, Said: map[string]string{}, Visit: surveyVisit(v.vessel.ID, at, v.options.at != "", table)}
	var fresh []newDevice
	for _, row := range table.Rows {
		if text := row.Get("note"); text != "" {
			found.Said[row.Get("device")] = text
		}
		if read, err := version.Parse(row.Get("version")); err == nil && v.vessel.Device(row.Get("device")) != nil {
			found.Read[row.Get("device")] = read
		}
		d := answeredDevice(v.vessel, row)
		if d == nil {
			fresh = append(fresh, newDevice{
				id: row.Get("device"), model: row.Get("model"), serial: row.Get("serial"), place: row.Get("place"),
				version: row.Get("version"), variant: row.Get("variant"),
			})
			continue
		}
		answer := survey.Answer{Serial: row.Get("serial"), Place: row.Get("place"), Version: row.Get("version"), Variant: row.Get("variant")}
		for _, c := range answer.Changes(d) {
			if err := setDevice(file, v.vessel, d, c); err != nil {
				return err
			}
			changes = append(changes, c)
		}
	}
	more, err := addDevices(file, v.shop, v.vessel, fresh)
	if err != nil {
		return err
	}
	return v.save(ctx, file, append(changes, more...), found)
}

// surveyVisit names a survey by what was found: noted again without a date, or
// for the same one, it is the same.
func surveyVisit(vessel string, at time.Time, dated bool, table *tables.Table) string {
	text := "survey of " + vessel + "\n"
	for _, row := range table.Rows {
		for _, c := range answerColumns {
			if c.Name != "vessel" { // tables of earlier builds have none, and stay the same visit
				text += row.Get(c.Name) + "\x00"
			}
		}
		text += "\n"
	}
	if dated {
		text += at.Format(time.RFC3339)
	}
	return record.VisitOf([]byte(text))
}

// answerMistakes are devices that aren't aboard, and those that stand there
// twice.
func answerMistakes(shop *manifest.Shop, vessel *manifest.Vessel, table *tables.Table) (ms manifest.Mistakes) {
	var aboard []string
	for _, d := range vessel.Devices {
		aboard = append(aboard, d.ID)
	}
	seen := map[string]bool{}
	for _, row := range table.Rows {
		id, model := row.Get("device"), row.Get("model")
		d := vessel.Device(id)
		m := manifest.Mistake{At: row.At("device"), Problem: problem.Problem{Found: fmt.Sprintf("%q", id)}}
		switch {
		case row.Get("vessel") != "" && row.Get("vessel") != vessel.ID:
			m = manifest.Mistake{At: row.At("vessel"), What: "a survey of another boat", Problem: problem.Problem{Found: fmt.Sprintf("%q", row.Get("vessel")), Expected: vessel.ID}}
		case id != "" && seen[id]:
			m.What, m.Expected = "device given twice", "each device once"
		case d == nil && model == "":
			m.What, m.Expected, m.Advice = "no such device", "one of "+strings.Join(aboard, ", ")+"; or a model, for a device that is new", manifest.Nearest(id, aboard)
		case d == nil && shop.Model(model) == nil, d != nil && model != "" && model != d.Model:
			m = manifest.Mistake{At: row.At("model"), What: "another model", Problem: problem.Problem{Found: fmt.Sprintf("%q", model), Expected: "a model of the catalogue", Advice: manifest.Nearest(model, modelIDs(shop))}}
			if d != nil {
				m.Expected, m.Advice = d.Model+", as in the vessel's file", "change the vessel's file by hand where the device was exchanged"
			}
		}
		seen[id] = true
		if m.What != "" {
			ms = append(ms, m)
		}
	}
	return ms
}

// addDevices puts devices that are new behind those of the file.
func addDevices(file *edit.File, shop *manifest.Shop, vessel *manifest.Vessel, fresh []newDevice) (changes []survey.Change, err error) {
	if len(fresh) == 0 {
		return nil, nil
	}
	if err := knownModels(shop, fresh); err != nil {
		return nil, err
	}
	all := make([]newDevice, 0, len(vessel.Devices)+len(fresh))
	for _, d := range vessel.Devices {
		all = append(all, newDevice{id: d.ID, model: d.Model, through: d.Through})
	}
	all = append(all, fresh...)
	nameDevices(shop, all)
	for _, d := range all[len(vessel.Devices):] {
		if err := file.Insert(edit.Way{"devices"}, file.Len("devices"), d.entry(shop, all)); err != nil {
			return nil, err
		}
		changes = append(changes, survey.Change{Device: d.id, Is: strings.TrimSpace(d.model + " " + d.version)})
	}
	return changes, nil
}

func setDevice(file *edit.File, vessel *manifest.Vessel, d *manifest.Device, c survey.Change) error {
	for i, have := range vessel.Devices {
		if have == d {
			return file.Set(edit.Way{"devices", i, c.Key}, c.Is, keyOrder[c.Key]...)
		}
	}
	return fmt.Errorf("changing %s: it has no device %s", file.Name(), d.ID)
}

// keyOrder is where a key of a device is put that isn't there.
var keyOrder = map[string][]string{
	"serial":  {"id", "model"},
	"place":   {"id", "model", "serial"},
	"version": {"id", "model", "serial", "place"},
	"variant": {"id", "model", "serial", "place", "version"},
}
