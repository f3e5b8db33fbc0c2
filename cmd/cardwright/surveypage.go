package main

import (
	"io"

	"cardwright/manifest"
	"cardwright/manifest/tables"
	"cardwright/verify/sheet"
)

// page writes the page to walk the boat with.
func (v *surveying) page() error {
	o := v.options
	format, err := o.form.formatFor(o.output)
	if err != nil {
		return err
	}
	made, err := surveyPage(v.shop, v.vessel, o)
	if err != nil {
		return err
	}
	return v.writeSheet(v.shop, made, sheetOptions{form: o.form, output: o.output}, format)
}

// surveyPage makes the page to walk the boat with.
func surveyPage(shop *manifest.Shop, v *manifest.Vessel, o surveyOptions) (sheet.Sheet, error) {
	typed := "cardwright survey " + v.ID // paper is taken to the shop folder, wherever that is
	return sheet.MakeSurvey(sheet.SurveyInput{
		Shop: shop, Vessel: v, Technician: o.technician, Style: o.form.style(),
		Commands: sheet.Commands{
			Saved: typed + " --answers " + v.ID + "-survey.json",
			Table: typed + " --csv > answers.csv", Answers: typed + " --answers answers.csv",
		},
	})
}

// writeSurveyTable writes the table to fill in: what may have changed is
// there, but for the version, which somebody has to read.
func writeSurveyTable(w io.Writer, v *manifest.Vessel) error {
	rows := make([][]string, len(v.Devices))
	for i, d := range v.Devices {
		rows[i] = []string{v.ID, d.ID, d.Model, d.Place, d.Serial, "", d.Version.InTable(), ""}
	}
	return tables.Write(w, []string{"vessel", "device", "model", "place", "serial", "version", "version_was", "note"}, rows)
}
