package main

import (
	"fmt"
	"io"

	"cardwright/manifest"
	"cardwright/manifest/tables"
)

// spareLines is how many blanks a page has for devices that nobody knew of.
const spareLines = 3

const blank = "______________________________"

// writeSurveyPage writes the page. All text on it is from the shop's own files,
// in which nothing hidden can stand.
func writeSurveyPage(w io.Writer, shop *manifest.Shop, v *manifest.Vessel) {
	fmt.Fprintf(w, "Survey of %s", v.Name)
	if v.Berth != "" {
		fmt.Fprintf(w, ", %s", v.Berth)
	}
	fmt.Fprintf(w, "\n%s\n\nDate %s  By %s\n\n", shop.Name, blank[:14], blank)
	fmt.Fprintln(w, wrapped("Alongside, with the devices switched on: read serial and version off each device itself. "+
		"A tick says that it was found as it stands here.", ""))
	for _, d := range v.Devices {
		writeSurveyDevice(w, shop.Model(d.Model), d)
	}
	fmt.Fprint(w, "\nAlso aboard\n")
	for range spareLines {
		fmt.Fprintf(w, "\n[ ] model    %s\n    place    %s\n    serial   %s\n    version  %s\n", blank, blank, blank, blank)
	}
	fmt.Fprintf(w, "\nBack in the shop, fill in the table that the first makes, for the second:\n  cardwright survey %s --csv > answers.csv\n  cardwright survey %s --answers answers.csv\n", v.ID, v.ID)
}

func writeSurveyDevice(w io.Writer, m *manifest.Model, d *manifest.Device) {
	fmt.Fprintf(w, "\n[ ] %s: %s\n", d.ID, wrapped(m.Maker+" "+m.Name, "    "))
	if d.Place != "" {
		fmt.Fprintf(w, "    place    %s\n", wrapped(d.Place, "             "))
	}
	fmt.Fprintf(w, "    serial   %-24s now %s\n", or(d.Serial, "not written down"), blank)
	fmt.Fprintf(w, "    version  %-24s now %s\n", d.Version, blank)
	if d.Variant != "" {
		fmt.Fprintf(w, "    variant  %s\n", d.Variant)
	}
	if m.VersionShown != "" {
		fmt.Fprintf(w, "             shown at: %s\n", wrapped(m.VersionShown, "             "))
	}
}

// writeSurveyTable writes the table to fill in: what may have changed stands
// there, but for the version, which somebody has to read.
func writeSurveyTable(w io.Writer, v *manifest.Vessel) error {
	rows := make([][]string, len(v.Devices))
	for i, d := range v.Devices {
		rows[i] = []string{d.ID, d.Model, d.Place, d.Serial, "", tabled(d.Version), ""}
	}
	return tables.Write(w, []string{"device", "model", "place", "serial", "version", "version_was", "note"}, rows)
}
