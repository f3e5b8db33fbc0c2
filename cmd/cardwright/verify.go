package main

import (
	"context"
	"errors"
	"fmt"
	"io"

	"github.com/spf13/cobra"

	"cardwright/manifest"
	"cardwright/manifest/order"
	"cardwright/media"
	"cardwright/media/keys"
	"cardwright/verify"
	"cardwright/verify/ledger"
	"cardwright/verify/ledger/record"
)

type verifyOptions struct {
	forVessel  string
	orderFile  string
	clock      clockOptions
	reportFile string
	card       int // 0: whichever of the plan's cards it is
	ask        askOptions
	form       formOptions
	all        bool
	repairTo   []string
	repair     prepareOptions // for --repair-to
}

func newVerifyCommand(s *session) *cobra.Command {
	var o verifyOptions
	cmd := &cobra.Command{
		Use:   "verify TARGET",
		Short: "Read a card back and say whether it is good; never written to",
		Long: `verify reads a card back from the medium and says whether it is good, bad, or could not
be checked. The card is a drive, an image file or a mounted folder.

With --for the card is compared with what that vessel needs now. Without it, the card
is compared with its own record, if a shop that shop.yaml trusts has signed that. If
none has, there is nothing to compare with: verify lists what is on the card, and the
verdict is unchecked.

No program can tell a byte-for-byte copy from the card itself. An older card of the
same vessel is found out only with --for.`,
		Example: `  cardwright verify DRIVE --for kittiwake --order install-order.txt
  cardwright verify kittiwake.img --report report.pdf`,
		Args: exactly(1, "a drive, an image file or a folder"),
		RunE: func(cmd *cobra.Command, args []string) error {
			keepMemory()
			return runVerify(interruptible(cmd), s, o, args[0])
		},
	}
	cmd.Flags().StringVar(&o.forVessel, "for", "", "`VESSEL` that the card should be for")
	cmd.Flags().StringVar(&o.orderFile, "order", "", "write the install order of a good card to this `FILE` (needs --for)")
	cmd.Flags().IntVar(&o.card, "card", 0, "`NUMBER` of the plan's card that it should be (default: whichever it is)")
	cmd.Flags().StringVar(&o.reportFile, "report", "", "write a one-page report of the card to this `FILE`")
	cmd.Flags().StringArrayVar(&o.repairTo, "repair-to", nil, "write a good card to another `TARGET`, from what is good here and the shop's packages (needs --for); once for each card of the plan")
	cmd.Flags().BoolVar(&o.all, "all", false, "show every finding, also those that follow from another")
	o.ask.addFlags(cmd)
	o.form.addFlags(cmd)
	o.clock.addFlags(cmd)
	o.repair.addTargetFlags(cmd)
	o.repair.key.addFlag(cmd)
	return cmd
}

func runVerify(ctx context.Context, s *session, o verifyOptions, path string) error {
	if o.forVessel == "" && (o.orderFile != "" || len(o.repairTo) > 0) {
		return usage(fmt.Errorf("--order and --repair-to need --for VESSEL: without a vessel it is not known what a card should hold"))
	}
	v := verifying{session: s, path: path, ask: o.ask, number: o.card}
	err := v.spare(o.repairTo)
	if err != nil {
		return err
	}
	if o.forVessel != "" {
		v.shop, v.vessel, err = s.vesselToJudge(o.forVessel)
		if err == nil {
			ranBefore(v.vessel, s.known[v.vessel.ID], &v.ask)
		}
	} else {
		v.shop, err = s.shopIfAny()
		if err == nil && v.shop != nil {
			learnIfAny(ctx, s, v.shop)
		}
	}
	if err != nil {
		return err
	}
	defer v.close()
	if err := v.checkPages(o); err != nil {
		return err
	}
	if err := v.findKey(o.repair.key); err != nil {
		return err
	}
	report, err := v.judge(ctx)
	if err != nil {
		return err
	}
	if ctx.Err() != nil {
		return fmt.Errorf("verifying %s: %w", path, ctx.Err())
	}
	if v.vessel != nil {
		defer func() { writeOpen(s.errs, &s.terminal, v.vessel, s.known[v.vessel.ID]) }()
	}
	if !s.json {
		writeReport(s.out, v.shown(report, o.all))
		_, err := v.follow(ctx, o, report)
		return err
	}
	repair, err := v.follow(ctx, o, report)
	answer := verified{Report: report, Repair: repair, Error: or(told(err), told(v.beside))}
	s.writeJSON(answer)
	return &answered{codeIn(ctx, err)}
}

// verified is the answer of verify in JSON: the report, and what became of what
// was asked for beside it.
type verified struct {
	verify.Report
	Repair *prepared `json:"repair,omitempty"`
	Error  string    `json:"error,omitempty"`
}

// follow does what follows a verdict: notes it, and writes what was asked for.
// The error has the exit code: that the card couldn't be noted is told beside a
// verdict, whose code stays unless it says that all is well.
func (v *verifying) follow(ctx context.Context, o verifyOptions, report verify.Report) (*prepared, error) {
	if err := v.note(ctx, report); err != nil {
		if report.Verdict == verify.Good {
			return nil, err
		}
		v.aside(err)
	}
	if err := v.writeFiles(o, report); err != nil {
		return nil, err
	}
	if len(o.repairTo) > 0 {
		return v.repair(ctx, o, report)
	}
	return nil, verdictCode(report.Verdict)
}

