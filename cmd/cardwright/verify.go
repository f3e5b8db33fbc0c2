package main

import (
	"context"
	"errors"
	"fmt"

	"github.com/spf13/cobra"

	"cardwright/manifest"
	"cardwright/media/keys"
	"cardwright/verify"
	"cardwright/verify/ledger"
	"cardwright/verify/ledger/record"
)

// verifyOptions are the flags of verify.
type verifyOptions struct {
	forVessel  string
	card       int // which of the plan's cards it should be; 0: whichever it is
	ask        askOptions
	orderFile  string
	reportFile string
	form       formOptions // of both files
	clock      clockOptions
	all        bool
	repairTo   []string
	repair     prepareOptions // for --repair-to
}

func (o *verifyOptions) addFlags(cmd *cobra.Command) {
	flags := cmd.Flags()
	flags.StringVar(&o.forVessel, "for", "", "`VESSEL` that the card should be for")
	flags.StringVar(&o.orderFile, "order", "", "write the install order of a good card to this `FILE` (needs --for)")
	flags.IntVar(&o.card, "card", 0, "`NUMBER` of the plan's card that it should be (default: whichever it is)")
	flags.StringVar(&o.reportFile, "report", "", "write a one-page report of the card to this `FILE`")
	flags.StringArrayVar(&o.repairTo, "repair-to", nil, "write a good card to another `TARGET`, from what is good here and the shop's packages (needs --for); once for each card of the plan")
	flags.BoolVar(&o.all, "all", false, "show every finding, also those that follow from another")
	o.ask.addFlags(cmd)
	o.form.addFlags(cmd)
	o.clock.addFlags(cmd)
	o.repair.addTargetFlags(cmd)
	o.repair.key.addFlag(cmd)
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
	o.addFlags(cmd)
	return cmd
}

func runVerify(ctx context.Context, s *session, o verifyOptions, path string) error {
	v, err := o.begin(ctx, s, path)
	if err != nil {
		return err
	}
	asked, err := s.askedOf(ctx, path, v.shop, v.vessel, v.options.ask, o.card)
	if err != nil {
		return err
	}
	card, err := verify.Target(ctx, path, asked, s.watch("reading back"))
	if err != nil {
		return noVerdict(err)
	}
	defer card.Close()
	if v.vessel != nil {
		defer func() { writeOpen(s.errs, &s.terminal, v.vessel, s.known[v.vessel.ID]) }()
	}
	if !s.json {
		writeReport(s.out, v.shown(card, o.all))
		_, err := v.follow(ctx, card)
		return err
	}
	repair, err := v.follow(ctx, card)
	s.writeJSON(verified{Report: card.Report, Repair: repair, Error: or(told(err), told(v.beside))})
	return &answered{codeIn(ctx, err)}
}

// begin loads what the card is compared with, and refuses what can't be done before
// the card is read.
func (o *verifyOptions) begin(ctx context.Context, s *session, path string) (v *verifying, err error) {
	if o.forVessel == "" && (o.orderFile != "" || len(o.repairTo) > 0) {
		return nil, usage(errors.New("--order and --repair-to need --for VESSEL, which says what the card should hold"))
	}
	if err := refuseTheCardItself(path, o.repairTo); err != nil {
		return nil, err
	}
	v = &verifying{session: s, path: path}
	if o.forVessel != "" {
		v.shop, v.vessel, err = s.vesselToJudge(o.forVessel)
		if err == nil {
			ranBefore(v.vessel, s.known[v.vessel.ID], &o.ask)
		}
	} else {
		v.shop, err = s.shopIfAny()
		if err == nil && v.shop != nil {
			learnFleetIfAny(ctx, s, v.shop) // the ledger, too, decides for which boat it would do
		}
	}
	v.options = *o
	if err != nil {
		return nil, err
	}
	if err := v.checkPages(); err != nil {
		return nil, err
	}
	return v, v.findKey(o.repair.key)
}

// verified is the answer of verify in JSON: the report, and what became of what
// was asked for in addition.
type verified struct {
	verify.Report
	Repair *prepared `json:"repair,omitempty"`
	Error  string    `json:"error,omitempty"`
}

// verifying is one run of verify.
type verifying struct {
	session *session
	options verifyOptions
	path    string
	shop    *manifest.Shop   // nil where there is none
	vessel  *manifest.Vessel // nil without --for
	key     *keys.Key        // by which the card is noted; nil: it isn't
	beside  error            // reported in addition to the verdict
}

// follow notes a verdict and writes the files asked for.
// The error has the exit code: that the card couldn't be noted is reported after a
// verdict, whose code stays unless it says that all is well.
func (v *verifying) follow(ctx context.Context, card verify.Verified) (*prepared, error) {
	if err := v.note(ctx, card); err != nil {
		if card.Report.Verdict == verify.Good {
			return nil, err
		}
		v.aside(err)
	}
	if v.options.reportFile != "" {
		if err := v.writeReportPage(card); err != nil {
			return nil, err
		}
	}
	if v.options.orderFile != "" {
		if err := v.writeOrder(card); err != nil {
			return nil, err
		}
	}
	if len(v.options.repairTo) > 0 {
		return v.repair(ctx, card)
	}
	return nil, endWith(verdictCode(card.Report.Verdict))
}

// aside reports what doesn't change the verdict's exit code.
func (v *verifying) aside(err error) {
	v.beside = errors.Join(v.beside, err)
	v.session.complain(err.Error())
}

// findKey finds the key by which the card is noted. One that was named has to be
// there; without one that can be read the card is verified all the same.
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
func (v *verifying) note(ctx context.Context, card verify.Verified) error {
	seen := record.CardSeen{Shop: v.shop, Vessel: v.vessel, Plan: card.Wanted.Plan, Card: card.Wanted.Card, Target: v.path, Bytes: card.Bytes, Report: card.Report}
	if err := noteCard(ctx, v.session, v.shop, v.key, ledger.CardVerified, v.vessel, seen.Kept()); err != nil {
		return fmt.Errorf("the card is %s, but %w", card.Report.Verdict, err)
	}
	return nil
}

// page is a file asked for in addition to the answer.
func (v *verifying) page(flag, path string) page {
	return page{flag: flag, path: path, shop: v.shop, cards: []string{v.path}}
}

// checkPages refuses what can't be written before the card is read.
func (v *verifying) checkPages() error {
	o := v.options
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

func (v *verifying) shown(card verify.Verified, all bool) shownReport {
	title := v.path
	if v.vessel != nil {
		title += ", for " + v.vessel.Name + partOf(card.Wanted.Plan)
	}
	return shownReport{Report: card.Report, title: title, whose: card.Whose, all: all}
}
