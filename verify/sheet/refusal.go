package sheet

import (
	"slices"
	"strconv"

	"cardwright/manifest/order"
	"cardwright/verify"
	"cardwright/verify/visible"
)

// maxFindings is how many findings of one card are printed; they come worst
// first.
const maxFindings = 20

// refusal is a card that no install order is printed for, and why.
type refusal struct {
	reason   string
	findings []verify.Finding
}

// refusals are the cards that aren't good or aren't of this plan.
func refusals(w speech, in Input) []refusal {
	var all []refusal
	seen := map[int]bool{}
	for _, s := range in.Cards {
		card := w.say("card.name", "n", strconv.Itoa(s.Number), "m", strconv.Itoa(s.Of))
		switch {
		case s.Verdict != verify.Good:
			all = append(all, refusal{w.say("reason.card", "card", card, "verdict", verdict(w, s)), against(s.Findings)})
		case s.Plan != "" && s.Plan != in.Plan.ID():
			all = append(all, refusal{reason: w.say("reason.card.plan", "card", card, "plan", short(s.Plan))})
		case s.Of != len(in.Plan.Cards) || s.Number < 1 || s.Number > s.Of:
			all = append(all, refusal{reason: w.say("reason.card.many", "card", card, "m", strconv.Itoa(len(in.Plan.Cards)))})
		case seen[s.Number]:
			all = append(all, refusal{reason: w.say("reason.card.twice", "card", card)})
		}
		seen[s.Number] = true
	}
	return all
}

// against are the findings that speak against a card.
func against(all []verify.Finding) []verify.Finding {
	return slices.DeleteFunc(slices.Clone(all), func(f verify.Finding) bool { return f.Severity == verify.Note })
}

// reasonsSection says why there is no order, card by card.
func reasonsSection(w speech, all []refusal) Section {
	s := Section{ID: "reason", Title: w.say("reason")}
	say := func(text string) { s.Blocks = append(s.Blocks, Paragraph(text)) }
	for _, r := range all {
		s.Blocks = append(s.Blocks, Caution(r.reason))
		for _, f := range r.findings[:min(len(r.findings), maxFindings)] {
			for _, line := range finding(w, f) {
				say(line)
			}
		}
		if more := len(r.findings) - maxFindings; more > 0 {
			say(w.say("reason.more", "n", strconv.Itoa(more)))
		}
	}
	say(w.say("reason.do"))
	return s
}

func finding(w speech, f verify.Finding) []string {
	meaning := prose(f.Meaning)
	if meaning == "" {
		meaning = visible.Visible(string(f.Kind))
	}
	if f.Path != "" {
		meaning = w.say("reason.finding", "path", name(f.Path), "meaning", meaning)
	}
	lines := []string{meaning}
	switch {
	case f.Found != "" && f.Expected != "":
		lines = append(lines, w.say("reason.finding.both", "found", prose(f.Found), "expected", prose(f.Expected)))
	case f.Found != "":
		lines = append(lines, w.say("reason.finding.found", "found", prose(f.Found)))
	case f.Expected != "":
		lines = append(lines, w.say("reason.finding.expected", "expected", prose(f.Expected)))
	}
	if f.Advice != "" {
		lines = append(lines, prose(f.Advice))
	}
	return lines
}

// conflict says why no order is safe, and what would free it.
func conflict(w speech, c *order.Conflict) Section {
	s := Section{ID: "reason", Title: w.say("reason.conflict")}
	say := func(text string) { s.Blocks = append(s.Blocks, Paragraph(text)) }
	for _, f := range c.Because {
		fact := prose(f.Fact)
		if at := f.At.String(); at != "" {
			fact = w.say("reason.at", "fact", fact, "at", name(at))
		}
		say(fact)
	}
	if len(c.WouldFree) > 0 {
		say(w.say("reason.free") + ":")
		for _, free := range c.WouldFree {
			say("- " + prose(free))
		}
	}
	return s
}
