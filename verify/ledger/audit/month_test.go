package audit_test

import (
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"cardwright/manifest"
	"cardwright/manifest/version"
	"cardwright/verify/ledger"
	"cardwright/verify/ledger/audit"
	"cardwright/verify/ledger/known"
	"cardwright/verify/ledger/ledgertest"
	"cardwright/verify/ledger/store"
)

// TestRandomMonths lives through random months of a shop with three vans:
// surveys, steps with every outcome, dated late or by a clock that jumped,
// corrections of anything, withdrawals, vans that meet in any order, and each van's
// file of the vessel, which people change by hand, agree to have noted, or bring up
// to date. After each
// step every answer of the van at work is that of a model made of plain maps and
// sets, which knows nothing of chains, places or tables.
//
// CARDWRIGHT_MONTHS says how many steps (make drill: 100,000); the suite's have
// fixed seeds.
func TestRandomMonths(t *testing.T) {
	steps := 270
	if text := os.Getenv("CARDWRIGHT_MONTHS"); text != "" {
		var err error
		steps, err = strconv.Atoi(text)
		require.NoError(t, err)
	}
	const month = 90
	for seed := range uint64(steps / month) {
		t.Run(fmt.Sprint(seed), func(t *testing.T) {
			m := newMonth(t, seed)
			for n := range month {
				m.what = fmt.Sprintf("seed %d, step %d", seed, n)
				m.step()
			}
			m.everybodyMeets()
		})
	}
}

// happening is one thing that somebody noted.
type happening struct {
	id      ledger.ID
	van     int
	written int          // how many were written before it, anywhere
	knew    map[int]bool // those that its writer had
	at      time.Time
	dated   bool // by a person
	entry   ledger.Entry

	kind                   string // "read", or a result of a step or check
	device, serial         string
	before, after, planned version.V
	corrections            []correctionOf
	withdraws              version.V
	lastAt                 time.Time // of its corrections, as any van wrote them
}

// correctionOf is one that a van wrote of a happening.
type correctionOf struct {
	written int
	at      time.Time
	back    bool
	after   version.V // "": as it was
}

type van struct {
	ledger *store.Ledger
	clock  time.Duration // how wrong it is
	has    map[int]bool  // happenings
	fixes  map[int]bool  // corrections, by when they were written

	file, wrote map[string]version.V // the vessel's file, and what was last written there by the program
}

type month struct {
	t       *testing.T
	r       *rand.Rand
	what    string
	now     time.Time
	written int
	vans    []*van
	all     map[int]*happening
	serials map[string]int
}

var monthDevices = []string{"radar", "plot", "pilot"}

const monthModel = "fennick-sweep-2"

func newMonth(t *testing.T, seed uint64) *month {
	m := &month{t: t, r: rand.New(rand.NewPCG(seed, 11)), now: ledgertest.Day(0), all: map[int]*happening{}, serials: map[string]int{}}
	for n := range 3 {
		l, err := store.Open(ctx, filepath.Join(t.TempDir(), fmt.Sprintf("van%d.db", n)), store.Options{Create: true})
		require.NoError(t, err)
		t.Cleanup(func() { require.NoError(t, l.Close()) })
		m.vans = append(m.vans, &van{ledger: l, has: map[int]bool{}, fixes: map[int]bool{}, file: map[string]version.V{}, wrote: map[string]version.V{}})
	}
	return m
}

func (m *month) step() {
	m.now = m.now.Add(time.Duration(1+m.r.IntN(30)) * time.Hour)
	v := m.vans[m.r.IntN(len(m.vans))]
	switch m.r.IntN(15) {
	case 12:
		if d := monthDevices[m.r.IntN(len(monthDevices))]; v.wrote[d] != "" {
			v.file[d] = m.versionOf() // by hand, or an old copy
		}
	case 13:
		m.agree(v)
	case 14:
		m.fromLedger(v)
	case 0, 1:
		m.meet(v, m.vans[m.r.IntN(len(m.vans))])
	case 2:
		v.clock = time.Duration(m.r.IntN(7)-3) * 400 * 24 * time.Hour
	case 3, 4:
		m.correct(v)
	case 5:
		if m.r.IntN(3) == 0 {
			m.withdraw(v)
		}
	default:
		m.work(v)
	}
	m.compare(v)
}

