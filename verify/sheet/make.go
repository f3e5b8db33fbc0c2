package sheet

import (
	"fmt"
	"strconv"
	"strings"
	"time"

	"cardwright/manifest"
	"cardwright/manifest/order"
	"cardwright/manifest/version"
	"cardwright/verify"
	"cardwright/verify/visible"
)

// Input is what a sheet is made from. The same input gives the same sheet.
type Input struct {
	Shop       *manifest.Shop
	Vessel     *manifest.Vessel
	Plan       order.Plan  // steps with card and folder, as media.Lay fills them in
	Cards      []CardState // the cards as they were verified; none before prepare
	When       time.Time   // the day on the sheet; zero: none
	Technician string      // "": a blank to write the name in
	// Open is what is open about a device, in words: it stands at its steps.
	Open  map[string][]string
	Style Style
}

// CardState is one card of the plan as it was verified.
type CardState struct {
	Number   int    // from 1
	Of       int    // how many cards the plan has
	Label    string // what is written on the card
	VolumeID string // as tools show it: 3A5C-19F2
	Digest   string // of the card, 64 hex digits
	Record   string // id of the record kept by the shop; "": the plan's id stands for it
	Plan     string // id of the plan that the card was made for; "": the caller has compared it
	Verdict  verify.Verdict
	Findings []verify.Finding // why the verdict isn't good
	When     time.Time        // of the verdict
	Bytes    int64            // measured capacity
	Used     int64            // of Bytes; 0: not known
}

// Make makes the sheet. A plan that is a conflict or waits for versions to be
// read, and a card that isn't good or isn't of this plan, give a sheet without
// steps that tells the reason; a card that wasn't verified makes the whole
// sheet a plan and no proof. The plan's notes and facts, a card's findings and
// the catalogue's texts are shown as they are, in whatever language.
//
// The only error is a Style that Style.Check refuses.
func Make(in Input) (Sheet, error) {
	if err := in.Style.Check(); err != nil {
		return Sheet{}, fmt.Errorf("making install order: %w", err)
	}
	w, err := speak(in.Style.Language)
	if err != nil {
		return Sheet{}, fmt.Errorf("making install order: %w", err)
	}
	m := &maker{in: in, words: w, planID: in.Plan.ID()}
	return m.sheet(), nil
}

// maker holds what the parts of one sheet have in common.
type maker struct {
	in     Input
	words  words
	planID string
}

func (m *maker) say(key string, fill ...string) string { return m.words.say(key, fill...) }

func (m *maker) sheet() Sheet {
	s := Sheet{
		Language: m.in.Style.Language,
		Title:    m.say("title"),
		Foot:     m.foot(),
		Made:     m.in.When,
		Facts:    m.facts(),
		By:       Blank{ID: "by", Label: m.say("technician"), Value: visible.Visible(m.in.Technician), Wide: true},
	}
	if s.Language == "" {
		s.Language = English
	}
	switch reasons := m.refusals(); {
	case m.in.Plan.Conflict != nil:
		s.Stamp = m.stamp(StampNone, "stamp.conflict")
		s.Sections = []Section{m.conflict()}
	case len(m.in.Plan.Unknown) > 0:
		s.Stamp = m.stamp(StampRead, "stamp.read")
		s.Sections = present(m.versionsAboard(), m.whatFollows(), m.openPoints(), m.signatures())
	case len(reasons) > 0:
		s.Stamp = m.stamp(StampNone, "stamp.none")
		s.Sections = []Section{m.reasons(reasons)}
	case len(m.in.Plan.Steps) == 0:
		s.Stamp = m.stamp(StampNothing, "stamp.nothing")
		s.Sections = present(m.versionsAboard(), m.openPoints(), m.signatures())
	default:
		s.Stamp = m.worth()
		s.Cards = m.cards()
		s.Network = m.network()
		s.Sections = m.work()
		s.Form = m.form()
	}
	return s
}

// work is the whole visit, in its order.
func (m *maker) work() []Section {
	parts := present(m.leaving(), m.starting(), m.versionsAboard(), m.wayBack(), m.windows())
	parts = append(parts, m.steps()...)
	parts = append(parts, m.checks()...)
	return append(parts, present(m.finishing(), m.ifAStepFails(), m.openPoints(), m.signatures())...)
}

// present leaves out the sections that have nothing to say.
func present(all ...Section) []Section {
	var some []Section
	for _, s := range all {
		if s.ID != "" {
			some = append(some, s)
		}
	}
	return some
}

func (m *maker) stamp(kind, key string) Stamp {
	return Stamp{Kind: kind, Word: m.say(key), Text: m.say(key + ".text")}
}

// worth is good only when every card of the plan was verified as good.
func (m *maker) worth() Stamp {
	var missing []string
	for _, c := range m.in.Plan.Cards {
		if m.state(c.Number) == nil {
			missing = append(missing, m.cardName(c.Number))
		}
	}
	switch {
	case len(m.in.Cards) == 0:
		return m.stamp(StampPlan, "stamp.plan")
	case len(missing) > 0 || len(m.in.Plan.Cards) == 0:
		return Stamp{
			Kind: StampPlan, Word: m.say("stamp.plan"),
			Text: m.say("stamp.part.text", "cards", strings.Join(missing, ", ")),
		}
	}
	return m.stamp(StampGood, "stamp.good")
}

