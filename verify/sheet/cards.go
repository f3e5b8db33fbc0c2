package sheet

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"cardwright/manifest/order"
	"cardwright/verify"
	"cardwright/verify/visible"
)

// state is how a card of the plan was verified, or nil.
func (m *maker) state(number int) *CardState {
	for i := range m.in.Cards {
		if m.in.Cards[i].Number == number {
			return &m.in.Cards[i]
		}
	}
	return nil
}

func (m *maker) cardName(number int) string {
	return m.say("card.name", "n", strconv.Itoa(number), "m", strconv.Itoa(len(m.in.Plan.Cards)))
}

func (m *maker) cards() []Card {
	all := make([]Card, 0, len(m.in.Plan.Cards))
	for _, c := range m.in.Plan.Cards {
		if s := m.state(c.Number); s != nil {
			all = append(all, m.provenCard(c, *s))
		} else {
			all = append(all, m.plannedCard(c))
		}
	}
	return all
}

func (m *maker) plannedCard(c order.Card) Card {
	return Card{Number: c.Number, Name: m.cardName(c.Number), Facts: filled(
		Fact{m.say("card.verdict"), m.say("card.unproven"), false},
		Fact{m.say("card.devices"), names(c.Devices), false},
		Fact{m.say("card.room"), m.say("card.room.needed", "bytes", m.size(c.Bytes), "needed", m.size(c.Needed)), false},
	)}
}

func (m *maker) provenCard(c order.Card, s CardState) Card {
	room := Room{Bytes: s.Bytes, Used: s.Used}
	if room.Used <= 0 {
		room.Used = c.Bytes
	}
	room.Text = m.say("card.room.used",
		"used", m.size(room.Used), "bytes", m.size(room.Bytes), "free", m.size(max(0, room.Bytes-room.Used)))
	card := Card{
		Number: c.Number, Name: m.cardName(c.Number), Proven: true,
		Facts: filled(
			Fact{m.say("card.verdict"), m.verdict(s), false},
			Fact{m.say("card.label"), m.onLabel(s), false},
			Fact{m.say("card.volume"), name(s.VolumeID), true},
			Fact{m.say("card.digest.short"), short(s.Digest), true},
			Fact{m.say("card.digest"), grouped(s.Digest), true},
			Fact{m.say("card.record"), name(m.record(s)), true},
			Fact{m.say("card.devices"), names(c.Devices), false},
			Fact{m.say("card.room"), room.Text, false},
		),
		QR: m.qr(s),
	}
	if room.Bytes > 0 {
		card.Room = &room
	}
	return card
}

// onLabel is what the technician writes on a card.
func (m *maker) onLabel(s CardState) string {
	return fmt.Sprintf("%s %d/%d", name(s.Label), s.Number, len(m.in.Plan.Cards))
}

func (m *maker) record(s CardState) string {
	if s.Record != "" {
		return s.Record
	}
	return m.planID
}

// qr is plain text that any reader shows.
func (m *maker) qr(s CardState) string {
	return fmt.Sprintf("card %d of %d\ndigest %s\nrecord %s",
		s.Number, len(m.in.Plan.Cards), visible.Visible(s.Digest), visible.Visible(m.record(s)))
}

func (m *maker) verdict(s CardState) string {
	when := m.moment(s.When)
	switch s.Verdict {
	case verify.Good:
		return m.say("card.good", "when", when)
	case verify.Bad:
		return m.say("card.bad", "when", when)
	}
	return m.say("card.unchecked", "when", when)
}

// maxFindings is how many findings of one card are printed; they come worst
// first.
const maxFindings = 20

// refusal is a card that no install order is printed for, and why.
type refusal struct {
	reason   string
	findings []verify.Finding
}

