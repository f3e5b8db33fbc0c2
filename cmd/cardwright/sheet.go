package main

import (
	"context"
	"fmt"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"cardwright/manifest"
	"cardwright/media"
	"cardwright/verify"
	"cardwright/verify/sheet"
)

type sheetOptions struct {
	ask        askOptions
	form       formOptions
	output     string
	cards      []string
	technician string
	clock      clockOptions
	trials     []string // logs of a sea trial that ends the order
}

// formOptions are how an install order is written, wherever one is.
type formOptions struct {
	format, paper          string
	language, dates, units string
}

func (o *formOptions) addFlags(cmd *cobra.Command) {
	flags := cmd.Flags()
	flags.StringVar(&o.format, "format", "", "`FORMAT`: text, html or pdf (default: by the file's ending, else text)")
	flags.StringVar(&o.paper, "paper", string(sheet.A4), "`PAPER`: a4 or letter")
	flags.StringVar(&o.language, "language", sheet.English, "`LANGUAGE` of the install order: "+strings.Join(sheet.Languages(), ", "))
	flags.StringVar(&o.dates, "dates", string(sheet.DatesISO), "how dates are written: `FORM` is iso, day or month: 2026-03-02, 2 Mar 2026, Mar 2, 2026")
	flags.StringVar(&o.units, "units", string(sheet.Metric), "`UNITS`: metric or feet")
}

func (o formOptions) style() sheet.Style {
	return sheet.Style{Language: o.language, Dates: sheet.Dates(o.dates), Units: sheet.Units(o.units)}
}

// The formats of an install order.
const (
	formatText = "text"
	formatHTML = "html"
	formatPDF  = "pdf"
)

// formatFor is the format asked for, or the one that a file's ending names.
func (o formOptions) formatFor(file string) (string, error) {
	format := o.format
	if format == "" {
		format = formatText
		switch strings.ToLower(filepath.Ext(file)) {
		case ".html", ".htm":
			format = formatHTML
		case ".pdf":
			format = formatPDF
		}
	}
	if !slices.Contains([]string{formatText, formatHTML, formatPDF}, format) {
		return "", usage(fmt.Errorf("--format %s: expected text, html or pdf", format))
	}
	if !slices.Contains([]string{string(sheet.A4), string(sheet.Letter)}, o.paper) {
		return "", usage(fmt.Errorf("--paper %s: expected a4 or letter", o.paper))
	}
	if err := o.style().Check(); err != nil {
		return "", usage(err)
	}
	return format, nil
}

// render writes a sheet in a format; shop is nil where there is none.
func (o formOptions) render(shop *manifest.Shop, s sheet.Sheet, format string) ([]byte, error) {
	switch format {
	case formatHTML:
		return sheet.HTML(s, sheet.Paper(o.paper))
	case formatPDF:
		font, err := shopFont(shop)
		if err != nil {
			return nil, err
		}
		return sheet.PDF(s, sheet.Paper(o.paper), font)
	}
	return []byte(sheet.Text(s)), nil
}

// clockOptions are the time that there is for the work.
type clockOptions struct{ start, until string }

func (o *clockOptions) addFlags(cmd *cobra.Command) {
	cmd.Flags().StringVar(&o.until, "until", "", "`TIME` by which the work must be done, as 16:30: the order says by when each step has to begin")
	cmd.Flags().StringVar(&o.start, "start", "", "`TIME` at which step 1 begins (with --until): the order says which step is the last that can begin")
}

// clock is checked before anything is read.
func (o clockOptions) clock() (sheet.Clock, error) {
	c := sheet.Clock{Start: o.start, Until: o.until}
	if err := c.Check(); err != nil {
		return c, usage(err)
	}
	return c, nil
}

