package audit_test

import (
	"database/sql"
	"errors"
	"fmt"
	"maps"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"cardwright/manifest/version"
	"cardwright/verify/ledger"
	"cardwright/verify/ledger/known"
	"cardwright/verify/ledger/ledgertest"
	"cardwright/verify/ledger/store"
)

// TestRandomMonths lives through random months of a shop: surveys, steps with every
// outcome, by the plan and outside any; devices replaced, moved and taken off; boats
// renamed, sold and gone; cards made, lost, handed over and destroyed; all of it dated
// late or by a clock that jumped, and corrected; releases withdrawn. Three vans that
// the shop trusts, until one leaves, and a stranger meet in any order, lose a ledger
// and restore it. Each has a file of a vessel, which people change by hand, agree to
// have noted, or bring up to date. After each step every answer of the van at work is
// that of a model made of plain maps and sets (monthmodel_test.go), which knows
// nothing of chains, places or tables.
//
// CARDWRIGHT_MONTHS says how many steps (make drill: 100,000); the suite's have
// fixed seeds.
func TestRandomMonths(t *testing.T) {
	steps := 1080
	if text := os.Getenv("CARDWRIGHT_MONTHS"); text != "" {
		var err error
		steps, err = strconv.Atoi(text)
		require.NoError(t, err)
	}
	const month = 90
	for seed := range uint64(steps / month) {
		t.Run(fmt.Sprint(seed), func(t *testing.T) {
			t.Parallel()
			m := newMonth(t, seed)
			for n := range month {
				m.what = fmt.Sprintf("seed %d, step %d", seed, n)
				m.step()
			}
			m.everybodyMeets()
		})
	}
}

// stranger is the van whose key the shop never trusts.
const stranger = 3

type van struct {
	number int
	path   string
	ledger *store.Ledger
	db     *sql.DB       // the same file, to say when events came in
	told   int64         // number of the last event of which that was said
	clock  time.Duration // how wrong it is
	vanMemory

	file, wrote map[string]version.V // the file of kittiwake, and what was last written there by the program
	kept        *backup              // the last one
}

// vanMemory is what a van's ledger has, and when it came in.
type vanMemory struct {
	has   map[int]time.Time // happenings
	fixes map[int]time.Time // corrections
}

func (m vanMemory) copied() vanMemory { return vanMemory{maps.Clone(m.has), maps.Clone(m.fixes)} }

type backup struct {
	path string
	vanMemory
}

type month struct {
	model
	t    *testing.T
	r    *rand.Rand
	what string
	vans []*van
	now  time.Time

	boxes map[aboard]box // what really stands there; no model: nothing
	cards []string       // digests
}

func newMonth(t *testing.T, seed uint64) *month {
	m := &month{t: t, r: rand.New(rand.NewPCG(seed, 11)), now: ledgertest.Day(0), boxes: map[aboard]box{}}
	m.all = map[int]*happening{}
	if seed%3 > 0 {
		m.trusts = map[int]time.Time{0: {}, 1: {}, 2: {}}
	}
	for _, d := range monthDevices {
		m.boxes[d] = box{monthModels[0], d.device + "-0"}
	}
	for n := range 4 {
		v := &van{number: n, path: filepath.Join(t.TempDir(), "van.db"), file: map[string]version.V{}, wrote: map[string]version.V{}}
		v.has, v.fixes = map[int]time.Time{}, map[int]time.Time{}
		m.openLedger(v, store.Options{Create: true})
		t.Cleanup(func() { require.NoError(t, v.close()) })
		m.vans = append(m.vans, v)
	}
	return m
}

func (m *month) openLedger(v *van, o store.Options) {
	var err error
	v.ledger, err = store.Open(ctx, v.path, o)
	require.NoError(m.t, err)
	v.db, err = sql.Open("sqlite", v.path)
	require.NoError(m.t, err)
	m.believe(v)
}

func (v *van) close() error { return errors.Join(v.ledger.Close(), v.db.Close()) }

