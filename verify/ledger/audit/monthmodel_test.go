package audit_test

import (
	"slices"
	"strings"
	"time"

	"cardwright/manifest/version"
	"cardwright/verify/ledger"
	"cardwright/verify/ledger/known"
)

// The model of random months: what was noted, by whom, knowing what, and the rules of
// package known in plain words, pair by pair.

// aboard is a device's place on a vessel.
type aboard struct{ vessel, device string }

// box is one piece of equipment.
type box struct{ model, serial string }

func (b box) another(o box) bool {
	return b.model != "" && o.model != "" && b.model != o.model || b.serial != "" && o.serial != "" && b.serial != o.serial
}

type release struct {
	model   string
	version version.V
}

// fileOf is the vessel whose file each van has.
const fileOf = "kittiwake"

var (
	monthVessels  = []string{fileOf, "skerry-light"}
	monthDevices  = []aboard{{fileOf, "radar"}, {fileOf, "plot"}, {fileOf, "pilot"}, {"skerry-light", "radar"}}
	monthModels   = []string{"fennick-sweep-2", "fennick-sweep-3"}
	monthVersions = []version.V{"1.0", "1.1", "1.2", "1.3", "1.4"}
)

// readKind is of a version that was read, whatever event tells of it.
const readKind ledger.Kind = "read"

// happening is one thing that somebody noted.
type happening struct {
	id ledger.ID
	placeOfIt
	entry ledger.Entry

	kind ledger.Kind
	aboard
	box
	before, after, planned version.V
	place, name            string

	card        string
	onCard      string // device
	carries     release
	good        bool
	withdraws   release
	corrections []correctionOf
	lastAt      time.Time // of its corrections, as any van wrote them
}

// placeOfIt is who noted something, when, and what was known then.
type placeOfIt struct {
	van     int
	written int          // how many were written before it, anywhere
	knew    map[int]bool // those that its writer had
	at      time.Time
	dated   bool // by a person
}

// correctionOf is one that a van wrote of a happening.
type correctionOf struct {
	van, written int
	knew         map[int]bool
	at, clock    time.Time
	back         bool
	after        version.V // "": as it was
}

// model is all that was ever noted, and whom the shop trusts: vans, each until when
// (zero: no end); nil: everybody.
type model struct {
	all     map[int]*happening
	written int
	trusts  map[int]time.Time
}

// counts tells whether the shop believes what a van noted, if it came in then.
func (m *model) counts(van int, came time.Time) bool {
	if m.trusts == nil {
		return true
	}
	until, trusted := m.trusts[van]
	return trusted && (until.IsZero() || !came.After(until))
}

// last is the correction of a happening that counts for a van; nil where none does.
func (m *model) last(v *van, h *happening) (last *correctionOf) {
	for i := range h.corrections {
		c := &h.corrections[i]
		if came, has := v.fixes[c.written]; has && m.counts(c.van, came) && (last == nil || c.at.After(last.at)) {
			last = c
		}
	}
	return last
}

// standing is a happening as it counts for a van: corrected, or nil where it was
// taken back or its writer isn't believed. A correction of such a one that says
// otherwise says it by itself.
func (m *model) standing(v *van, h *happening) *happening {
	trusted := m.counts(h.van, v.has[h.written])
	last := m.last(v, h)
	switch {
	case last == nil && trusted:
		return h
	case last == nil, last.back:
		return nil
	}
	corrected := *h
	if last.after != "" {
		corrected.after = last.after
	}
	if !trusted {
		late := last.clock.Sub(h.at)
		corrected.placeOfIt = placeOfIt{last.van, last.written, last.knew, h.at, late > time.Hour || late < -time.Minute}
	}
	return &corrected
}

// those are what counts for a van up to a moment (zero: all) and passes.
func (m *model) those(v *van, until time.Time, pass func(*happening) bool) (list []*happening) {
	for _, k := range sortedKeys(v.has) {
		if h := m.standing(v, m.all[k]); h != nil && pass(h) && (until.IsZero() || !h.at.After(until)) {
			list = append(list, h)
		}
	}
	return list
}

