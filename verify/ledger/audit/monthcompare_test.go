package audit_test

import (
	"errors"
	"slices"
	"time"

	"github.com/stretchr/testify/require"

	"cardwright/manifest"
	"cardwright/manifest/version"
	"cardwright/verify/ledger"
	"cardwright/verify/ledger/audit"
	"cardwright/verify/ledger/known"
)

// compare checks every answer of a van against the model's; of releases and cards some,
// by chance, and all now and then.
func (m *month) compare(v *van) {
	fleet := m.compareFleet(v)
	for _, vessel := range monthVessels {
		m.compareVessel(v, vessel, fleet)
	}
	m.compareDue(v)
	m.compareReleases(v, fleet)
	m.compareCards(v)
	m.compareFile(v)
	m.compareEvents(v)
}

func box2(d audit.Device) box { return box{d.Model, d.Serial} }

// compareFleet asks for the fleet's devices, by place.
func (m *month) compareFleet(v *van) map[aboard]audit.Standing {
	t := m.t
	fleet, err := audit.OfFleet(ctx, v.ledger, nil, none)
	require.NoError(t, err)
	in := map[aboard]audit.Standing{}
	total := 0
	for _, row := range fleet.Vessels {
		require.False(t, m.gone(v, row.Vessel.ID), "%s: %s is gone", m.what, row.Vessel.ID)
		m.requireName(v, row.Vessel, "in the fleet")
		for _, d := range row.Devices {
			in[aboard{row.Vessel.ID, d.ID}] = d
			total++
		}
	}
	counted := 0
	for _, n := range fleet.Counts {
		counted += n
	}
	require.Equal(t, total, counted, "%s: devices counted", m.what)
	stood, err := audit.OverTime(ctx, v.ledger, nil, fleet, none, m.now.AddDate(20, 0, 0), 2)
	require.NoError(t, err)
	if len(stood) > 0 {
		require.Equal(t, fleet.Counts, stood[len(stood)-1].Counts, "%s: the fleet at the end of time", m.what)
	}
	return in
}

func (m *month) requireName(v *van, is audit.Vessel, where string) {
	names := m.names(v, is.ID)
	if len(names) == 0 {
		require.Empty(m.t, is.Name, "%s: the name of %s %s", m.what, is.ID, where)
		return
	}
	require.Contains(m.t, names, is.Name, "%s: the name of %s %s", m.what, is.ID, where)
}

func (m *month) compareVessel(v *van, vessel string, fleet map[aboard]audit.Standing) {
	t := m.t
	ofVessel := func(h *happening) bool { return h.vessel == vessel }
	any := false
	for k := range v.has {
		any = any || ofVessel(m.all[k])
	}
	h, err := audit.OfVessel(ctx, v.ledger, vessel, time.Time{}, none)
	if !any {
		require.ErrorIs(t, err, audit.ErrNothing, m.what)
		return
	}
	require.NoError(t, err)
	m.requireName(v, h.Vessel, "in its history")
	left := m.untrusted(v, vessel)
	require.Equal(t, left, h.LeftOut.Count, "%s: left out of %s", m.what, vessel)
	lines, corrected := 0, 0
	for k, came := range v.has {
		h := m.all[k]
		if h.vessel != vessel {
			continue
		}
		if m.counts(h.van, came) {
			lines++
			if m.last(v, h) != nil {
				corrected++
			}
		}
		for _, c := range h.corrections {
			if came, has := v.fixes[c.written]; has && m.counts(c.van, came) {
				lines++
			}
		}
	}
	require.Len(t, h.Lines, lines, "%s: lines of %s", m.what, vessel)
	require.Equal(t, corrected, count(h.Lines, func(l audit.Line) bool { return l.CorrectedBy != "" }), "%s: corrected lines of %s", m.what, vessel)
	k, err := audit.Known(ctx, v.ledger, nil, vessel)
	require.NoError(t, err)
	for _, d := range monthDevices {
		if d.vessel == vessel {
			m.compareDevice(v, h, k.Device(d.device), d, fleet)
		}
	}
	until := m.now.Add(-time.Duration(m.r.IntN(60*24)) * time.Hour)
	then, err := audit.OfVessel(ctx, v.ledger, vessel, until, none)
	require.NoError(t, err)
	for _, d := range monthDevices {
		if i := indexOf(then, d); d.vessel == vessel && i >= 0 {
			m.requireState(then.Devices[i], m.state(v, d, until), d, "then")
		}
	}
}

func count[T any](list []T, is func(T) bool) (n int) {
	for _, x := range list {
		if is(x) {
			n++
		}
	}
	return n
}