// believe says whose events count, as the shop's file does.
func (m *month) believe(v *van) {
	if m.trusts == nil {
		return
	}
	writers := map[string]time.Time{}
	for n, until := range m.trusts {
		writers[ledger.Writer(ledgertest.Key(vanName(n)).Public())] = until
	}
	v.ledger.Believe(writers)
}

func vanName(n int) string { return fmt.Sprint("van ", n) }

// came says that what is new in a van's ledger came in now, by the model's clock.
func (m *month) came(v *van) {
	_, err := v.db.Exec(`UPDATE arrival SET at = $1 WHERE no > $2`, m.now.Format(time.RFC3339), v.told)
	require.NoError(m.t, err)
	require.NoError(m.t, v.db.QueryRow(`SELECT coalesce(max(no), 0) FROM event`).Scan(&v.told))
}

func (m *month) pick(n int) bool { return m.r.IntN(n) == 0 }

func oneOf[T any](r *rand.Rand, list ...T) T { return list[r.IntN(len(list))] }

// step lets one van do one thing, and compares its answers.
func (m *month) step() {
	m.now = m.now.Add(time.Duration(1+m.r.IntN(30)) * time.Hour)
	v := m.vans[m.r.IntN(len(m.vans))]
	if v.number == stranger && m.pick(2) {
		v = m.vans[0]
	}
	switch n := m.r.IntN(26); n {
	case 0, 1, 2:
		m.meet(v, m.vans[m.r.IntN(len(m.vans))])
	case 3:
		v.clock = time.Duration(m.r.IntN(7)-3) * 400 * 24 * time.Hour
	case 4, 5, 6:
		m.correct(v)
	case 7:
		if m.pick(3) {
			m.withdraw(v)
		}
	case 8:
		if d := oneOf(m.r, monthDevices...); d.vessel == fileOf && v.wrote[d.device] != "" {
			v.file[d.device] = m.versionOf() // by hand, or an old copy
		}
	case 9:
		m.agree(v)
	case 10:
		m.fromLedger(v)
	case 11, 12:
		m.change(v)
	case 13:
		m.changeVessel(v)
	case 14, 15:
		m.card(v)
	case 16:
		m.backUpOrRestore(v)
	case 17:
		if m.trusts != nil && m.pick(8) && m.trusts[2].IsZero() { // a key leaves
			m.trusts[2] = m.now
			for _, v := range m.vans {
				m.believe(v)
			}
		}
	default:
		m.work(v)
	}
	m.compare(v)
}

func (m *month) versionOf() version.V { return oneOf(m.r, monthVersions...) }

func (m *month) device(d aboard, b box) ledger.Device {
	return ledger.Device{ID: d.device, Model: b.model, Serial: b.serial}
}

// work notes a reading, a step or a check of a device.
func (m *month) work(v *van) {
	d := oneOf(m.r, monthDevices...)
	if m.boxes[d].model == "" || m.pick(25) { // put there, and nobody says so
		m.boxes[d] = m.otherBox(d)
	}
	h := &happening{aboard: d, box: m.boxes[d]}
	device := m.device(d, h.box)
	e := ledger.Entry{Vessel: d.vessel}
	if m.r.IntN(4) > 0 {
		h.before = m.runs(v, d)
	}
	switch m.r.IntN(7) {
	case 0:
		h.kind, h.planned = ledger.StepFailed, m.versionOf()
		if m.pick(3) {
			h.after = h.before
		}
		e.Step = &ledger.Step{Device: device, Before: h.before, After: h.after, Planned: h.planned}
	case 1:
		h.kind, h.planned = ledger.StepPutOff, m.versionOf()
		e.Step = &ledger.Step{Device: device, Before: h.before, Planned: h.planned}
	case 2, 3:
		h.kind, h.after = ledger.StepDone, m.versionOf()
		e.Step = &ledger.Step{Device: device, Before: h.before, After: h.after, Planned: h.after}
		if m.pick(4) { // outside any plan
			e.Step.How, e.Step.Planned = oneOf(m.r, ledger.Hows...), ""
		}
	case 4:
		h.kind, h.before = oneOf(m.r, ledger.CheckFailed, ledger.CheckNotDone, ledger.CheckPassed), ""
		e.Check = &ledger.Check{Device: device, Check: "radar picture"}
	default:
		h.kind, h.before, h.after = readKind, "", m.versionOf()
		e.Kind, e.Check = ledger.CheckPassed, &ledger.Check{Device: device, Check: ledger.VersionShown, Value: string(h.after)}
	}
	m.note(v, h, e)
	m.intoFile(v, d)
}

