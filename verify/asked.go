package verify

import "strings"

// asked is what a report was asked for, as its advice names it in commands.
type asked struct {
	target, vessel string
	repairs        bool // a good card can be written for the vessel
}

func askedFor(expected *Expected) asked {
	a := asked{target: "TARGET", vessel: "VESSEL"}
	if expected == nil {
		return a
	}
	if expected.Target != "" {
		a.target = quoted(expected.Target)
	}
	if expected.Aboard != nil && expected.Aboard.Vessel != nil {
		a.vessel, a.repairs = expected.Aboard.Vessel.ID, !expected.Nothing
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
	return strings.TrimSpace("cardwright verify " + r.asked.target + " --for " + r.asked.vessel + " " + flags)
}

// newCard is how another card is prepared for the vessel.
func (r *Report) newCard() string { return "cardwright prepare " + r.asked.vessel + " --to NEWCARD" }

// RepairCommand is how a good card is written for the vessel that was named,
// from what is good on this one, with NEWCARD for the other card; "" where
// none was named, or it needs no card.
func (r Report) RepairCommand() string {
	if !r.asked.repairs {
		return ""
	}
	return r.command("--repair-to NEWCARD")
}

const plainInShells = "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789./_-+=:,@%"

// quoted writes a word so that a shell takes it as one.
func quoted(word string) string {
	if word != "" && strings.Trim(word, plainInShells) == "" {
		return word
	}
	return "'" + strings.ReplaceAll(word, "'", `'\''`) + "'"
}
