package main

import (
	"context"
	"fmt"
	"io"
	"os"
	"strings"
	"time"

	"cardwright/media"
	"cardwright/verify"
	"cardwright/verify/sheet"
	"cardwright/verify/visible"
)

// repair writes a good card for the vessel to another target: from the shop's
// packages, and where one is missing from the same file on the card at hand,
// if it is right. The card at hand is only read. The answer in JSON is given
// back, to stand in verify's own.
func (v *verifying) repair(ctx context.Context, o verifyOptions, report verify.Report) (*prepared, error) {
	packages := media.PackagesOf(v.shop)
	content := v.contentOf()
	packages.Else = func(s media.Source) func() (io.ReadCloser, error) { return report.Whole(content[s]) }
	options := o.repair
	options.to, options.ask = o.repairTo, o.ask
	if !v.session.json {
		fmt.Fprintln(v.session.out)
	}
	var answer *prepared
	err := prepare(ctx, &preparing{
		session: v.session, options: options, shop: v.shop, vessel: v.vessel, packages: packages,
		answer: func(a prepared) { answer = &a },
	})
	return answer, err
}

// spare refuses to write to the card that is verified, by whatever name.
func (v *verifying) spare(targets []string) error {
	card, err := os.Stat(v.path)
	if err != nil {
		return nil // told when it is opened
	}
	for _, to := range targets {
		if other, err := os.Stat(to); err == nil && os.SameFile(card, other) {
			return usage(fmt.Errorf("--repair-to names the card that is verified: name another target, the card at hand is never written"))
		}
	}
	return nil
}

// contentOf is the SHA-256 of what each source puts on a card.
func (v *verifying) contentOf() map[media.Source]string {
	content := map[media.Source]string{}
	for _, c := range v.cards.Cards {
		for _, f := range c.Files {
			content[f.Source] = f.SHA256
		}
	}
	return content
}

// pageLines is what fits on a printed page at the usual 6 lines to the inch.
const pageLines = 58

// writeReportPage writes one page on a card: the verdict first, then as many
// findings as fit, from worst to least.
func (v *verifying) writeReportPage(form formOptions, path string, report verify.Report) error {
	form.format = "" // what the file's name says: --format is the install order's
	format, err := form.formatFor(path)
	if err != nil {
		return err
	}
	page := v.reportText(report)
	if format != formatText {
		if page, err = v.reportSheet(form, format, report); err != nil {
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
func (v *verifying) reportSheet(form formOptions, format string, report verify.Report) ([]byte, error) {
	in := sheet.CardReport{
		Report: report, Target: v.path, When: time.Now(), Style: form.style(),
		Conclusion: strings.Join(strings.Fields(v.whose+" "+conclusion(report)), " "),
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
	return form.render(made, format)
}

// reportText is the report as plain text, a page long at most.
func (v *verifying) reportText(report verify.Report) []byte {
	var text strings.Builder
	fmt.Fprintf(&text, "Card report, %s\n", time.Now().Format("2006-01-02 15:04"))
	if v.shop != nil {
		fmt.Fprintf(&text, "%s\n", visible.Visible(v.shop.Name))
	}
	if v.bytes > 0 {
		fmt.Fprintf(&text, "The card holds %s.\n", media.Bytes(v.bytes))
	}
	fmt.Fprintln(&text)
	writeReport(&text, v.shown(report, false))
	lines := strings.SplitAfter(text.String(), "\n")
	if len(lines) > pageLines {
		lines = append(lines[:pageLines-2], "\n… and more: cardwright verify --json has every finding.\n")
	}
	return []byte(strings.Join(lines, ""))
}
