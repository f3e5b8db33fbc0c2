package sheet

import (
	"slices"
	"strings"
	"time"

	"cardwright/manifest"
	"cardwright/manifest/order"
	"cardwright/manifest/version"
	"cardwright/media"
	"cardwright/verify"
	"cardwright/verify/visible"
)

// Input is what an install order is made from. The same input gives the same
// sheet.
type Input struct {
	Shop       *manifest.Shop
	Vessel     *manifest.Vessel
	Plan       order.Plan  // steps with card and folder, as media.Lay fills them in
	Cards      []CardState // the cards as they were verified; none before prepare
	When       time.Time   // the day on the sheet; zero: none
	Technician string      // "": a blank to write the name in
	// Open is what is open about a device, in words, printed at its steps.
	Open  map[string][]string
	Style Style
	Clock Clock // the time that there is; the zero value: nobody said
	// SeaTrial is the caller's command that works out from a log how heading stands
	// against course; "": none is named.
	SeaTrial string
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

// StateOf is a card as it was verified on a day.
func StateOf(v verify.Verified, when time.Time) CardState {
	card, report := v.Wanted.Card, v.Report
	return CardState{
		Number: card.Number, Of: card.Of, Label: card.Label, VolumeID: media.VolumeText(card.VolumeID),
		Digest: report.Digest, Plan: v.Wanted.Plan.ID(), Verdict: report.Verdict, Findings: report.Findings,
		When: when, Bytes: v.Bytes, Used: int64(report.Counts.BytesOfFiles),
	}
}

// card is how a card of the plan was verified, or nil.
func (in Input) card(number int) *CardState {
	for i := range in.Cards {
		if in.Cards[i].Number == number {
			return &in.Cards[i]
		}
	}
	return nil
}

// model of a device, or one with nothing but its id where the catalogue has
// none.
func (in Input) model(id string) *manifest.Model {
	if found := in.Shop.Model(id); found != nil {
		return found
	}
	return &manifest.Model{ID: id, Name: id}
}

// device of the vessel, or one with nothing but its id.
func (in Input) device(id string) *manifest.Device {
	if found := in.Vessel.Device(id); found != nil {
		return found
	}
	return &manifest.Device{ID: id, Version: version.Unknown}
}

func (in Input) modelName(id string) string {
	model := in.model(id)
	return strings.TrimSpace(prose(model.Maker) + " " + prose(model.Name))
}

// release that a step installs, or an empty one.
func (in Input) release(s order.Step) *manifest.Release {
	if r := in.model(s.Model).Release(s.To, in.device(s.Device).Variant); r != nil {
		return r
	}
	return &manifest.Release{Version: s.To}
}

// installsAtPowerUp reports whether a device takes what it finds on a card when
// it is switched on.
func (in Input) installsAtPowerUp(device string) bool {
	rules := in.model(in.device(device).Model).Card
	return rules != nil && rules.AtPowerUp
}

// host is the device whose slot the card goes into for a step.
func host(s order.Step) string {
	if s.Through != "" {
		return s.Through
	}
	return s.Device
}

// hosts are the devices that a card goes into, in the order of the steps.
func (in Input) hosts() []string {
	var all []string
	for _, s := range in.Plan.Steps {
		if s.Route != "" {
			continue
		}
		if h := host(s); !slices.Contains(all, h) {
			all = append(all, h)
		}
	}
	return all
}

// updated are the devices that get a step, in the order of their first steps.
func (in Input) updated() []*manifest.Device {
	var all []*manifest.Device
	for _, s := range in.Plan.Steps {
		if !slices.ContainsFunc(all, func(d *manifest.Device) bool { return d.ID == s.Device }) {
			all = append(all, in.device(s.Device))
		}
	}
	return all
}

// untouched are the devices aboard that no step is for.
func (in Input) untouched() []*manifest.Device {
	return slices.DeleteFunc(slices.Clone(in.Vessel.Devices), func(d *manifest.Device) bool {
		return slices.ContainsFunc(in.Plan.Steps, func(s order.Step) bool { return s.Device == d.ID })
	})
}

// kinds that the sheet treats in their own way.
const autopilot manifest.Kind = "autopilot computer"

// pilots are the autopilots aboard: an update of any other device can upset
// what they steer by.
func (in Input) pilots() []string {
	var all []string
	for _, d := range in.Vessel.Devices {
		if in.model(d.Model).Kind == autopilot {
			all = append(all, d.ID)
		}
	}
	return all
}

// name makes text from data into one that is broken only where it must be.
func name(s string) string { return strings.ReplaceAll(visible.Visible(s), " ", noBreak) }

// prose makes text that a person wrote in a file into one that is safe to show;
// the ends of its lines there mean nothing here.
func prose(s string) string {
	return visible.Visible(strings.Join(strings.FieldsFunc(s, func(r rune) bool { return r == '\n' || r == '\t' }), " "))
}

// clause is prose that goes on in a sentence of ours: without its own full stop.
func clause(s string) string { return strings.TrimSuffix(strings.TrimSpace(prose(s)), ".") }

// names joins the names of several things.
func names(all []string) string {
	shown := make([]string, len(all))
	for i, s := range all {
		shown[i] = name(s)
	}
	return strings.Join(shown, ", ")
}

// list joins texts that aren't empty.
func list(all []string) string { return strings.Join(notEmpty(all...), ", ") }

func notEmpty(all ...string) []string {
	var some []string
	for _, s := range all {
		if strings.TrimSpace(s) != "" {
			some = append(some, s)
		}
	}
	return some
}

// filled leaves out facts without a value.
func filled(all ...Fact) []Fact {
	return slices.DeleteFunc(all, func(f Fact) bool { return f.Value == "" })
}

// short shows the beginning of a digest, in groups that can be read aloud.
func short(digest string) string {
	const digits = 16
	return grouped(digest[:min(len(digest), digits)], 4, noBreak)
}

// grouped shows a digest in groups, so that two can be compared by eye.
func grouped(digest string, group int, between string) string {
	var groups []string
	d := visible.Visible(digest)
	for ; len(d) > group; d = d[group:] {
		groups = append(groups, d[:group])
	}
	return strings.Join(append(groups, d), between)
}

// known is a version as a name, or "" where there is none.
func known(v version.V) string {
	if v == version.Unknown {
		return ""
	}
	return name(string(v))
}

func (w speech) version(v version.V) string {
	if known(v) == "" {
		return w.say("versions.unknown")
	}
	return known(v)
}