func indexOf(h audit.History, d aboard) int {
	return slices.IndexFunc(h.Devices, func(x audit.Device) bool { return x.ID == d.device })
}

func (m *month) requireState(got audit.Device, want answer, d aboard, when string) {
	t := m.t
	what := []any{"%s: %s %s", m.what, d, when}
	require.True(t, want.vague || got.Gone == want.gone, what...)
	switch {
	case want.gone:
	case len(want.versions) == 0:
		require.EqualValues(t, version.Unknown, got.Version, what...)
	case want.vague:
		require.Contains(t, append(want.versions, version.Unknown, ""), got.Version, what...)
	case len(want.versions) == 1:
		require.Equal(t, want.versions[0], got.Version, what...)
		require.Empty(t, got.Other, what...)
	default:
		require.Contains(t, want.versions, got.Version, what...)
		require.Contains(t, want.versions, got.Other, what...)
		if len(slices.Compact(slices.Clone(want.versions))) == len(want.versions) {
			require.NotEqual(t, got.Version, got.Other, what...)
		}
	}
	if c := want.lone(); c != nil && !want.gone && c.box.model != "" {
		require.Equal(t, c.box, box2(got), what...)
	}
}

func (m *month) compareDevice(v *van, h audit.History, is *known.Device, d aboard, fleet map[aboard]audit.Standing) {
	t := m.t
	i := indexOf(h, d)
	want := m.state(v, d, time.Time{})
	if len(m.about(v, d, time.Time{})) == 0 {
		require.Negative(t, i, "%s: %s", m.what, d)
		return
	}
	require.GreaterOrEqual(t, i, 0, "%s: %s", m.what, d)
	got := h.Devices[i]
	m.requireState(got, want, d, "now")
	if len(want.claims) > 0 {
		require.Equal(t, []any{got.Version, got.Other, got.Gone, got.Device}, []any{is.Version, is.Other, is.Gone, is.Device}, "%s: %s as plans know it", m.what, d)
	}
	f, in := fleet[d]
	require.Equal(t, len(want.claims) > 0 && !got.Gone && !m.gone(v, d.vessel), in, "%s: %s in the fleet", m.what, d)
	if in {
		require.Equal(t, []any{got.Version, got.Other, got.Device}, []any{f.Version, f.Other, f.Device.Device}, "%s: %s in the fleet", m.what, d)
	}
	m.compareOpen(v, got, d)
}

func (m *month) compareOpen(v *van, got audit.Device, d aboard) {
	var open, want []string
	for _, o := range got.Open {
		switch o.Kind {
		case known.Failed, known.PutOff:
			open = append(open, string(o.Kind)+" "+string(o.Planned))
		case known.Disputed:
			open = append(open, string(o.Kind))
		case known.OnWithdrawn:
			open = append(open, string(o.Kind)+" "+o.What)
		default:
			open = append(open, string(o.Kind))
		}
	}
	if !got.Gone {
		want = m.open(v, d, box2(got))
		if got.Other != "" {
			want = append(want, string(known.Disputed))
		}
		for _, runs := range []version.V{got.Version, got.Other} {
			if m.withdrawn(v, release{got.Model, runs}) {
				want = append(want, string(known.OnWithdrawn)+" "+string(runs))
			}
		}
	}
	slices.Sort(open)
	slices.Sort(want)
	require.Equal(m.t, want, open, "%s: open on %s", m.what, d)
}

// compareDue asks what is open and when the last visit was, of vessels that are
// served.
func (m *month) compareDue(v *van) {
	t := m.t
	due, err := audit.OfDue(ctx, v.ledger, nil, none)
	require.NoError(t, err)
	found := map[string]int{}
	for _, d := range due.Vessels {
		found[d.Vessel.ID] = len(d.Open)
		m.requireName(v, d.Vessel, "in what is due")
		require.Equal(t, m.visited(v, d.Vessel.ID), d.Last, "%s: the last visit of %s", m.what, d.Vessel.ID)
	}
	want := map[string]int{}
	for _, vessel := range monthVessels {
		h, err := audit.OfVessel(ctx, v.ledger, vessel, time.Time{}, none)
		if err != nil {
			continue
		}
		n := 0
		for _, d := range h.Devices {
			n += count(d.Open, func(o known.Open) bool { return o.Left() })
		}
		if n > 0 && !m.gone(v, vessel) {
			want[vessel] = n
		}
	}
	require.Equal(t, want, found, "%s: due", m.what)
}