// aside tells what doesn't change the verdict's exit code.
func (v *verifying) aside(err error) {
	v.beside = errors.Join(v.beside, err)
	v.session.complain(err.Error())
}

// findKey finds the key by which the card is noted. One that was named has to be
// there; without one that can be read the card is judged all the same.
func (v *verifying) findKey(o keyOptions) (err error) {
	if v.shop == nil {
		return nil
	}
	v.key, err = o.signing()
	if err == nil || o.file != "" {
		return err
	}
	v.aside(fmt.Errorf("%w; the card is not noted in the ledger", err))
	return nil
}

// note notes in the ledger that the card was verified.
func (v *verifying) note(ctx context.Context, report verify.Report) error {
	seen := record.CardSeen{Shop: v.shop, Vessel: v.vessel, Plan: v.plan, Card: v.card, Target: v.path, Bytes: v.bytes, Report: report}
	if err := noteCard(ctx, v.session, v.shop, v.key, ledger.CardVerified, v.vessel, seen.Kept()); err != nil {
		return fmt.Errorf("the card is %s, but %w", report.Verdict, err)
	}
	return nil
}

// page is a file that is asked for beside the answer.
func (v *verifying) page(flag, path string) page {
	return page{flag: flag, path: path, shop: v.shop, cards: []string{v.path}}
}

// checkPages refuses what can't be written before the card is read.
func (v *verifying) checkPages(o verifyOptions) error {
	if _, err := o.clock.clock(); err != nil {
		return err
	}
	if o.orderFile != "" {
		if _, err := o.form.formatFor(o.orderFile); err != nil {
			return err
		}
	}
	if err := v.page("order", o.orderFile).check(); err != nil {
		return err
	}
	return v.page("report", o.reportFile).check()
}

// writeFiles writes what was asked for beside the answer.
func (v *verifying) writeFiles(o verifyOptions, report verify.Report) error {
	if o.reportFile != "" {
		if err := v.writeReportPage(o.form, o.reportFile, report); err != nil {
			return err
		}
	}
	if o.orderFile != "" {
		return v.writeOrder(o, report)
	}
	return nil
}

func verdictCode(v verify.Verdict) error {
	switch v {
	case verify.Good:
		return nil
	case verify.Bad:
		return &answered{exitNo}
	}
	return &answered{exitUnchecked}
}

// verifying is one run of verify.
type verifying struct {
	session *session
	path    string
	shop    *manifest.Shop   // nil where there is none: then nobody's signature is believed
	vessel  *manifest.Vessel // nil without --for
	ask     askOptions
	number  int    // of the card that it should be; 0: whichever it is
	planID  string // that the card's own record names; "": none

	plan  order.Plan
	cards media.Layout
	card  media.Card // of the plan, as chosen
	bytes int64      // measured; 0 for a folder
	open  io.Closer  // the card, until the end; nil for a folder
	whose string     // whose card it is, where it's another's

	key    *keys.Key // by which the card is noted; nil: it isn't
	beside error     // what was told beside the verdict
}

func (v *verifying) close() {
	if v.open != nil {
		_ = v.open.Close() // it was only read
	}
}

func (v *verifying) title() string {
	if v.vessel == nil {
		return v.path
	}
	return v.path + ", for " + v.vessel.Name + partOf(v.plan)
}

func (v *verifying) shown(r verify.Report, all bool) shownReport {
	return shownReport{Report: r, title: v.title(), whose: v.whose, all: all}
}

// anothers says whose card it is, where it isn't the one that was asked for.
func (v *verifying) anothers(ctx context.Context, r *media.Record, report verify.Report) string {
	if v.vessel == nil {
		return ""
	}
	return report.Whose(r, verify.AskedFor{Shop: v.shop.Name, Vessel: v.vessel.Name, Card: v.card}, making(ctx, v.shop, r))
}

func (v *verifying) judge(ctx context.Context) (verify.Report, error) {
	kind, err := kindOf(v.path)
	if err != nil {
		return verify.Report{}, err
	}
	if kind == folderTarget {
		return v.judgeFolder(ctx)
	}
	card, err := openToRead(v.path, kind)
	if err != nil {
		return verify.Report{}, err
	}
	v.open, v.bytes = card, card.Bytes()
	listing := verify.List(card, v.bytes)
	v.planID = planOn(listing)
	expected, err := v.expect(v.bytes, func(l media.Layout) (media.Card, bool) {
		return verify.Choose(l, card, v.bytes)
	})
	if err != nil {
		return verify.Report{}, err
	}
	bar := v.session.bar("reading back", listing.FileBytes())
	report := verify.Card(ctx, card, v.bytes, expected, bar.add)
	bar.end()
	addHowRead(&report, kind, card)
	v.whose = v.anothers(ctx, listing.Record, report)
	return report, nil
}

func (v *verifying) judgeFolder(ctx context.Context) (verify.Report, error) {
	listing := verify.ListFolder(v.path)
	v.planID = planOn(listing)
	expected, err := v.expect(0, func(l media.Layout) (media.Card, bool) {
		return verify.ChooseForFolder(l, v.path)
	})
	if err != nil {
		return verify.Report{}, err
	}
	bar := v.session.bar("reading back", listing.FileBytes())
	report := verify.Folder(ctx, v.path, expected, bar.add)
	bar.end()
	v.whose = v.anothers(ctx, listing.Record, report)
	return report, nil
}