// refusals are the cards that aren't good or aren't of this plan.
func (m *maker) refusals() []refusal {
	var all []refusal
	seen := map[int]bool{}
	for _, s := range m.in.Cards {
		card := m.say("card.name", "n", strconv.Itoa(s.Number), "m", strconv.Itoa(s.Of))
		switch {
		case s.Verdict != verify.Good:
			all = append(all, refusal{m.say("reason.card", "card", card, "verdict", m.verdict(s)), against(s.Findings)})
		case s.Plan != "" && s.Plan != m.planID:
			all = append(all, refusal{reason: m.say("reason.card.plan", "card", card, "plan", short(s.Plan))})
		case s.Of != len(m.in.Plan.Cards) || s.Number < 1 || s.Number > s.Of:
			all = append(all, refusal{reason: m.say("reason.card.many", "card", card, "m", strconv.Itoa(len(m.in.Plan.Cards)))})
		case seen[s.Number]:
			all = append(all, refusal{reason: m.say("reason.card.twice", "card", card)})
		}
		seen[s.Number] = true
	}
	return all
}

// against are the findings that speak against a card.
func against(all []verify.Finding) []verify.Finding {
	return slices.DeleteFunc(slices.Clone(all), func(f verify.Finding) bool { return f.Severity == verify.Note })
}

// reasons says why there is no order, card by card.
func (m *maker) reasons(all []refusal) Section {
	s := Section{ID: "reason", Title: m.say("reason")}
	for _, r := range all {
		s.Text = append(s.Text, r.reason)
		for _, f := range r.findings[:min(len(r.findings), maxFindings)] {
			s.Text = append(s.Text, m.finding(f)...)
		}
		if more := len(r.findings) - maxFindings; more > 0 {
			s.Text = append(s.Text, m.say("reason.more", "n", strconv.Itoa(more)))
		}
	}
	s.Text = append(s.Text, m.say("reason.do"))
	return s
}

func (m *maker) finding(f verify.Finding) []string {
	var lines []string
	meaning := prose(f.Meaning)
	if meaning == "" {
		meaning = visible.Visible(string(f.Kind))
	}
	if f.Path != "" {
		meaning = m.say("reason.finding", "path", name(f.Path), "meaning", meaning)
	}
	lines = append(lines, meaning)
	switch {
	case f.Found != "" && f.Expected != "":
		lines = append(lines, m.say("reason.finding.both", "found", prose(f.Found), "expected", prose(f.Expected)))
	case f.Found != "":
		lines = append(lines, m.say("reason.finding.found", "found", prose(f.Found)))
	case f.Expected != "":
		lines = append(lines, m.say("reason.finding.expected", "expected", prose(f.Expected)))
	}
	if f.Advice != "" {
		lines = append(lines, prose(f.Advice))
	}
	return lines
}

// conflict says why no order is safe, and what would free it.
func (m *maker) conflict() Section {
	c := m.in.Plan.Conflict
	s := Section{ID: "reason", Title: m.say("reason.conflict")}
	for _, f := range c.Because {
		fact := prose(f.Fact)
		if at := f.At.String(); at != "" {
			fact = m.say("reason.at", "fact", fact, "at", name(at))
		}
		s.Text = append(s.Text, fact)
	}
	if len(c.WouldFree) > 0 {
		s.Text = append(s.Text, m.say("reason.free")+":")
		for _, free := range c.WouldFree {
			s.Text = append(s.Text, "- "+prose(free))
		}
	}
	return s
}

// cardSteps are the steps that need one card, in order. Steps that need a card
// more than once are grouped by run: see steps.
func runs(steps []order.Step) [][]order.Step {
	var all [][]order.Step
	for i, s := range steps {
		if i == 0 || s.Card != steps[i-1].Card {
			all = append(all, nil)
		}
		all[len(all)-1] = append(all[len(all)-1], s)
	}
	return all
}

// list joins texts that aren't empty.
func list(all []string) string {
	var some []string
	for _, s := range all {
		if strings.TrimSpace(s) != "" {
			some = append(some, s)
		}
	}
	return strings.Join(some, ", ")
}
