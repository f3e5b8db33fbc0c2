package sheet

import (
	"fmt"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"

	"cardwright/manifest"
	"cardwright/manifest/order"
	"cardwright/verify/visible"
)

// Make makes the install order. A plan that is a conflict or waits for versions
// to be read, and a card that isn't good or isn't of this plan, give a sheet
// without steps that tells the reason; a card that wasn't verified makes the
// whole sheet a plan and no proof. The plan's notes and facts, a card's findings
// and the catalogue's texts are shown as they are, in whatever language.
//
// The only errors are a Style and a Clock that their Check refuses.
func Make(in Input) (Sheet, error) {
	w, err := in.Style.speech()
	if err != nil {
		return Sheet{}, fmt.Errorf("making install order: %w", err)
	}
	if err := in.Clock.Check(); err != nil {
		return Sheet{}, fmt.Errorf("making install order: %w", err)
	}
	s := Sheet{
		Language: in.Style.Language,
		Title:    w.say("title"),
		Vessel:   vesselName(in.Vessel),
		About:    about(w, in),
		Foot:     foot(w, in),
		Made:     in.When,
		Facts:    facts(w, in),
		By:       Blank{ID: "by", Label: w.say("technician"), Value: prose(in.Technician), Wide: true},
		Call:     clause(in.Shop.Call),
		Phone:    phone(in.Shop.Call),
	}
	if in.Plan.WayBack {
		s.Title = w.say("back.title")
	}
	if s.Language == "" {
		s.Language = English
	}
	switch reasons := refusals(w, in); {
	case in.Plan.Conflict != nil:
		s.Stamp = stamp(w, StampNone, "stamp.conflict")
		s.Sections = []Section{conflict(w, in.Plan.Conflict)}
	case len(in.Plan.Unknown) > 0:
		s.Stamp = stamp(w, StampRead, "stamp.read")
		s.Sections = []Section{versionsAboard(w, in), whatFollows(w, in), ending(w, in), forTheShop(w, in, nil)}
	case len(reasons) > 0:
		s.Stamp = stamp(w, StampNone, "stamp.none")
		s.Sections = []Section{reasonsSection(w, reasons)}
	case len(in.Plan.Steps) == 0:
		s.Stamp = stamp(w, StampNothing, "stamp.nothing")
		s.Sections = []Section{versionsAboard(w, in), ending(w, in), forTheShop(w, in, nil)}
	default:
		s.Stamp = worth(w, in)
		s.Cards = cards(w, in)
		s.Network = network(w, in)
		s.Sections = work(w, in)
		if s.Network.passesOn() {
			s.Sections = append(s.Sections, Section{ID: "network", Title: s.Network.Title, Whole: true, Blocks: []Block{*s.Network}})
		}
		s.Sections = append(s.Sections, forTheShop(w, in, s.Cards))
		s.Form = form(in)
	}
	if in.Plan.WayBack {
		s.Stamp.Word = w.say("back") + ": " + s.Stamp.Word
	}
	return s, nil
}

// work is the whole visit, in its order.
func work(w speech, in Input) []Section {
	parts := []Section{summary(w, in), leaving(w, in), starting(w, in), ifAStepFails(w, in)}
	parts = append(parts, stepSections(w, in)...)
	if s := checksSection(w, in); len(s.Blocks) > 0 {
		parts = append(parts, s)
	}
	return append(parts, ending(w, in))
}

func stamp(w speech, kind, key string) Stamp {
	return Stamp{Kind: kind, Word: w.say(key), Text: w.say(key + ".text")}
}

