package main

import (
	"fmt"
	"time"

	"cardwright/manifest"
	"cardwright/manifest/order"
	"cardwright/verify"
	"cardwright/verify/sheet"
	"cardwright/verify/visible"
)

// writeOrder writes the install order of a good card.
func (v *verifying) writeOrder(card verify.Verified) error {
	o, report, wanted := v.options, card.Report, card.Wanted
	if report.Verdict != verify.Good {
		fmt.Fprintf(v.session.errs, "No install order was written: the card is %s.\n", report.Verdict)
		return nil
	}
	format, err := o.form.formatFor(o.orderFile)
	if err != nil {
		return err
	}
	clock, err := o.clock.clock()
	if err != nil {
		return err
	}
	made, err := sheet.Make(sheet.Input{
		Shop: v.shop, Vessel: v.vessel, Plan: card.PlanOnIt(wanted.Plan), When: time.Now(), Clock: clock,
		Cards: []sheet.CardState{sheet.StateOf(card, time.Now())}, Style: o.form.style(), Open: openAtSteps(v.vessel, v.session.known[v.vessel.ID]),
		SeaTrial: seaTrialCommand,
	})
	if err != nil {
		return err
	}
	page, err := o.form.render(v.shop, made, format)
	if err != nil {
		return fmt.Errorf("making the install order: %w", err)
	}
	if err := v.page("order", o.orderFile).write(page); err != nil {
		return fmt.Errorf("writing the install order: %w", err)
	}
	fmt.Fprintf(v.session.errs, "Install order written to %s\n", visible.Visible(o.orderFile))
	if of := wanted.Card.Of; of > 1 {
		cards := make([]string, of)
		for i := range cards {
			cards[i] = fmt.Sprintf("CARD%d", i+1)
		}
		fmt.Fprintf(v.session.errs, "It proves card %d of %d only: %s makes that of all.\n", wanted.Card.Number, of, v.session.sheetCommand(v.vessel, o.ask, cards))
	}
	return nil
}

// installOrderText is the text on the card: the order as planned, with no
// date or name, so that the same plan gives the same card.
func installOrderText(shop *manifest.Shop, vessel *manifest.Vessel, plan order.Plan) ([]byte, error) {
	made, err := sheet.Make(sheet.Input{Shop: shop, Vessel: vessel, Plan: plan, SeaTrial: seaTrialCommand})
	if err != nil {
		return nil, err
	}
	return []byte(sheet.Text(made)), nil
}