func (m *model) about(v *van, d aboard, until time.Time) []*happening {
	return m.those(v, until, func(h *happening) bool { return h.aboard == d && h.device != "" })
}

// later tells whether a is known to have happened after b.
func later(a, b *happening) bool {
	switch {
	case a.knew[b.written]:
		return !a.dated || !a.at.Before(b.at)
	case b.knew[a.written]:
		return b.dated && b.at.Before(a.at)
	}
	return false
}

// claim is one thing that somebody says of what a device runs.
type claim struct {
	h               *happening
	n               int // which of what h says
	gone, lost      bool
	version, before version.V // "": nobody read it
	box             box
}

func claims(h *happening) (list []claim) {
	say := func(c claim) {
		c.h, c.n = h, len(list)
		list = append(list, c)
	}
	switch h.kind {
	case readKind, ledger.StepDone:
		say(claim{version: h.after, before: h.before, box: h.box})
	case ledger.StepPutOff:
		if h.before != "" {
			say(claim{version: h.before, before: h.before, box: h.box})
		}
	case ledger.StepFailed:
		if h.after != "" {
			say(claim{version: h.after, before: h.before, box: h.box})
			break
		}
		if h.before != "" {
			say(claim{version: h.before, before: h.before, box: h.box})
		}
		say(claim{lost: true, box: h.box})
	case ledger.DeviceReplaced:
		say(claim{gone: true})
		say(claim{version: h.after, box: h.box})
	case ledger.DeviceMoved:
		say(claim{box: h.box})
	case ledger.DeviceTakenOff:
		say(claim{gone: true})
	}
	return list
}

// overrules tells whether b takes the place of a.
func overrules(b, a claim) bool {
	switch {
	case a.h == b.h:
		return b.n > a.n
	case later(b.h, a.h): // but that nobody read it takes nothing away that was read of this box
		return b.version != "" || b.lost || b.gone || a.gone || a.box.another(b.box)
	case later(a.h, b.h), a.lost, b.lost:
		return false
	case a.gone || b.gone: // who didn't know that it was gone saw it aboard
		return a.gone && !b.gone
	case a.version == b.version || b.version == "":
		return false
	case a.version == "":
		return true
	}
	from := func(b, a claim) bool { return b.before == a.version && b.box == a.box }
	return from(b, a) && !from(a, b)
}

// answer is what a device may run.
type answer struct {
	claims   []claim     // all of them
	stand    []claim     // those that nothing takes the place of
	gone     bool        // nobody says that it is aboard
	versions []version.V // that stand against one another, each of another release; version.Unknown where nobody read it
	vague    bool        // dates and clocks contradict one another
}

// certain tells whether one version is known.
func (a answer) certain() bool { return len(a.versions) == 1 && a.versions[0] != version.Unknown }

func (m *model) state(v *van, d aboard, until time.Time) (is answer) {
	for _, h := range m.about(v, d, until) {
		is.claims = append(is.claims, claims(h)...)
	}
	var stand []claim
	for _, a := range is.claims {
		if !slices.ContainsFunc(is.claims, func(b claim) bool { return overrules(b, a) }) {
			stand = append(stand, a)
		}
	}
	if len(stand) == 0 && len(is.claims) > 0 {
		is.vague, stand = true, is.claims
	}
	is.stand, is.gone = stand, len(stand) > 0
	var runs []release
	for _, c := range stand {
		is.gone = is.gone && c.gone
		if c.lost {
			is.versions = []version.V{version.Unknown}
			break
		}
		if r := (release{c.box.model, c.version}); c.version != "" && !slices.Contains(runs, r) {
			runs, is.versions = append(runs, r), append(is.versions, c.version)
		}
	}
	if len(is.versions) == 0 && !is.gone && len(stand) > 0 {
		is.versions = []version.V{version.Unknown}
	}
	slices.Sort(is.versions)
	return is
}

// lone is the claim that all others of a device came before; nil where there is none.
func (a answer) lone() *claim {
	for i, c := range a.claims {
		if !slices.ContainsFunc(a.claims, func(o claim) bool {
			return o.h != c.h && !later(c.h, o.h) || o.h == c.h && o.n > c.n
		}) {
			return &a.claims[i]
		}
	}
	return nil
}