// intoFile brings the file up to date after a visit, as record does.
func (m *month) intoFile(v *van, d aboard) {
	if s := m.state(v, d, time.Time{}); d.vessel == fileOf && s.certain() {
		v.file[d.device], v.wrote[d.device] = s.versions[0], s.versions[0]
	}
}

// otherBox is another one for the place of a device.
func (m *month) otherBox(d aboard) box {
	b := box{m.boxes[d].model, fmt.Sprint(d.device, "-", m.written)}
	if b.model == "" || m.pick(3) {
		b.model = oneOf(m.r, monthModels...)
	}
	return b
}

// change replaces, moves or takes off a device.
func (m *month) change(v *van) {
	d := oneOf(m.r, monthDevices...)
	was := m.boxes[d]
	h := &happening{aboard: d, box: was}
	c := &ledger.DeviceChange{Was: ledger.Fitted{Device: m.device(d, was)}}
	switch n := m.r.IntN(3); {
	case n == 0 || was.model == "":
		h.kind, h.box = ledger.DeviceReplaced, m.otherBox(d)
		m.boxes[d] = h.box
		if m.pick(2) {
			h.after = m.versionOf()
		}
		c.Device, c.Version = m.device(d, h.box), h.after
		if was.model == "" { // it was off
			c.Was.Device.Model, c.Was.Device.Serial = "", ""
		}
	case n == 1:
		h.kind, h.place = ledger.DeviceMoved, oneOf(m.r, "mast", "wheelhouse", "flybridge")
		c.Device = m.device(d, was)
		c.Device.Place = h.place
	default:
		h.kind, h.box = ledger.DeviceTakenOff, box{}
		m.boxes[d] = box{}
		c.Device = ledger.Device{ID: d.device}
	}
	m.note(v, h, ledger.Entry{Vessel: d.vessel, DeviceChange: c})
}

// changeVessel renames a vessel, or says that it was sold, or is gone, or that a visit
// began there.
func (m *month) changeVessel(v *van) {
	vessel := oneOf(m.r, monthVessels...)
	h := &happening{aboard: aboard{vessel: vessel}}
	e := ledger.Entry{Vessel: vessel}
	switch m.r.IntN(5) {
	case 0, 1:
		h.kind, h.name = ledger.VesselRenamed, fmt.Sprint("Tern ", m.written)
		e.VesselChange = &ledger.VesselChange{Name: h.name, Was: &ledger.Called{ID: vessel, Name: "Kittiwake"}}
	case 2:
		h.kind, e.VesselChange = ledger.VesselSold, &ledger.VesselChange{}
	case 3:
		if m.pick(2) {
			h.kind, e.VesselChange = ledger.VesselGone, &ledger.VesselChange{}
			break
		}
		fallthrough
	default:
		h.kind, e.Visit, e.VisitBegun = ledger.VisitBegun, fmt.Sprint("visit ", m.written), &ledger.Visit{Purpose: "yearly update"}
	}
	m.note(v, h, e)
}

