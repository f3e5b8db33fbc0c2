package ledger

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"cardwright/manifest/problem"
	"cardwright/manifest/version"
)

// Bounds of one event. Real ones are far smaller; a ledger from elsewhere may
// hold anything.
const (
	MaxContent = 256 << 10 // bytes of the canonical form
	MaxWord    = 128       // bytes of an id, a name, a place
	MaxLine    = 512       // bytes of a target, a value, a purpose
	MaxNote    = 4096      // bytes of a note or a reason
	MaxList    = 1000      // devices, releases or findings of one event
	MaxMinutes = 7 * 24 * 60
	maxSeq     = 1 << 40
)

// Years that an event may be of. A clock outside them was never set.
const (
	FirstYear = 1990
	lastYear  = 2199
)

// Validate reports everything that keeps an entry from being written.
func (e *Entry) Validate() error {
	var c checker
	c.entry("", e, true)
	return errors.Join(c.errs...)
}

func (s *Statement) validate() error {
	var c checker
	if want := s.format(); s.Format != want {
		c.say("format", fmt.Sprint(s.Format), fmt.Sprintf("%d; a newer cardwright may have written this", want))
	}
	c.hex("chain", s.Chain, 32)
	c.hex("writer", s.Writer, 64)
	if s.Seq < 1 || s.Seq > maxSeq {
		c.say("seq", fmt.Sprint(s.Seq), fmt.Sprintf("1 to %d", int64(maxSeq)))
	}
	if s.Seq == 1 {
		c.empty("prev", s.Prev, "the first event of a chain")
	} else {
		c.hex("prev", s.Prev, 64)
	}
	c.seen(s.Seen)
	c.word("shop", s.Shop)
	c.word("technician", s.Technician)
	c.time("written", s.Written)
	c.entry("entry.", &s.Entry, true)
	return errors.Join(c.errs...)
}

func (c *checker) seen(list []Seen) {
	c.count("seen", len(list), MaxSeen)
	chains := map[string]bool{}
	for i, x := range list {
		at := fmt.Sprintf("seen[%d].", i)
		c.hex(at+"chain", x.Chain, 32)
		c.hex(at+"id", x.ID, 64)
		c.hex(at+"writer", x.Writer, 64)
		if x.Seq < 1 || x.Seq > maxSeq {
			c.say(at+"seq", fmt.Sprint(x.Seq), fmt.Sprintf("1 to %d", int64(maxSeq)))
		}
		c.once(at+"chain", x.Writer+x.Chain, chains)
	}
}

// checker collects what is wrong; each problem says where, what was found and
// what was expected.
type checker struct{ errs []error }

// Unwritable is what keeps a field of an event from being written.
type Unwritable struct {
	Field string // as in the event's JSON: step.note
	problem.Problem
}

func (e *Unwritable) Error() string { return e.Field + ": " + e.Line() }

func (c *checker) say(field, found, expected string) {
	c.errs = append(c.errs, &Unwritable{Field: field, Problem: problem.Problem{Found: found, Expected: expected}})
}

func (c *checker) text(field, s string, most int, lines bool) {
	if len(s) > most {
		c.say(field, fmt.Sprintf("%d bytes", len(s)), fmt.Sprintf("at most %d", most))
		return
	}
	if !utf8.ValidString(s) {
		c.say(field, "bytes that are not UTF-8", "text in UTF-8")
		return
	}
	for _, r := range s {
		if refused(r) && (r != '\n' || !lines) {
			c.say(field, fmt.Sprintf("the character %U", r), "text that can be seen")
			return
		}
	}
}

// refused reports whether a character may not stand in an event: one that
// controls a terminal, changes the direction of writing, or can't be seen.
// The rule is the one for the shop's files; only notes may hold line ends.
func refused(r rune) bool {
	if r <= unicode.MaxASCII { // most of them, and looked up much faster
		return unicode.IsControl(r)
	}
	return unicode.In(r,
		unicode.Cc, unicode.Cf, unicode.Co, unicode.Cs, unicode.Zl, unicode.Zp,
		unicode.Other_Default_Ignorable_Code_Point, unicode.Variation_Selector,
		unicode.Noncharacter_Code_Point)
}

func (c *checker) word(field, s string) {
	if strings.TrimSpace(s) == "" {
		c.say(field, "nothing", "a word at least")
	}
	c.maybe(field, s)
}