func (m *month) versionOf() version.V { return version.V(fmt.Sprintf("1.%d", m.r.IntN(5))) }

// work notes a reading, a step or a check of a device.
func (m *month) work(v *van) {
	d := monthDevices[m.r.IntN(len(monthDevices))]
	if m.r.IntN(15) == 0 {
		m.serials[d]++ // replaced
	}
	h := &happening{device: d, serial: fmt.Sprint(d, m.serials[d])}
	device := ledger.Device{ID: d, Model: monthModel, Serial: h.serial}
	e := ledger.Entry{Vessel: "kittiwake"}
	if m.r.IntN(4) > 0 {
		h.before = m.runs(v, d)
	}
	switch m.r.IntN(7) {
	case 0:
		h.kind, h.planned = "failed", m.versionOf()
		if m.r.IntN(3) == 0 {
			h.after = h.before
		}
		e.Kind, e.Step = ledger.StepFailed, &ledger.Step{Device: device, Before: h.before, After: h.after, Planned: h.planned}
	case 1:
		h.kind, h.planned = "put off", m.versionOf()
		e.Kind, e.Step = ledger.StepPutOff, &ledger.Step{Device: device, Before: h.before, Planned: h.planned}
	case 2, 3:
		h.kind, h.after = "done", m.versionOf()
		e.Kind, e.Step = ledger.StepDone, &ledger.Step{Device: device, Before: h.before, After: h.after, Planned: h.after}
	case 4:
		h.kind, h.before = []string{"check failed", "check not done", "check passed"}[m.r.IntN(3)], ""
		e.Kind, e.Check = ledger.Kind(h.kind), &ledger.Check{Device: device, Check: "radar picture"}
	default:
		h.kind, h.before, h.after = "read", "", m.versionOf()
		e.Kind, e.Check = ledger.CheckPassed, &ledger.Check{Device: device, Check: ledger.VersionShown, Value: string(h.after)}
	}
	m.note(v, h, e)
	if s := m.state(v, d); h.after != "" && len(s) == 1 && s[0] != version.Unknown { // as record brings the file up to date
		v.file[d], v.wrote[d] = s[0], s[0]
	}
}

// agree has noted what somebody changed by hand in the van's file.
func (m *month) agree(v *van) {
	for _, d := range monthDevices {
		if kind := m.fileStands(v, d); kind != known.ByHand && kind != known.BothWays {
			continue
		}
		h := &happening{kind: "read", device: d, serial: fmt.Sprint(d, m.serials[d]), after: v.file[d]}
		m.note(v, h, ledger.Entry{Vessel: "kittiwake", Kind: ledger.WrittenByHand, ByHand: &ledger.ByHand{
			Devices: []ledger.Fitted{{Device: ledger.Device{ID: d, Model: monthModel, Serial: h.serial}, Version: h.after}},
		}})
		v.wrote[d] = v.file[d]
	}
}

// fromLedger brings the van's file up to date where it is behind.
func (m *month) fromLedger(v *van) {
	for _, d := range monthDevices {
		if m.fileStands(v, d) == known.Behind {
			v.file[d] = m.state(v, d)[0]
			v.wrote[d] = v.file[d]
		}
	}
}

// fileStands says how the van's file and ledger differ over a device; "" where they
// don't, or the ledger doesn't know.
func (m *month) fileStands(v *van, d string) known.FileKind {
	is := m.state(v, d)
	f, in := v.file[d]
	b, remembered := v.wrote[d]
	switch {
	case len(is) > 1 || !in || !remembered || len(m.about(v, d)) == 0:
		return ""
	case len(is) == 0 || is[0] == version.Unknown:
		if f != b {
			return known.ByHand
		}
		return ""
	case f == is[0]:
		return ""
	case f == b:
		return known.Behind
	case is[0] == b:
		return known.ByHand
	}
	return known.BothWays
}

// runs is what somebody at the device would read before a step: what the van
// knows, or something else.
func (m *month) runs(v *van, device string) version.V {
	if s := m.state(v, device); len(s) == 1 && m.r.IntN(5) > 0 && s[0] != version.Unknown {
		return s[0]
	}
	return m.versionOf()
}