// card makes or verifies a card, or says what became of one.
func (m *month) card(v *van) {
	if len(m.cards) < 3 || m.pick(6) {
		m.cards = append(m.cards, fmt.Sprintf("%064x", 0xCA4D0000+len(m.cards)))
	}
	digest := oneOf(m.r, m.cards...)
	h := &happening{card: digest}
	if m.pick(3) {
		h.kind = oneOf(m.r, ledger.CardLost, ledger.CardHandedOver, ledger.CardDestroyed)
		fate := &ledger.CardFate{Card: digest}
		if h.kind == ledger.CardHandedOver {
			fate.To = "the owner"
		}
		m.note(v, h, ledger.Entry{CardFate: fate})
		return
	}
	d := oneOf(m.r, monthDevices...)
	h.kind, h.vessel, h.onCard = oneOf(m.r, ledger.CardPrepared, ledger.CardVerified), d.vessel, d.device
	h.carries, h.good = release{oneOf(m.r, monthModels...), m.versionOf()}, m.r.IntN(3) > 0
	verdict := "bad"
	if h.good {
		verdict = "good"
	}
	m.note(v, h, ledger.Entry{Vessel: d.vessel, Card: &ledger.Card{
		Digest: digest, Verdict: verdict, Plan: digest, VolumeID: "1A2B-3C4D",
		Releases: []ledger.CardRelease{{Device: d.device, Model: h.carries.model, Version: h.carries.version}},
	}})
}

// agree has noted what somebody changed by hand in the van's file.
func (m *month) agree(v *van) {
	for _, d := range monthDevices {
		if kind := m.fileStands(v, d); d.vessel != fileOf || kind != known.ByHand && kind != known.BothWays {
			continue
		}
		h := &happening{kind: readKind, aboard: d, box: m.boxes[d], after: v.file[d.device]}
		if h.box.model == "" {
			continue
		}
		m.note(v, h, ledger.Entry{Vessel: d.vessel, Kind: ledger.WrittenByHand, ByHand: &ledger.ByHand{
			Devices: []ledger.Fitted{{Device: m.device(d, h.box), Version: h.after}},
		}})
		v.wrote[d.device] = v.file[d.device]
	}
}

// fromLedger brings the van's file up to date where it is behind.
func (m *month) fromLedger(v *van) {
	for _, d := range monthDevices {
		if d.vessel == fileOf && m.fileStands(v, d) == known.Behind {
			v.file[d.device] = m.state(v, d, time.Time{}).versions[0]
			v.wrote[d.device] = v.file[d.device]
		}
	}
}

// runs is what somebody at the device would read before a step: what the van
// knows, or something else.
func (m *month) runs(v *van, d aboard) version.V {
	if s := m.state(v, d, time.Time{}); s.certain() && m.r.IntN(5) > 0 {
		return s.versions[0]
	}
	return m.versionOf()
}

func (m *month) writer(v *van) store.Writer {
	w := ledgertest.Writer(vanName(v.number))
	w.Now = func() time.Time { return m.now.Add(v.clock) }
	return w
}

func (m *month) note(v *van, h *happening, e ledger.Entry) {
	clock := m.now.Add(v.clock)
	h.at = clock
	if h.dated = m.pick(5); h.dated {
		h.at = clock.AddDate(0, 0, -2-m.r.IntN(9))
	}
	e.At = h.at
	if e.Kind == "" {
		e.Kind = h.kind
	}
	events, err := v.ledger.Append(ctx, m.writer(v), e)
	require.NoError(m.t, err, m.what)
	h.id, h.van, h.written, h.entry, h.knew = events[0].ID, v.number, m.written, e, v.knows()
	m.all[m.written] = h
	v.has[m.written] = m.now
	m.written++
	m.came(v)
}

// knows are all things written that a van has.
func (v *van) knows() map[int]bool {
	all := map[int]bool{}
	for _, list := range []map[int]time.Time{v.has, v.fixes} {
		for k := range list {
			all[k] = true
		}
	}
	return all
}

func (m *month) withdraw(v *van) {
	h := &happening{kind: ledger.ReleaseWithdrawn, withdraws: release{oneOf(m.r, monthModels...), m.versionOf()}}
	m.note(v, h, ledger.Entry{Withdrawal: &ledger.Withdrawal{Model: h.withdraws.model, Version: h.withdraws.version, Why: "smoke"}})
}