func (c *checker) maybe(field, s string) { c.text(field, s, MaxWord, false) }
func (c *checker) line(field, s string)  { c.text(field, s, MaxLine, false) }
func (c *checker) note(field, s string)  { c.text(field, s, MaxNote, true) }

func (c *checker) reason(field, s string) {
	if strings.TrimSpace(s) == "" {
		c.say(field, "nothing", "a reason, in a few words")
	}
	c.note(field, s)
}

func (c *checker) hex(field, s string, digits int) {
	if len(s) != digits || strings.Trim(s, "0123456789abcdef") != "" {
		c.say(field, quote(s), fmt.Sprintf("%d lower-case hex digits", digits))
	}
}

func (c *checker) maybeHex(field, s string, digits int) {
	if s != "" {
		c.hex(field, s, digits)
	}
}

func (c *checker) empty(field, s, what string) {
	if s != "" {
		c.say(field, quote(s), "nothing for "+what)
	}
}

func (c *checker) count(field string, n, most int) {
	if n < 0 || n > most {
		c.say(field, fmt.Sprint(n), fmt.Sprintf("0 to %d", most))
	}
}

func (c *checker) time(field string, t time.Time) {
	switch {
	case t.Year() < FirstYear || t.Year() > lastYear:
		c.say(field, "the year "+fmt.Sprint(t.Year()), fmt.Sprintf("%d to %d; is the clock set?", FirstYear, lastYear))
	case t.Nanosecond() != 0 || t.Location() != time.UTC:
		c.say(field, t.Format(time.RFC3339Nano), "whole seconds in UTC")
	}
}

// version takes a version that was read: known when it has to be, or else
// also unknown or nothing.
func (c *checker) version(field string, v version.V, known bool) {
	if !known && (v == "" || v == version.Unknown) {
		return
	}
	if parsed, err := version.Parse(string(v)); err != nil {
		c.say(field, quote(string(v)), "a version ("+err.Error()+")")
	} else if parsed != v {
		c.say(field, quote(string(v)), quote(string(parsed)))
	}
}

// quote shows text from outside, shortened and escaped.
func quote(s string) string {
	const most = 40
	if len(s) > most {
		return fmt.Sprintf("%+q… (%d bytes)", s[:most], len(s))
	}
	return fmt.Sprintf("%+q", s)
}

func (c *checker) entry(at string, e *Entry, corrections bool) {
	c.time(at+"at", e.At)
	c.maybe(at+"berth", e.Berth)
	c.maybe(at+"visit", e.Visit)
	c.maybe(at+"vessel", e.Vessel)
	if !slices.Contains(Kinds, e.Kind) || e.Kind == Correction && !corrections {
		c.say(at+"kind", quote(string(e.Kind)), "a kind of event that this build knows")
		return
	}
	if !c.oneBody(at, e) {
		return
	}
	if e.Vessel == "" && !mayLackVessel(e.Kind) {
		c.say(at+"vessel", "nothing", "a vessel's id")
	}
	c.body(at, e)
}

func mayLackVessel(k Kind) bool {
	return slices.Contains([]Kind{ReleaseWithdrawn, CardVerified, Correction, CardLost, CardHandedOver, CardDestroyed}, k)
}

// oneBody reports whether the entry has the body that its kind asks for and no
// other.
func (c *checker) oneBody(at string, e *Entry) bool {
	bodies := map[string]bool{
		"card": e.Card != nil, "check": e.Check != nil, "correction": e.Correction != nil,
		"settings": e.Settings != nil, "step": e.Step != nil, "taken_on": e.TakenOn != nil,
		"visit_begun": e.VisitBegun != nil, "withdrawal": e.Withdrawal != nil, "by_hand": e.ByHand != nil,
		"device_change": e.DeviceChange != nil, "vessel_change": e.VesselChange != nil, "card_fate": e.CardFate != nil,
	}
	want := bodyOf[e.Kind]
	ok := true
	for name, set := range bodies {
		if set != (name == want) {
			ok = false
		}
	}
	if !ok {
		c.say(at+want, "something else, or nothing", fmt.Sprintf("what belongs to %q, and nothing else", e.Kind))
	}
	return ok
}