func (m *month) note(v *van, h *happening, e ledger.Entry) {
	clock := m.now.Add(v.clock)
	h.at = clock
	if h.dated = m.r.IntN(5) == 0; h.dated {
		h.at = clock.AddDate(0, 0, -2-m.r.IntN(9))
	}
	e.At = h.at
	w := ledgertest.Writer(fmt.Sprint("van ", slices.Index(m.vans, v)))
	w.Now = func() time.Time { return clock }
	events, err := v.ledger.Append(ctx, w, e)
	require.NoError(m.t, err, m.what)
	h.id, h.van, h.written, h.entry, h.knew = events[0].ID, slices.Index(m.vans, v), m.written, e, map[int]bool{}
	for other := range v.has {
		h.knew[other] = true
	}
	m.all[m.written] = h
	v.has[m.written] = true
	m.written++
}

func (m *month) withdraw(v *van) {
	h := &happening{kind: "withdrawn", withdraws: m.versionOf()}
	m.note(v, h, ledger.Entry{Kind: ledger.ReleaseWithdrawn, Withdrawal: &ledger.Withdrawal{Model: monthModel, Version: h.withdraws, Why: "smoke"}})
}

// correct takes something back, or says another version or nothing new of it.
func (m *month) correct(v *van) {
	if len(v.has) == 0 {
		return
	}
	list := sortedKeys(v.has)
	h := m.all[list[m.r.IntN(len(list))]]
	c := correctionOf{written: m.written, at: m.now.Add(v.clock)}
	m.written++
	if !c.at.After(h.lastAt) { // as the command does; and no two at one moment
		c.at = h.lastAt.Add(time.Second)
	}
	h.lastAt = c.at
	instead := h.entry
	switch m.r.IntN(3) {
	case 0:
		c.back = true
	case 1:
		switch h.kind {
		case "done":
			c.after = m.versionOf()
			step := *h.entry.Step
			step.After = c.after
			instead.Step = &step
		case "read":
			c.after = m.versionOf()
			if h.entry.ByHand != nil {
				instead.ByHand = &ledger.ByHand{Devices: []ledger.Fitted{{Device: h.entry.ByHand.Devices[0].Device, Version: c.after}}}
				break
			}
			check := *h.entry.Check
			check.Value = string(c.after)
			instead.Check = &check
		}
	}
	e := ledger.Entry{At: c.at, Kind: ledger.Correction, Vessel: h.entry.Vessel, Correction: &ledger.Correcting{Of: h.id.String(), Why: "mistyped"}}
	if !c.back {
		e.Correction.Instead = &instead
	}
	w := ledgertest.Writer(fmt.Sprint("van ", slices.Index(m.vans, v)))
	w.Now = func() time.Time { return m.now.Add(v.clock) }
	_, err := v.ledger.Append(ctx, w, e)
	require.NoError(m.t, err, m.what)
	h.corrections = append(h.corrections, c)
	v.fixes[c.written] = true
}

func (m *month) meet(a, b *van) {
	if a == b {
		return
	}
	_, err := store.Sync(ctx, a.ledger, b.ledger, store.SyncOptions{})
	require.NoError(m.t, err, m.what)
	for _, pair := range [][2]*van{{a, b}, {b, a}} {
		for k := range pair[0].has {
			pair[1].has[k] = true
		}
		for k := range pair[0].fixes {
			pair[1].fixes[k] = true
		}
	}
}

func (m *month) everybodyMeets() {
	for range 2 {
		for _, a := range m.vans {
			for _, b := range m.vans {
				m.meet(a, b)
			}
		}
	}
	for _, v := range m.vans {
		m.compare(v)
		r, err := v.ledger.Check(ctx, store.CheckOptions{Known: ledgertest.Known("van 0", "van 1", "van 2")})
		require.NoError(m.t, err)
		require.Equal(m.t, store.Whole, r.Verdict, "%s: %+v", m.what, r.First)
	}
}

// standing is a happening as a van has it: corrected, or nil where it was taken
// back.
func (m *month) standing(v *van, h *happening) *happening {
	var last *correctionOf
	for i := range h.corrections {
		if c := &h.corrections[i]; v.fixes[c.written] && (last == nil || c.at.After(last.at)) {
			last = c
		}
	}
	if last == nil {
		return h
	}
	if last.back {
		return nil
	}
	corrected := *h
	if last.after != "" {
		corrected.after = last.after
		if corrected.kind == "done" {
			corrected.planned = ""
		}
	}
	return &corrected
}

