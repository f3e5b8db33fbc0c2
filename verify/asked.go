package verify

import "strings"

// asked is what a report was asked for, as its advice names it in commands.
type asked struct{ target, vessel string }

func askedFor(expected *Expected) asked {
	a := asked{"TARGET", "VESSEL"}
	if expected == nil {
		return a
	}
	if expected.Target != "" {
		a.target = quoted(expected.Target)
	}
	if expected.Aboard != nil && expected.Aboard.Vessel != nil {
		a.vessel = expected.Aboard.Vessel.ID
	}
	return a
}

// command is how this card is verified for its vessel, with more flags.
func (r *Report) command(flags string) string {
	return strings.TrimSpace("cardwright verify " + r.asked.target + " --for " + r.asked.vessel + " " + flags)
}

// newCard is how another card is prepared for the vessel.
func (r *Report) newCard() string { return "cardwright prepare " + r.asked.vessel + " --to NEWCARD" }

// newCardIs leads over to a command with NEWCARD.
const newCardIs = "; for NEWCARD name its drive, as cardwright readers lists it: "

const plainInShells = "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789./_-+=:,@%"

// quoted writes a word so that a shell takes it as one.
func quoted(word string) string {
	if word != "" && strings.Trim(word, plainInShells) == "" {
		return word
	}
	return "'" + strings.ReplaceAll(word, "'", `'\''`) + "'"
}