var bodyOf = map[Kind]string{
	VesselTakenOn: "taken_on", CardPrepared: "card", CardVerified: "card", VisitBegun: "visit_begun",
	StepDone: "step", StepFailed: "step", StepPutOff: "step", SettingsSaved: "settings",
	CheckPassed: "check", CheckFailed: "check", CheckNotDone: "check",
	Correction: "correction", ReleaseWithdrawn: "withdrawal", WrittenByHand: "by_hand",
	DeviceReplaced: "device_change", DeviceMoved: "device_change", DeviceTakenOff: "device_change",
	VesselRenamed: "vessel_change", VesselSold: "vessel_change", VesselGone: "vessel_change",
	CardLost: "card_fate", CardHandedOver: "card_fate", CardDestroyed: "card_fate",
}

func (c *checker) body(at string, e *Entry) {
	switch {
	case e.Card != nil:
		c.card(at+"card.", e.Card)
	case e.Check != nil:
		c.check(at+"check.", e.Check)
	case e.Correction != nil:
		c.correction(at+"correction.", e)
	case e.Settings != nil:
		c.settings(at+"settings.", e.Settings)
	case e.Step != nil:
		c.step(at+"step.", e.Step, e.Kind)
	case e.TakenOn != nil:
		c.takenOn(at+"taken_on.", e.TakenOn)
	case e.VisitBegun != nil:
		c.visit(at, e)
	case e.ByHand != nil:
		c.byHand(at+"by_hand.", e.ByHand)
	case e.DeviceChange != nil:
		c.deviceChange(at+"device_change.", e)
	case e.VesselChange != nil:
		c.vesselChange(at+"vessel_change.", e)
	case e.CardFate != nil:
		c.cardFate(at+"card_fate.", e)
	case e.Withdrawal != nil:
		c.withdrawal(at+"withdrawal.", e.Withdrawal)
	}
}

func (c *checker) device(at string, d *Device) {
	c.word(at+"id", d.ID)
	for _, f := range [][2]string{
		{"kind", d.Kind},
		{"maker", d.Maker},
		{"model", d.Model},
		{"name", d.Name},
		{"place", d.Place},
		{"serial", d.Serial},
		{"variant", d.Variant},
	} {
		c.maybe(at+f[0], f[1])
	}
}

func (c *checker) takenOn(at string, t *TakenOn) {
	c.word(at+"name", t.Name)
	c.maybe(at+"hull", t.Hull)
	c.maybe(at+"imo", t.IMO)
	c.maybe(at+"mmsi", t.MMSI)
	c.note(at+"note", t.Note)
	c.fitted(at, t.Devices, t.Removed)
}

// fitted takes devices aboard and ids of those that no longer are.
func (c *checker) fitted(at string, devices []Fitted, removed []string) {
	c.count(at+"devices", len(devices), MaxList)
	c.count(at+"removed", len(removed), MaxList)
	seen := map[string]bool{}
	for i := range devices {
		d := &devices[i]
		here := fmt.Sprintf("%sdevices[%d].", at, i)
		c.device(here+"device.", &d.Device)
		c.word(here+"device.model", d.Device.Model)
		c.version(here+"version", d.Version, false)
		c.once(here+"device.id", d.Device.ID, seen)
	}
	for i, id := range removed {
		here := fmt.Sprintf("%sremoved[%d]", at, i)
		c.word(here, id)
		c.once(here, id, seen)
	}
}

func (c *checker) once(field, s string, seen map[string]bool) {
	if seen[s] {
		c.say(field, quote(s)+" again", "each id once")
	}
	seen[s] = true
}

func (c *checker) card(at string, k *Card) {
	c.maybeHex(at+"digest", k.Digest, 64)
	c.maybeHex(at+"plan", k.Plan, 64)
	c.line(at+"target", k.Target)
	c.maybe(at+"volume_id", k.VolumeID)
	if !slices.Contains([]string{"good", "bad", "unchecked"}, k.Verdict) {
		c.say(at+"verdict", quote(k.Verdict), "good, bad or unchecked")
	}
	c.count(at+"number", k.Number, MaxList)
	c.count(at+"of", k.Of, MaxList)
	if k.Size < 0 || k.Size > 1<<47 {
		c.say(at+"size", fmt.Sprint(k.Size), "a card's size in bytes")
	}
	c.count(at+"findings", len(k.Findings), MaxList)
	for i, f := range k.Findings {
		c.maybe(fmt.Sprintf("%sfindings[%d]", at, i), f)
	}
	c.releases(at, k.Releases)
}