// later tells whether a is known to have happened after b.
func later(a, b *happening) bool {
	knows := func(x, y *happening) bool {
		return x.van == y.van && x.written > y.written || x.knew[y.written]
	}
	switch {
	case knows(a, b):
		return !a.dated || !a.at.Before(b.at)
	case knows(b, a):
		return b.dated && b.at.Before(a.at)
	}
	return false
}

func (m *month) about(v *van, device string) (list []*happening) {
	for _, k := range sortedKeys(v.has) {
		if h := m.standing(v, m.all[k]); h != nil && h.device == device {
			list = append(list, h)
		}
	}
	return list
}

// read is one version that somebody saw.
type read struct {
	h             *happening
	before, after version.V
	lost          bool
}

func reads(h *happening) []read {
	switch h.kind {
	case "read", "done":
		return []read{{h, h.before, h.after, false}}
	case "put off":
		if h.before != "" {
			return []read{{h, h.before, h.before, false}}
		}
	case "failed":
		if h.after != "" {
			return []read{{h, h.before, h.after, false}}
		}
		lost := read{h, "", version.Unknown, true}
		if h.before != "" {
			return []read{{h, h.before, h.before, false}, lost}
		}
		return []read{lost}
	}
	return nil
}

// state is what a device may run: one version, or those that stand against one
// another; none where nobody read it.
func (m *month) state(v *van, device string) []version.V {
	var all []read
	for _, h := range m.about(v, device) {
		all = append(all, reads(h)...)
	}
	startsFrom := func(b, a read) bool {
		return b.before != "" && b.before == a.after && b.h.serial == a.h.serial
	}
	found := map[version.V]bool{}
	for i, a := range all {
		stands := true
		for j, b := range all {
			switch {
			case i == j:
			case a.h == b.h:
				stands = stands && !(j > i)
			case later(b.h, a.h):
				stands = false
			case later(a.h, b.h), a.lost, b.lost, a.after == b.after:
			case startsFrom(b, a) && !startsFrom(a, b):
				stands = false
			}
		}
		if stands {
			found[a.after] = true
		}
	}
	if len(found) == 0 { // each is earlier than another: clocks and dates contradict one another
		for _, a := range all {
			found[a.after] = true
		}
	}
	if found[version.Unknown] {
		return []version.V{version.Unknown}
	}
	var list []version.V
	for v := range found {
		list = append(list, v)
	}
	slices.Sort(list)
	return list
}

// open is what steps and checks left open on a device.
func (m *month) open(v *van, device string) (list []string) {
	about := m.about(v, device)
	key := func(h *happening) string {
		switch h.kind {
		case "check failed", "check not done":
			return "check"
		case "failed", "put off":
			return h.kind + " " + string(h.planned)
		}
		return ""
	}
	for _, h := range about {
		if key(h) == "" {
			continue
		}
		over := slices.ContainsFunc(about, func(o *happening) bool { return m.ends(o, h) || key(o) == key(h) && later(o, h) })
		if what := h.kind + " " + string(h.planned); !over {
			list = append(list, what)
		}
	}
	slices.Sort(list)
	return list
}

func (m *month) ends(o, h *happening) bool {
	if !later(o, h) {
		return false
	}
	if strings.HasPrefix(h.kind, "check") {
		return o.kind == "check passed"
	}
	return o.kind == "done" && o.after == h.planned || slices.ContainsFunc(reads(o), func(r read) bool { return r.after == h.planned })
}

// compare lays every answer of a van beside the model's.
func (m *month) compare(v *van) {
	t := m.t
	h, err := audit.OfVessel(ctx, v.ledger, "kittiwake", time.Time{}, none)
	if err != nil {
		require.ErrorIs(t, err, audit.ErrNothing)
		return
	}
	fleet, err := audit.OfFleet(ctx, v.ledger, nil, none)
	require.NoError(t, err)
	inFleet := map[string]audit.Standing{}
	for _, row := range fleet.Vessels {
		for _, d := range row.Devices {
			inFleet[d.ID] = d
		}
	}
	for _, device := range monthDevices {
		m.compareDevice(v, h, device, inFleet)
	}
	m.compareReleases(v, inFleet)
	m.compareFile(v)
}

