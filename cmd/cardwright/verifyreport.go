package main

import (
	"fmt"
	"strings"
	"time"

	"cardwright/media"
	"cardwright/verify"
	"cardwright/verify/sheet"
	"cardwright/verify/visible"
)

// pageLines is what fits on a printed page at the usual 6 lines to the inch.
const pageLines = 58

// writeReportPage writes one page on a card: the verdict first, then as many
// findings as fit, from worst to least.
func (v *verifying) writeReportPage(card verify.Verified) error {
	form, path := v.options.form, v.options.reportFile
	form.format = "" // what the file's name says: --format is the install order's
	format, err := form.formatFor(path)
	if err != nil {
		return err
	}
	page := v.reportText(card)
	if format != formatText {
		if page, err = v.reportSheet(form, format, card); err != nil {
			return fmt.Errorf("making the report: %w", err)
		}
	}
	if err := v.page("report", path).write(page); err != nil {
		return fmt.Errorf("writing the report: %w", err)
	}
	fmt.Fprintf(v.session.errs, "Report written to %s\n", visible.Visible(path))
	return nil
}

// reportSheet is the report as a page or a PDF.
func (v *verifying) reportSheet(form formOptions, format string, card verify.Verified) ([]byte, error) {
	report := card.Report
	in := sheet.CardReport{
		Report: report, Target: v.path, When: time.Now(), Style: form.style(),
		Conclusion: strings.Join(strings.Fields(card.Whose+" "+conclusion(report)), " "),
	}
	if v.shop != nil {
		in.Shop = v.shop.Name
	}
	if v.vessel != nil {
		in.Vessel = v.vessel.Name
	}
	for _, b := range report.Brings {
		in.Brings = append(in.Brings, brings(b, report.Card))
	}
	made, err := sheet.MakeReport(in)
	if err != nil {
		return nil, err
	}
	return form.render(v.shop, made, format)
}

// reportText is the report as plain text, a page long at most.
func (v *verifying) reportText(card verify.Verified) []byte {
	var text strings.Builder
	fmt.Fprintf(&text, "Card report, %s\n", time.Now().Format("2006-01-02 15:04"))
	if v.shop != nil {
		fmt.Fprintf(&text, "%s\n", visible.Visible(v.shop.Name))
	}
	if card.Bytes > 0 {
		fmt.Fprintf(&text, "The card holds %s.\n", media.Bytes(card.Bytes))
	}
	fmt.Fprintln(&text)
	onPage(func() { writeReport(&text, v.shown(card, false)) })
	lines := strings.SplitAfter(text.String(), "\n")
	if len(lines) > pageLines {
		lines = append(lines[:pageLines-2], "\n… and more: cardwright verify --json has every finding.\n")
	}
	return []byte(strings.Join(lines, ""))
}