func (c *checker) releases(at string, list []CardRelease) {
	c.count(at+"releases", len(list), MaxList)
	seen := map[string]bool{}
	for i, r := range list {
		here := fmt.Sprintf("%sreleases[%d].", at, i)
		c.maybe(here+"device", r.Device)
		c.maybe(here+"maker", r.Maker)
		c.word(here+"model", r.Model)
		c.maybe(here+"variant", r.Variant)
		c.version(here+"version", r.Version, true)
		c.once(here+"version", r.Device+"\n"+r.Model+"\n"+r.Variant+"\n"+VersionKey(r.Version), seen)
	}
}

func (c *checker) visit(at string, e *Entry) {
	c.word(at+"visit", e.Visit)
	v := e.VisitBegun
	c.maybe(at+"visit_begun.approved_by", v.ApprovedBy)
	c.maybe(at+"visit_begun.told", v.Told)
	c.line(at+"visit_begun.purpose", v.Purpose)
	c.note(at+"visit_begun.note", v.Note)
	c.maybeHex(at+"visit_begun.plan", v.Plan, 64)
}

func (c *checker) step(at string, s *Step, k Kind) {
	c.device(at+"device.", &s.Device)
	c.word(at+"device.model", s.Device.Model)
	c.version(at+"after", s.After, k == StepDone)
	c.version(at+"before", s.Before, false)
	c.version(at+"planned", s.Planned, false)
	c.maybeHex(at+"card", s.Card, 64)
	c.maybeHex(at+"plan", s.Plan, 64)
	c.count(at+"minutes", s.Minutes, MaxMinutes)
	c.count(at+"number", s.Number, MaxList)
	c.note(at+"note", s.Note)
	c.note(at+"reason", s.Reason)
	if s.How != "" && !slices.Contains(Hows, s.How) {
		c.say(at+"how", quote(s.How), "one of "+strings.Join(Hows, ", ")+", or nothing")
	}
	if !slices.Contains([]string{"", WayBackThere, WayBackNone}, s.WayBack) {
		c.say(at+"way_back", quote(s.WayBack), "there, none or nothing")
	}
	c.files(at, s.Files)
	if k == StepPutOff && s.After != "" {
		c.say(at+"after", quote(string(s.After)), "nothing for a step that was put off")
	}
}

func (c *checker) files(at string, files []File) {
	c.count(at+"files", len(files), MaxList)
	for i, f := range files {
		here := fmt.Sprintf("%sfiles[%d].", at, i)
		c.line(here+"name", f.Name)
		c.hex(here+"sha256", string(f.SHA256), 64)
		if f.Size < 0 || f.Size > 1<<47 {
			c.say(here+"size", fmt.Sprint(f.Size), "a file's size in bytes")
		}
	}
}

func (c *checker) settings(at string, s *Settings) {
	c.maybe(at+"device", s.Device)
	c.note(at+"note", s.Note)
	c.line(at+"where", s.Where)
	if strings.TrimSpace(s.Where) == "" {
		c.say(at+"where", "nothing", "where the settings were saved")
	}
}

func (c *checker) check(at string, k *Check) {
	c.device(at+"device.", &k.Device)
	c.word(at+"check", k.Check)
	c.line(at+"value", k.Value)
	c.note(at+"note", k.Note)
	c.trial(at+"trial.", k.Trial)
}

func (c *checker) correction(at string, e *Entry) {
	k := e.Correction
	c.hex(at+"of", k.Of, 64)
	c.reason(at+"why", k.Why)
	if k.Instead == nil {
		return
	}
	c.entry(at+"instead.", k.Instead, false)
	if k.Instead.Vessel != e.Vessel {
		c.say(at+"instead.vessel", quote(k.Instead.Vessel), "the vessel that the correction is noted for, "+quote(e.Vessel))
	}
}

func (c *checker) withdrawal(at string, w *Withdrawal) {
	c.maybe(at+"maker", w.Maker)
	c.word(at+"model", w.Model)
	c.maybe(at+"variant", w.Variant)
	c.version(at+"version", w.Version, true)
	c.reason(at+"why", w.Why)
}