// compareFile lays the van's file beside its ledger.
func (m *month) compareFile(v *van) {
	k, err := audit.Known(ctx, v.ledger, nil, "kittiwake")
	require.NoError(m.t, err)
	file, wrote := &manifest.Vessel{ID: "kittiwake"}, known.Written{}
	for _, d := range monthDevices {
		f, in := v.file[d]
		if !in {
			continue
		}
		device := &manifest.Device{ID: d, Model: monthModel, Version: f}
		if is := k.Device(d); is != nil {
			device.Serial = is.Serial
		}
		file.Devices = append(file.Devices, device)
		wrote[d] = map[string]string{known.AboardKey: d, known.VersionKey: string(v.wrote[d])}
	}
	got := map[string]known.FileKind{}
	for _, x := range k.Beside(file, wrote) {
		if x.Key == known.VersionKey {
			got[x.Device] = x.Kind
		}
	}
	for _, d := range monthDevices {
		require.Equal(m.t, m.fileStands(v, d), got[d], "%s: the file of %s: %s, written %s, ledger %v", m.what, d, v.file[d], v.wrote[d], m.state(v, d))
	}
}

func (m *month) compareDevice(v *van, h audit.History, device string, inFleet map[string]audit.Standing) {
	t := m.t
	i := slices.IndexFunc(h.Devices, func(d audit.Device) bool { return d.ID == device })
	if len(m.about(v, device)) == 0 {
		require.Negative(t, i, "%s: %s", m.what, device)
		return
	}
	d := h.Devices[i]
	want := m.state(v, device)
	switch len(want) {
	case 0:
		require.EqualValues(t, version.Unknown, d.Version, "%s: %s", m.what, device)
	case 1:
		require.Equal(t, want[0], d.Version, "%s: %s", m.what, device)
		require.Empty(t, d.Other, "%s: %s", m.what, device)
	default:
		require.Contains(t, want, d.Version, "%s: %s", m.what, device)
		require.Contains(t, want, d.Other, "%s: %s is disputed", m.what, device)
		require.NotEqual(t, d.Version, d.Other)
	}
	if f, ok := inFleet[device]; ok {
		require.Equal(t, d.Version, f.Version, "%s: %s in the fleet", m.what, device)
		require.Equal(t, d.Other, f.Other, "%s: %s in the fleet", m.what, device)
	} else {
		require.Empty(t, want, "%s: %s in the fleet", m.what, device)
	}
	if m.serials[device] == 0 { // nothing was replaced, which would end all that is open
		var open []string
		for _, o := range d.Open {
			switch o.Kind {
			case known.Failed:
				open = append(open, "failed "+string(o.Planned))
			case known.PutOff:
				open = append(open, "put off "+string(o.Planned))
			case known.CheckFailed, known.CheckNotDone:
				open = append(open, string(o.Kind)+" ")
			}
		}
		slices.Sort(open)
		require.Equal(t, m.open(v, device), open, "%s: %s", m.what, device)
	}
}

func (m *month) compareReleases(v *van, inFleet map[string]audit.Standing) {
	t := m.t
	withdrawn := map[version.V]bool{}
	for k := range v.has {
		if h := m.standing(v, m.all[k]); h != nil && h.withdraws != "" {
			withdrawn[h.withdraws] = true
		}
	}
	for n := range 5 {
		release := version.V(fmt.Sprintf("1.%d", n))
		u, err := audit.OfRelease(ctx, v.ledger, monthModel, release, none)
		require.NoError(t, err)
		has := map[string]bool{}
		for _, use := range u.Has {
			has[use.Device.ID] = true
		}
		for _, device := range monthDevices {
			if d, ok := inFleet[device]; ok {
				require.Equal(t, d.Version == release || d.Other == release, has[device], "%s: %s has %s", m.what, device, release)
			}
		}
		require.Equal(t, withdrawn[release], len(u.Withdrawn) > 0, "%s: %s withdrawn", m.what, release)
	}
}

func sortedKeys(set map[int]bool) []int {
	list := make([]int, 0, len(set))
	for k := range set {
		list = append(list, k)
	}
	slices.Sort(list)
	return list
}