// foot tells the page's vessel, plan and cards; a long name gives way to the
// id, and many cards to their number.
func (m *maker) foot() string {
	const maxName, maxCards = 60, 6
	vessel := m.in.Vessel.Name
	if len(vessel) > maxName {
		vessel = m.in.Vessel.ID
	}
	if n := len(m.in.Plan.Cards); n > maxCards {
		return m.say("foot", "vessel", name(vessel), "plan", short(m.planID), "cards", m.say("foot.many", "n", strconv.Itoa(n)))
	}
	cards := make([]string, 0, len(m.in.Plan.Cards))
	for _, c := range m.in.Plan.Cards {
		id := m.say("card.unproven")
		if s := m.state(c.Number); s != nil {
			id = short(s.Digest)
		}
		cards = append(cards, m.cardName(c.Number)+": "+id)
	}
	return strings.TrimSuffix(m.say("foot",
		"vessel", name(vessel), "plan", short(m.planID), "cards", strings.Join(cards, ", ")), " · ")
}

func (m *maker) facts() []Fact {
	v := m.in.Vessel
	return filled(
		Fact{Label: m.say("vessel"), Value: name(v.Name) + " (" + name(v.ID) + ")"},
		Fact{Label: m.say("identity"), Value: m.identity()},
		Fact{Label: m.say("berth"), Value: prose(v.Berth)},
		Fact{Label: m.say("supply"), Value: prose(v.Supply)},
		Fact{Label: m.say("shop"), Value: prose(m.in.Shop.Name)},
		Fact{Label: m.say("date"), Value: m.day(m.in.When)},
		Fact{Label: m.say("plan"), Value: short(m.planID), Exact: true},
		Fact{Label: m.say("steps"), Value: m.sum()},
	)
}

func (m *maker) identity() string {
	id := m.in.Vessel.Identity
	var all []string
	for _, part := range []struct{ key, value string }{{"imo", id.IMO}, {"mmsi", id.MMSI}, {"hull", id.Hull}} {
		if part.value != "" {
			all = append(all, m.say(part.key, "id", name(part.value)))
		}
	}
	return strings.Join(all, ", ")
}

// sum counts the steps and their minutes.
func (m *maker) sum() string {
	steps := m.in.Plan.Steps
	total, missing := 0, 0
	for _, s := range steps {
		total += s.Minutes
		if s.Minutes == 0 {
			missing++
		}
	}
	n := strconv.Itoa(len(steps))
	switch {
	case len(steps) == 0 || len(m.refusals()) > 0:
		return ""
	case missing > 0:
		return m.say("steps.least", "n", n, "minutes", m.minutes(total), "missing", strconv.Itoa(missing))
	}
	return m.say("steps.sum", "n", n, "minutes", m.minutes(total))
}

// filled leaves out facts without a value.
func filled(all ...Fact) []Fact {
	var some []Fact
	for _, f := range all {
		if f.Value != "" {
			some = append(some, f)
		}
	}
	return some
}

// name makes text from data into one that is broken only where it must be.
func name(s string) string { return strings.ReplaceAll(visible.Visible(s), " ", noBreak) }

// prose makes text that a person wrote in a file into one that is safe to show;
// the ends of its lines there mean nothing here.
func prose(s string) string {
	return visible.Visible(strings.Join(strings.FieldsFunc(s, func(r rune) bool { return r == '\n' || r == '\t' }), " "))
}

// names joins the names of several things.
func names(all []string) string {
	shown := make([]string, len(all))
	for i, s := range all {
		shown[i] = name(s)
	}
	return strings.Join(shown, ", ")
}

// short shows the beginning of a digest, in groups that can be read aloud.
func short(digest string) string {
	const digits, group = 16, 4
	d := visible.Visible(digest)
	if len(d) > digits {
		d = d[:digits]
	}
	var groups []string
	for ; len(d) > group; d = d[group:] {
		groups = append(groups, d[:group])
	}
	return strings.Join(append(groups, d), noBreak)
}

// grouped shows a whole digest so that two can be compared by eye.
func grouped(digest string) string {
	const group = 8
	var groups []string
	d := visible.Visible(digest)
	for ; len(d) > group; d = d[group:] {
		groups = append(groups, d[:group])
	}
	return strings.Join(append(groups, d), " ")
}

// model of a device, or one with nothing but its id where the catalogue has
// none.
func (m *maker) model(id string) *manifest.Model {
	if found := m.in.Shop.Model(id); found != nil {
		return found
	}
	return &manifest.Model{ID: id, Name: id}
}

// device of the vessel, or one with nothing but its id.
func (m *maker) device(id string) *manifest.Device {
	if found := m.in.Vessel.Device(id); found != nil {
		return found
	}
	return &manifest.Device{ID: id, Version: version.Unknown}
}

func (m *maker) modelName(id string) string {
	model := m.model(id)
	return strings.TrimSpace(prose(model.Maker) + " " + prose(model.Name))
}

// release that a step installs, or an empty one.
func (m *maker) release(s order.Step) *manifest.Release {
	if r := m.model(s.Model).Release(s.To, m.device(s.Device).Variant); r != nil {
		return r
	}
	return &manifest.Release{Version: s.To}
}

// host is the device whose slot the card goes into for a step.
func host(s order.Step) string {
	if s.Through != "" {
		return s.Through
	}
	return s.Device
}

// installsAtPowerUp tells whether a device takes what it finds on a card when
// it is switched on.
func (m *maker) installsAtPowerUp(device string) bool {
	rules := m.model(m.device(device).Model).Card
	return rules != nil && rules.AtPowerUp
}