func newSheetCommand(s *session) *cobra.Command {
	var o sheetOptions
	cmd := &cobra.Command{
		Use:   "sheet VESSEL",
		Short: "Print the install order: of the cards named, or as it is planned",
		Long: `sheet prints the order in which a vessel's devices are updated. Name the plan's cards
with --card: they are read back first, and the sheet is theirs. Where one isn't good
you get the reason, and no install order. Without --card the sheet is a plan, and
proves no card.`,
		Example: `  cardwright sheet kittiwake --card kittiwake.img -o order.pdf
  cardwright sheet kittiwake --card kittiwake.img --start 13:00 --until 16:30`,
		Args: exactly(1, "the id of a vessel"),
		RunE: func(cmd *cobra.Command, args []string) error {
			return runSheet(interruptible(cmd), s, o, args[0])
		},
	}
	o.ask.addFlags(cmd)
	o.form.addFlags(cmd)
	o.clock.addFlags(cmd)
	cmd.Flags().StringVarP(&o.output, "output", "o", "", "write to this `FILE` instead of standard output")
	cmd.Flags().StringArrayVar(&o.cards, "card", nil, "read back this `CARD`: a drive, an image or a folder; may be repeated")
	cmd.Flags().StringArrayVar(&o.trials, "seatrial", nil, "`LOG` of a sea trial, whose page ends the order; may be repeated")
	cmd.Flags().StringVar(&o.technician, "technician", "", "`WHO` does the work (default: a blank to write the name in)")
	return cmd
}

// sheetCommand is the command for the order of these cards.
func (s *session) sheetCommand(vessel *manifest.Vessel, ask askOptions, cards []string) string {
	words := []string{"cardwright sheet", vessel.ID}
	for _, flag := range s.flags(ask) {
		words = append(words, media.ShellWord(flag))
	}
	for _, card := range cards {
		words = append(words, "--card", media.ShellWord(card))
	}
	return strings.Join(words, " ")
}

func runSheet(ctx context.Context, s *session, o sheetOptions, id string) error {
	format, err := o.form.formatFor(o.output)
	if err != nil {
		return err
	}
	clock, err := o.clock.clock()
	if err != nil {
		return err
	}
	shop, vessel, err := s.vessel(id)
	if err != nil {
		return err
	}
	if err := o.page(shop).check(); err != nil {
		return err
	}
	ranBefore(vessel, s.known[vessel.ID], &o.ask)
	_, plan, err := planned(shop, vessel, o.ask)
	if err != nil {
		return err
	}
	in := sheet.Input{Shop: shop, Vessel: vessel, Plan: plan, When: time.Now(), Technician: o.technician, Style: o.form.style(), Open: openAtSteps(vessel, s.known[vessel.ID]), Clock: clock, SeaTrial: seaTrialCommand}
	codes := []int{}
	for _, path := range o.cards {
		asked, err := s.askedOf(ctx, path, shop, vessel, o.ask, 0)
		if err != nil {
			return err
		}
		card, err := verify.Target(ctx, path, asked, s.watch("reading back"))
		if err != nil {
			return noVerdict(err)
		}
		card.Close()
		in.Plan = card.PlanOnIt(in.Plan)
		in.Cards = append(in.Cards, sheet.StateOf(card, time.Now()))
		codes = append(codes, verdictCode(card.Report.Verdict))
	}
	made, err := sheet.Make(in)
	if err != nil {
		return err
	}
	if len(o.trials) > 0 {
		trial, err := s.trialPage(ctx, vessel.ID, o)
		if err != nil {
			return err
		}
		made = sheet.Join(made, trial)
	}
	if err := s.writeSheet(shop, made, o, format); err != nil {
		return err
	}
	if codes = append(codes, leftOutCode(plan)); made.Stamp.Kind == sheet.StampNone {
		codes = append(codes, exitNo)
	}
	if c := first(codes); c != exitDone {
		return &answered{c}
	}
	return nil
}

// page is the file that is asked for, if one is.
func (o sheetOptions) page(shop *manifest.Shop) page {
	return page{flag: "output", path: o.output, shop: shop, cards: o.cards}
}

func (s *session) writeSheet(shop *manifest.Shop, made sheet.Sheet, o sheetOptions, format string) error {
	if s.json && o.output == "" {
		s.writeJSON(made)
		return nil
	}
	page, err := o.form.render(shop, made, format)
	if err != nil {
		return fmt.Errorf("making the sheet: %w", err)
	}
	if o.output == "" {
		_, err = s.out.Write(page)
	} else {
		err = o.page(shop).write(page)
	}
	if err != nil {
		return fmt.Errorf("writing the sheet: %w", err)
	}
	if s.json {
		s.writeJSON(made)
	}
	return nil
}