// worth is good only when every card of the plan was verified as good.
func worth(w speech, in Input) Stamp {
	var missing []string
	for _, c := range in.Plan.Cards {
		if in.card(c.Number) == nil {
			missing = append(missing, cardName(w, in, c.Number))
		}
	}
	switch {
	case len(in.Plan.Cards) == 0 && slices.ContainsFunc(in.Plan.Steps, func(s order.Step) bool { return s.Route != "" }):
		return stamp(w, StampPlan, "stamp.no-card")
	case len(in.Cards) == 0:
		return stamp(w, StampPlan, "stamp.plan")
	case len(missing) > 0 || len(in.Plan.Cards) == 0:
		return Stamp{
			Kind: StampPlan, Word: w.say("stamp.plan"),
			Text: w.say("stamp.part.text", "cards", strings.Join(missing, ", ")),
		}
	}
	good := stamp(w, StampGood, "stamp.good")
	if day := w.day(provenOn(in)); day != "" {
		good.When = w.say("stamp.when", "day", day)
	}
	return good
}

// provenOn is when the card that was proven longest ago was; zero where one
// was on a day that nobody noted.
func provenOn(in Input) time.Time {
	oldest := in.Cards[0].When
	for _, c := range in.Cards {
		if c.When.Before(oldest) {
			oldest = c.When
		}
	}
	return oldest
}

// vesselName is the vessel's name, or the id where that is too long to stand in
// each page's head.
func vesselName(v *manifest.Vessel) string {
	const most = 60
	if len(v.Name) > most {
		return name(v.ID)
	}
	return name(v.Name)
}

// foot tells the page's vessel, plan and cards; many cards give way to their
// number.
func foot(w speech, in Input) string {
	const maxCards = 1
	text := func(cards string) string {
		return w.say("foot", "vessel", vesselName(in.Vessel), "plan", short(in.Plan.ID()), "cards", cards)
	}
	if n := len(in.Plan.Cards); n > maxCards {
		return text(w.say("foot.many", "n", strconv.Itoa(n)))
	}
	all := make([]string, 0, len(in.Plan.Cards))
	for _, c := range in.Plan.Cards {
		id := w.say("card.unproven")
		if s := in.card(c.Number); s != nil {
			id = short(s.Digest)
		}
		all = append(all, cardName(w, in, c.Number)+": "+id)
	}
	return strings.TrimSuffix(text(strings.Join(all, ", ")), " · ")
}

// about tells in a line where she lies, who works and on which day.
func about(w speech, in Input) string {
	v := in.Vessel
	full := ""
	if vesselName(v) != name(v.Name) {
		full = prose(v.Name)
	}
	return strings.Join(notEmpty(full, identity(w, v), prose(v.Berth), prose(in.Shop.Name), w.day(in.When)), " · ")
}

func facts(w speech, in Input) []Fact {
	v := in.Vessel
	return filled(
		Fact{Label: w.say("vessel"), Value: name(v.Name) + " (" + name(v.ID) + ")"},
		Fact{Label: w.say("identity"), Value: identity(w, v)},
		Fact{Label: w.say("berth"), Value: prose(v.Berth)},
		Fact{Label: w.say("supply"), Value: prose(v.Supply)},
		Fact{Label: w.say("shop"), Value: prose(in.Shop.Name)},
		Fact{Label: w.say("date"), Value: w.day(in.When)},
		Fact{Label: w.say("plan"), Value: short(in.Plan.ID()), Exact: true},
	)
}

func identity(w speech, v *manifest.Vessel) string {
	var all []string
	for _, part := range []struct{ key, value string }{{"imo", v.Identity.IMO}, {"mmsi", v.Identity.MMSI}, {"hull", v.Identity.Hull}} {
		if part.value != "" {
			all = append(all, w.say(part.key, "id", name(part.value)))
		}
	}
	return strings.Join(all, ", ")
}

// phoneNumber is one as people write it: ITU-T E.123 has 15 digits at most.
var phoneNumber = regexp.MustCompile(`\+?[0-9][0-9 ()./-]{4,24}[0-9]`)

// phone is the number in what the shop wrote down to call, as a tel: address
// takes it (RFC 3966).
func phone(call string) string {
	return strings.Map(func(r rune) rune {
		if r == '+' || r >= '0' && r <= '9' {
			return r
		}
		return -1
	}, phoneNumber.FindString(visible.Visible(call)))
}
