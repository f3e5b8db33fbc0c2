package verify

import (
	"fmt"
	"strings"

	"cardwright/media"
)

// asked is what a report was asked for, as its advice names it in commands.
type asked struct {
	target, vessel string
	flags          []string // that were given with the vessel
	repairs        bool     // a good card can be written for the vessel
	cards          int      // that its plan has
}

func askedFor(expected *Expected) asked {
	a := asked{target: "TARGET", vessel: "VESSEL"}
	if expected == nil {
		return a
	}
	if expected.Target != "" {
		a.target = media.ShellWord(expected.Target)
	}
	for _, flag := range expected.Flags {
		a.flags = append(a.flags, media.ShellWord(flag))
	}
	if expected.Record.Vessel != "" {
		a.vessel = media.ShellWord(expected.Record.Vessel)
	}
	if expected.Aboard != nil && expected.Aboard.Vessel != nil {
		a.vessel, a.repairs, a.cards = expected.Aboard.Vessel.ID, !expected.Nothing, expected.Record.Of
	}
	return a
}

// expects notes what a report was asked for.
func (r *Report) expects(expected *Expected) {
	r.asked = askedFor(expected)
	if expected != nil && expected.Aboard != nil && !expected.Nothing {
		r.Card = expected.Aboard.Card
	}
}

// command is how this card is verified for its vessel, with more flags.
func (r *Report) command(flags string) string {
	return strings.TrimSpace(r.asked.verifying(r.asked.target) + " " + flags)
}

// verifying is how a target is verified for the vessel.
func (a asked) verifying(target string) string {
	words := append([]string{"cardwright verify", target, "--for", a.vessel}, a.flags...)
	return strings.Join(words, " ")
}

// newCard is how another card is prepared for the vessel.
func (r *Report) newCard() string {
	words := append([]string{"cardwright prepare", r.asked.vessel}, r.asked.flags...)
	return strings.Join(append(words, r.asked.newCards("--to")), " ")
}

// RepairCommand is how a good card is written for the vessel that was named,
// from what is good on this one, with NEWCARD for the other card, or NEWCARD1
// and so on for each of the plan's; "" where
// none was named, or it needs no card.
func (r Report) RepairCommand() string {
	if !r.asked.repairs {
		return ""
	}
	return r.repair()
}

func (r *Report) repair() string { return r.command(r.asked.newCards("--repair-to")) }

// newCards names a card for each of the plan's: NEWCARD, or NEWCARD1 and so on.
func (a asked) newCards(flag string) string {
	if a.cards < 2 {
		return flag + " NEWCARD"
	}
	all := make([]string, a.cards)
	for i := range all {
		all[i] = fmt.Sprintf("%s NEWCARD%d", flag, i+1)
	}
	return strings.Join(all, " ")
}