// open is what steps and checks left open on a device, where a box stands now.
func (m *model) open(v *van, d aboard, now box) (list []string) {
	about := m.about(v, d, time.Time{})
	key := func(h *happening) string {
		switch h.kind {
		case ledger.CheckFailed, ledger.CheckNotDone:
			return "check"
		case ledger.StepFailed, ledger.StepPutOff:
			return string(h.kind) + " " + string(h.planned)
		}
		return ""
	}
	for _, h := range about {
		if key(h) == "" || h.box.another(now) {
			continue
		}
		over := slices.ContainsFunc(about, func(o *happening) bool { return later(o, h) && (ends(o, h) || key(o) == key(h)) })
		if !over {
			list = append(list, strings.TrimSpace(string(h.kind)+" "+string(h.planned)))
		}
	}
	slices.Sort(list)
	return list
}

// ends tells whether what happened later ends what was left open.
func ends(o, h *happening) bool {
	said := claims(o)
	if slices.ContainsFunc(said, func(c claim) bool { return c.gone }) {
		return true
	}
	if h.planned == "" {
		return o.kind == ledger.CheckPassed
	}
	return slices.ContainsFunc(said, func(c claim) bool { return c.version == h.planned })
}

// fileStands says how the van's file and ledger differ over a device; "" where they
// don't, or the ledger doesn't know.
func (m *model) fileStands(v *van, d aboard) known.FileKind {
	is := m.state(v, d, time.Time{})
	f, in := v.file[d.device]
	b, remembered := v.wrote[d.device]
	switch {
	case len(is.versions) > 1 || is.gone || !in || !remembered || len(is.claims) == 0:
		return ""
	case !is.certain():
		if f != b {
			return known.ByHand
		}
		return ""
	case f == is.versions[0]:
		return ""
	case f == b:
		return known.Behind
	case is.versions[0] == b:
		return known.ByHand
	}
	return known.BothWays
}

// names are those that a vessel may have: of the renamings that no other came after.
func (m *model) names(v *van, vessel string) (names []string) {
	all := m.those(v, time.Time{}, func(h *happening) bool { return h.kind == ledger.VesselRenamed && h.vessel == vessel })
	for _, h := range all {
		if !slices.ContainsFunc(all, func(o *happening) bool { return later(o, h) }) {
			names = append(names, h.name)
		}
	}
	return names
}

// gone tells whether a vessel is no longer served.
func (m *model) gone(v *van, vessel string) bool {
	return len(m.those(v, time.Time{}, func(h *happening) bool { return h.kind == ledger.VesselGone && h.vessel == vessel })) > 0
}

// visited is when a vessel's last visit began; zero: none did.
func (m *model) visited(v *van, vessel string) (last time.Time) {
	for _, h := range m.those(v, time.Time{}, func(h *happening) bool { return h.kind == ledger.VisitBegun && h.vessel == vessel }) {
		if h.at.After(last) {
			last = h.at
		}
	}
	return last
}

func (m *model) withdrawn(v *van, r release) bool {
	return len(m.those(v, time.Time{}, func(h *happening) bool { return h.withdraws == r })) > 0
}

// onCards are the events of cards of a kind and digest that count for a van.
func (m *model) onCards(v *van, digest string, kinds ...ledger.Kind) int {
	return len(m.those(v, time.Time{}, func(h *happening) bool { return h.card == digest && slices.Contains(kinds, h.kind) }))
}

// untrusted counts the events that an answer about a vessel leaves out: those about it,
// and those of withdrawn releases.
func (m *model) untrusted(v *van, vessel string) (n int) {
	for k, came := range v.has {
		h := m.all[k]
		withdrawal := h.kind == ledger.ReleaseWithdrawn
		if (h.vessel == vessel || withdrawal) && !m.counts(h.van, came) {
			n++
		}
		for _, c := range h.corrections {
			came, has := v.fixes[c.written]
			if has && !m.counts(c.van, came) && (h.entry.Vessel == vessel || h.entry.Vessel == "") {
				n++
			}
		}
	}
	return n
}