// correct takes something back, or says another version or nothing new of it.
func (m *month) correct(v *van) {
	if len(v.has) == 0 {
		return
	}
	h := m.all[oneOf(m.r, sortedKeys(v.has)...)]
	c := correctionOf{van: v.number, written: m.written, at: m.now.Add(v.clock), clock: m.now.Add(v.clock), knew: v.knows()}
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
		if h.kind == ledger.StepDone || h.kind == readKind || h.kind == ledger.DeviceReplaced {
			c.after = m.versionOf()
			instead = withVersion(instead, c.after)
		}
	}
	e := ledger.Entry{At: c.at, Kind: ledger.Correction, Vessel: h.entry.Vessel, Correction: &ledger.Correcting{Of: h.id.String(), Why: "mistyped"}}
	if !c.back {
		e.Correction.Instead = &instead
	}
	_, err := v.ledger.Append(ctx, m.writer(v), e)
	require.NoError(m.t, err, m.what)
	h.corrections = append(h.corrections, c)
	v.fixes[c.written] = m.now
	m.came(v)
}

// withVersion is an entry that says another version.
func withVersion(e ledger.Entry, now version.V) ledger.Entry {
	switch {
	case e.Step != nil:
		step := *e.Step
		step.After = now
		e.Step = &step
	case e.ByHand != nil:
		e.ByHand = &ledger.ByHand{Devices: []ledger.Fitted{{Device: e.ByHand.Devices[0].Device, Version: now}}}
	case e.Check != nil:
		check := *e.Check
		check.Value = string(now)
		e.Check = &check
	case e.DeviceChange != nil:
		change := *e.DeviceChange
		change.Version = now
		e.DeviceChange = &change
	}
	return e
}

func (m *month) meet(a, b *van) {
	if a == b {
		return
	}
	_, err := store.Sync(ctx, a.ledger, b.ledger, store.SyncOptions{})
	require.NoError(m.t, err, m.what)
	m.gets(a, b.vanMemory)
	m.gets(b, a.vanMemory)
	m.came(a)
	m.came(b)
}

// gets has what a van lacks of another come in now.
func (m *month) gets(v *van, from vanMemory) {
	for _, pair := range [][2]map[int]time.Time{{v.has, from.has}, {v.fixes, from.fixes}} {
		for k := range pair[1] {
			if _, there := pair[0][k]; !there {
				pair[0][k] = m.now
			}
		}
	}
}

// backUpOrRestore makes a backup, restores one in place of a ledger that was lost, or
// takes over another van's.
func (m *month) backUpOrRestore(v *van) {
	if v.kept == nil || m.pick(3) {
		path := filepath.Join(m.t.TempDir(), "backup.db")
		_, err := v.ledger.Backup(ctx, path, store.CheckOptions{})
		require.NoError(m.t, err, m.what)
		v.kept = &backup{path, v.copied()}
		return
	}
	from := m.vans[m.r.IntN(len(m.vans))].kept
	switch {
	case m.pick(2) && from != nil:
		_, err := store.Restore(ctx, from.path, v.path, store.CheckOptions{})
		require.NoError(m.t, err, m.what)
		m.gets(v, from.vanMemory)
		m.came(v)
	default: // the disk is gone
		require.NoError(m.t, v.close())
		for _, end := range []string{"", "-wal", "-shm"} {
			require.NoError(m.t, os.RemoveAll(v.path+end))
		}
		_, err := store.Restore(ctx, v.kept.path, v.path, store.CheckOptions{})
		require.NoError(m.t, err, m.what)
		m.openLedger(v, store.Options{})
		v.vanMemory = v.kept.copied()
		v.told = 0
		require.NoError(m.t, v.db.QueryRow(`SELECT coalesce(max(no), 0) FROM event`).Scan(&v.told))
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
		r, err := v.ledger.Check(ctx, store.CheckOptions{Known: ledgertest.Known(vanName(0), vanName(1), vanName(2), vanName(3))})
		require.NoError(m.t, err)
		require.Equal(m.t, store.Whole, r.Verdict, "%s: %+v", m.what, r.First)
	}
}

func sortedKeys[V any](set map[int]V) []int {
	return slices.Sorted(maps.Keys(set))
}
