package main

import (
	"errors"
	"fmt"
	"strings"

	"cardwright/manifest/order"
	"cardwright/media"
	"cardwright/media/drive"
	"cardwright/verify/prepare"
)

// nothingToWrite answers where the vessel needs no card, or there is no safe order.
func (p *preparing) nothingToWrite(plan order.Plan) error {
	if p.session.json {
		p.answer(prepared{Format: 1, Plan: plan, Cards: []preparedCard{}})
	} else {
		writePlan(p.session.out, p.shop, p.vessel, plan, staysBehind(p.shop, p.vessel, p.options.ask, plan), inDoubt(p.session.known[p.vessel.ID]))
		fmt.Fprintln(p.session.out, "No card was written.")
	}
	lacks := media.LaptopLacks(p.shop, p.vessel, plan)
	p.tellLaptopLacks(lacks)
	codes := []int{leftOutCode(plan), laptopCode(lacks)}
	if plan.WayBack {
		codes = append(codes, exitNo)
	}
	return endWith(first(codes))
}

// tellLaptopLacks reports what the shop's laptop lacks for steps that come from no card:
// the cards are as good as they are, the visit isn't ready.
func (p *preparing) tellLaptopLacks(lacks []media.LaptopLack) {
	for _, l := range lacks {
		p.session.complain(fmt.Sprintf("not ready for step %d, %s, which comes from no card: %v", l.Step, l.Device, l.Err))
	}
}

// tell says what became of one target.
func (p *preparing) tell(run *prepare.Run, t *prepare.Target) {
	out := p.session.out
	name := fmt.Sprintf("card %d of %d, %s, for %s", t.Card.Number, t.Card.Of, t.Path, p.vessel.Name) + partOf(run.Plan)
	switch targetCode(t) {
	case exitDone, exitUnchecked:
		writeReport(out, shownReport{Report: *t.Report, title: name, all: true})
		if t.Capacity != nil {
			fmt.Fprintln(out, wrapped(t.Capacity.Conclusion(), ""))
		}
		if t.Kind == drive.DriveOrPart {
			fmt.Fprintf(out, "\n%s\n\n", wrapped(takeItOut(t), ""))
		}
		fmt.Fprintf(out, "Next, on the dock:\n  %s\n", p.nextCommand(t))
	case exitInterrupted:
		fmt.Fprintf(out, "%s\n%s\n", headed("✗ INTERRUPTED", name), t.Left())
	default:
		fmt.Fprintf(out, "%s\n%s\n%s\n", headed("✗ NOT WRITTEN", name), wrapped(t.Outcome.Err.Error(), ""), t.Left())
		if t.Report != nil {
			writeFindings(out, t.Report.Findings, true)
		}
	}
}

// takeItOut says what is to be done with a proven card at once.
func takeItOut(t *prepare.Target) string {
	const why = "a computer that mounts it may write to it, and then it is no longer the card that was proven."
	switch {
	case t.Ejected:
		return "The card was ejected: take it out. Put into a computer again, it may be written to."
	case errors.Is(t.Unreleased, drive.ErrStays):
		return "It could not be ejected from here. Take the card out by hand now: " + why
	}
	return "Take the card out now: " + why
}

// nextCommand is the command to type on the dock.
func (p *preparing) nextCommand(t *prepare.Target) string {
	words := []string{"cardwright verify", media.ShellWord(t.Path), "--for", p.vessel.ID}
	for _, flag := range p.session.flags(p.options.ask) {
		words = append(words, media.ShellWord(flag))
	}
	if t.Card.Of > 1 {
		return strings.Join(words, " ") // its order would prove no other card: tellSheets
	}
	return strings.Join(append(words, "--order install-order.txt"), " ")
}

// tellSheets says how to get the order of several cards, once for each set.
func (p *preparing) tellSheets(run *prepare.Run) {
	of := len(run.Layout.Cards)
	if of < 2 {
		return
	}
	fmt.Fprintf(p.session.out, "\nAnd then, for the order of %s:\n", counted(of, "card"))
	for set, file := 0, "install-order.txt"; set < len(run.Targets)/of; set++ {
		var cards []string
		for _, t := range run.Targets[set*of : (set+1)*of] {
			cards = append(cards, t.Path)
		}
		fmt.Fprintf(p.session.out, "  %s --output %s\n", p.session.sheetCommand(p.vessel, p.options.ask, cards), file)
		file = fmt.Sprintf("install-order-%d.txt", set+2)
	}
}

// tellPart says why good cards don't end with 0: they are not the whole work.
func (p *preparing) tellPart(run *prepare.Run) {
	c := leftOutCode(run.Plan)
	if c == exitDone {
		return
	}
	cards := "The card is good, but it is"
	if len(run.Layout.Cards) > 1 {
		cards = "The cards are good, but they are"
	}
	text := fmt.Sprintf("%s a part: exit code %d. Left out: %s. Why: cardwright plan %s", cards, c, strings.Join(leftDevices(run.Plan), ", "), p.vessel.ID)
	fmt.Fprintf(p.session.text(), "\n%s\n", wrapped(text, "  "))
}