func (m *month) compareReleases(v *van, fleet map[aboard]audit.Standing) {
	t := m.t
	calls, whole := map[string]bool{}, m.pick(6)
	for _, model := range monthModels {
		for _, number := range monthVersions {
			r := release{model, number}
			if !whole && !m.pick(5) {
				continue
			}
			u, err := audit.OfRelease(ctx, v.ledger, model, number, none)
			require.NoError(t, err)
			require.Equal(t, m.withdrawn(v, r), len(u.Withdrawn) > 0, "%s: %s withdrawn", m.what, r)
			has, ran := map[aboard]bool{}, map[aboard]bool{}
			for _, use := range u.Has {
				at := aboard{use.Vessel.ID, use.Device.ID}
				has[at], ran[at] = true, true
				m.requireName(v, use.Vessel, "of a release")
			}
			for _, use := range u.Had {
				at := aboard{use.Vessel.ID, use.Device.ID}
				ran[at] = true
				if m.withdrawn(v, r) && use.MayRun() {
					calls[at.vessel] = true
				}
			}
			for _, d := range monthDevices {
				once := slices.ContainsFunc(m.state(v, d, time.Time{}).claims, func(c claim) bool { return c.box.model == model && c.version == number })
				require.Equal(t, once, ran[d], "%s: %s had %s once", m.what, d, r)
				m.requireHas(v, d, r, has[d], fleet)
				if has[d] && m.withdrawn(v, r) {
					calls[d.vessel] = true
				}
			}
			m.compareCarried(v, u, r)
		}
	}
	if !whole {
		return
	}
	all, err := audit.OfWithdrawn(ctx, v.ledger, nil, none)
	require.NoError(t, err)
	var want []string
	for _, vessel := range monthVessels {
		if calls[vessel] {
			want = append(want, vessel)
		}
	}
	require.Equal(t, want, all.ToCall(), "%s: whom to call", m.what)
}

// requireHas looks whether a release is said to run where it does. Of a device that is
// disputed it may be said of either equipment, since its boat must be called.
func (m *month) requireHas(v *van, d aboard, r release, has bool, fleet map[aboard]audit.Standing) {
	is := m.state(v, d, time.Time{})
	runs := slices.ContainsFunc(is.stand, func(c claim) bool { return c.box.model == r.model && c.version == r.version })
	f, in := fleet[d]
	switch {
	case is.vague:
	case in && f.Other == "":
		require.Equal(m.t, f.Model == r.model && f.Version == r.version, has, "%s: %s has %s: %+v, %+v", m.what, d, r, f, is)
		require.Equal(m.t, runs && f.Version == r.version, has, "%s: %s has %s", m.what, d, r)
	case in && runs && (f.Version == r.version || f.Other == r.version):
		require.True(m.t, has, "%s: %s may have %s: %+v", m.what, d, r, f)
	case in && f.Version != r.version && f.Other != r.version, is.gone:
		require.False(m.t, has, "%s: %s has %s", m.what, d, r)
	}
}

func (m *month) compareCarried(v *van, u audit.ReleaseUse, r release) {
	want := map[aboard]map[string]bool{}
	good := map[aboard]bool{}
	for _, h := range m.those(v, time.Time{}, func(h *happening) bool { return h.carries == r }) {
		at := aboard{h.vessel, h.onCard}
		if want[at] == nil {
			want[at] = map[string]bool{}
		}
		want[at][h.card] = true
		good[at] = good[at] || h.good
	}
	require.Len(m.t, u.Carried, len(want), "%s: cards with %s", m.what, r)
	for _, c := range u.Carried {
		at := aboard{c.Vessel.ID, c.Device}
		require.Equal(m.t, len(want[at]), c.Cards, "%s: cards with %s for %s", m.what, r, at)
		require.Equal(m.t, good[at], c.Good, "%s: good cards with %s for %s", m.what, r, at)
	}
}

