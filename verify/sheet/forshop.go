package sheet

import (
	"fmt"
	"strconv"
	"strings"

	"cardwright/manifest/order"
	"cardwright/verify"
	"cardwright/verify/visible"
)

// forTheShop is what nobody needs at the helm: digests, records, room, square
// codes, and what the plan notes.
func forTheShop(w speech, in Input, cards []Card) Section {
	s := Section{ID: "shop", Title: w.say("shop.block"), Blocks: []Block{Facts{{w.say("vessel"), name(in.Vessel.ID), false}, {w.say("plan"), grouped(in.Plan.ID(), 8, " "), true}}}}
	if len(cards) > 0 {
		s.Blocks = append(s.Blocks, Cards(cards))
	}
	var notes Facts
	for _, note := range in.Plan.Notes {
		if saidAtStep(in, note) {
			continue
		}
		notes = append(notes, Fact{w.say("plan.note"), prose(note), false})
	}
	if notes != nil {
		s.Blocks = append(s.Blocks, notes)
	}
	return s
}

// saidAtStep reports whether the sheet says by itself what a note does: that a
// release has no way back, or that one aboard was withdrawn.
func saidAtStep(in Input, note string) bool {
	if strings.HasPrefix(note, "risk: ") {
		return true
	}
	for _, d := range in.Vessel.Devices {
		if r := in.model(d.Model).Release(d.Version, d.Variant); r != nil && r.Withdrawn != "" && strings.Contains(note, r.Withdrawn) {
			return true
		}
	}
	return false
}

func cardName(w speech, in Input, number int) string {
	return w.say("card.name", "n", strconv.Itoa(number), "m", strconv.Itoa(len(in.Plan.Cards)))
}

func cards(w speech, in Input) []Card {
	all := make([]Card, 0, len(in.Plan.Cards))
	for _, c := range in.Plan.Cards {
		if s := in.card(c.Number); s != nil {
			all = append(all, provenCard(w, in, c, *s))
		} else {
			all = append(all, plannedCard(w, in, c))
		}
	}
	return all
}

func plannedCard(w speech, in Input, c order.Card) Card {
	return Card{Number: c.Number, Name: cardName(w, in, c.Number), Facts: filled(
		Fact{w.say("card.verdict"), w.say("card.unproven"), false},
		Fact{w.say("card.devices"), names(c.Devices), false},
		Fact{w.say("card.room"), w.say("card.room.needed", "bytes", w.size(c.Bytes), "needed", w.size(c.Needed)), false},
	)}
}

func provenCard(w speech, in Input, c order.Card, s CardState) Card {
	room := Room{Bytes: s.Bytes, Used: s.Used}
	if room.Used <= 0 {
		room.Used = c.Bytes
	}
	room.Text = w.say("card.room.used",
		"used", w.size(room.Used), "bytes", w.size(room.Bytes), "free", w.size(max(0, room.Bytes-room.Used)))
	kept := name(record(in, s))
	if kept == in.Plan.ID() {
		kept = "" // it is above
	}
	card := Card{
		Number: c.Number, Name: cardName(w, in, c.Number), Proven: true,
		Facts: filled(
			Fact{w.say("card.verdict"), verdict(w, s), false},
			Fact{w.say("card.volume"), name(s.VolumeID), true},
			Fact{w.say("card.digest"), grouped(s.Digest, 8, " "), true},
			Fact{w.say("card.record"), kept, true},
			Fact{w.say("card.room"), room.Text, false},
		),
		QR: squareCode(in, s),
	}
	if room.Bytes > 0 {
		card.Room = &room
	}
	return card
}

// onLabel is what the technician writes on a card.
func onLabel(in Input, s CardState) string {
	return fmt.Sprintf("%s %d/%d", name(s.Label), s.Number, len(in.Plan.Cards))
}

func record(in Input, s CardState) string {
	if s.Record != "" {
		return s.Record
	}
	return in.Plan.ID()
}

// squareCode is plain text that any reader shows.
func squareCode(in Input, s CardState) string {
	return fmt.Sprintf("card %d of %d\ndigest %s\nrecord %s",
		s.Number, len(in.Plan.Cards), visible.Visible(s.Digest), visible.Visible(record(in, s)))
}

func verdict(w speech, s CardState) string {
	when := w.moment(s.When)
	switch s.Verdict {
	case verify.Good:
		return w.say("card.good", "when", when)
	case verify.Bad:
		return w.say("card.bad", "when", when)
	}
	return w.say("card.unchecked", "when", when)
}