func (m *month) compareCards(v *van) {
	t := m.t
	for _, digest := range m.cards {
		if !m.pick(3) {
			continue
		}
		want := [3]int{
			m.onCards(v, digest, ledger.CardPrepared), m.onCards(v, digest, ledger.CardVerified),
			m.onCards(v, digest, ledger.CardLost, ledger.CardHandedOver, ledger.CardDestroyed),
		}
		u, err := audit.OfCard(ctx, v.ledger, digest, none)
		if errors.Is(err, audit.ErrNothing) {
			require.Equal(t, [3]int{}, want, "%s: card %s", m.what, digest)
			continue
		}
		require.NoError(t, err)
		var got [3]int
		for _, c := range u.Cards {
			got[0], got[1], got[2] = got[0]+len(c.Prepared), got[1]+len(c.Verified), got[2]+len(c.Fate)
		}
		require.Equal(t, want, got, "%s: prepared, verified, what became of card %s", m.what, digest)
	}
	for _, vessel := range monthVessels {
		good, err := audit.OnGoodCards(ctx, v.ledger, vessel)
		require.NoError(t, err)
		want := len(m.those(v, time.Time{}, func(h *happening) bool { return h.card != "" && h.vessel == vessel && h.good }))
		require.Len(t, good, want, "%s: good cards of %s", m.what, vessel)
		for _, digest := range m.cards {
			if !m.pick(5) {
				continue
			}
			made := m.those(v, time.Time{}, func(h *happening) bool {
				return h.kind == ledger.CardPrepared && h.card == digest && h.vessel == vessel
			})
			_, found, err := audit.Making(ctx, v.ledger, vessel, digest, "1A2B-3C4D")
			require.NoError(t, err)
			require.Equal(t, len(made) > 0, found, "%s: the making of card %s", m.what, digest)
		}
	}
}

// compareFile checks the van's file against its ledger.
func (m *month) compareFile(v *van) {
	k, err := audit.Known(ctx, v.ledger, nil, fileOf)
	require.NoError(m.t, err)
	file, wrote := &manifest.Vessel{ID: fileOf}, known.Written{}
	for _, d := range monthDevices {
		f, in := v.file[d.device]
		if !in || d.vessel != fileOf {
			continue
		}
		device := &manifest.Device{ID: d.device, Model: monthModels[0], Version: f}
		if is := k.Device(d.device); is != nil && !is.Gone {
			device.Model, device.Serial, device.Place = is.Model, is.Serial, is.Place
		}
		file.Devices = append(file.Devices, device)
		wrote[d.device] = map[string]string{known.AboardKey: d.device, known.VersionKey: string(v.wrote[d.device])}
	}
	got, aboardNow := map[string]known.FileKind{}, map[string]known.FileKind{}
	differs := k.Beside(file, wrote)
	for _, x := range differs {
		switch x.Key {
		case known.VersionKey:
			got[x.Device] = x.Kind
		case known.AboardKey:
			aboardNow[x.Device] = x.Kind
		}
	}
	for _, d := range monthDevices {
		if d.vessel != fileOf {
			continue
		}
		is := m.state(v, d, time.Time{})
		if is.vague {
			continue
		}
		require.Equal(m.t, m.fileStands(v, d), got[d.device], "%s: the file of %s: %s, written %s, ledger %v", m.what, d, v.file[d.device], v.wrote[d.device], is.versions)
		if _, in := v.file[d.device]; in && is.gone {
			require.Equal(m.t, known.Behind, aboardNow[d.device], "%s: the file has %s, which is gone", m.what, d)
		}
	}
	m.compareHints(v, file, differs)
}

// compareHints asks which vessels have to be looked at before plans are made for all:
// none that differs, or may have to be read first, may be missing.
func (m *month) compareHints(v *van, file *manifest.Vessel, differs []known.FileDiffers) {
	t := m.t
	doubtful, err := audit.Doubtful(ctx, v.ledger)
	require.NoError(t, err)
	otherwise, err := audit.Otherwise(ctx, v.ledger, []*manifest.Vessel{file})
	require.NoError(t, err)
	if len(differs) > 0 {
		require.Contains(t, append(doubtful, otherwise...), fileOf, "%s: a file that differs: %v", m.what, differs)
	}
	for _, d := range monthDevices {
		is := m.state(v, d, time.Time{})
		lost := slices.ContainsFunc(is.claims, func(c claim) bool { return c.lost }) && !is.certain() && !is.gone
		if len(is.versions) > 1 || lost {
			require.Contains(t, doubtful, d.vessel, "%s: %s may have to be read", m.what, d)
		}
	}
}

// compareEvents counts what an export holds.
func (m *month) compareEvents(v *van) {
	n := 0
	require.NoError(m.t, audit.Events(ctx, v.ledger, "", none, func(ledger.Event) error { n++; return nil }))
	require.Equal(m.t, len(v.has)+len(v.fixes), n, "%s: events exported", m.what)
	stand, lifted, err := audit.WithdrawnAndLifted(ctx, v.ledger)
	require.NoError(m.t, err)
	want := m.those(v, time.Time{}, func(h *happening) bool { return h.withdraws.model != "" })
	require.Len(m.t, stand, len(want), "%s: withdrawals", m.what)
	took := 0
	for k, came := range v.has {
		if h := m.all[k]; h.withdraws.model != "" && m.counts(h.van, came) && m.standing(v, h) == nil {
			took++
		}
	}
	require.Len(m.t, lifted, took, "%s: withdrawals taken back", m.what)
}
