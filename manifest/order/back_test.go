package order

import (
	"fmt"
	"math/rand/v2"
	"os"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"cardwright/manifest"
	"cardwright/manifest/version"
)

// The worked examples are our own; the rules they follow are in doc.go.
func TestWayBackWorkedExamples(t *testing.T) {
	const boat = `
		model plot card
		3.1
		3.5 back
		4.0 back needs[radar >= 1.8 by end]
		model radar card
		1.6
		1.8 back
		device helm plot 4.0
		device radar radar 1.8`
	for _, c := range []struct {
		name, scene string
		back        []Return
		order       string
	}{
		{"to the newest that there is a way back to", boat, []Return{{Device: "helm"}}, "helm 4.0>3.5"},
		{"to the one that is named", boat, []Return{{Device: "helm", To: "3.1"}}, "helm 4.0>3.1"},
		{"what no longer fits goes back too", boat, []Return{{Device: "radar"}}, "helm 4.0>3.5, radar 1.8>1.6"},
		{"several", boat, []Return{{Device: "radar", To: "1.6"}, {Device: "helm", To: "3.1"}}, "helm 4.0>3.1, radar 1.8>1.6"},
		{"only where the maker says that the way leads", `
			model plot card
			3.1
			3.5
			4.0 back[< 3.5]
			device helm plot 4.0`, []Return{{Device: "helm"}}, "helm 4.0>3.1"},
		{"over a stone", `
			model plot card
			3.1
			3.5 back
			4.0 back[>= 3.5]
			device helm plot 4.0`, []Return{{Device: "helm", To: "3.1"}}, "helm 4.0>3.5, helm 3.5>3.1"},
		{"a withdrawn release by name, with why", `
			model plot card
			3.1 withdrawn[charts vanish]
			4.0 back
			device helm plot 4.0`, []Return{{Device: "helm", To: "3.1", Why: "the maker's service says so"}}, "helm 4.0>3.1"},
		{"through a host", `
			model plot card passes[radar]
			4.0
			model radar
			1.6
			1.8 back
			device helm plot 4.0
			device radar radar 1.8 through[helm]`, []Return{{Device: "radar"}}, "radar 1.8>1.6 through helm"},
		{"whatever else isn't right aboard", `
			model plot card
			3.1
			4.0 back
			model pilot card
			5.0 needs[rudder >= 2 by end]
			model rudder card
			1
			device helm plot 4.0
			device pilot pilot 5.0
			device rudder rudder 1
			device sounder rudder unknown`, []Return{{Device: "helm"}}, "helm 4.0>3.1"},
	} {
		t.Run(c.name, func(t *testing.T) {
			shop, vessel := scene(c.scene)
			plan, err := WhatIf(shop, vessel, Ask{Back: c.back})
			require.NoError(t, err)
			require.Nil(t, plan.Conflict)
			assert.Equal(t, c.order, short(plan))
			assert.True(t, plan.WayBack)
		})
	}
}

func TestNoWayBack(t *testing.T) {
	for _, c := range []struct{ name, scene, want string }{
		{"the maker gives none", "model plot card\n3.1\n4.0 noback\ndevice helm plot 4.0", "plot 4.0 has no way back to an older release"},
		{"the maker doesn't say", "model plot card\n3.1\n4.0\ndevice helm plot 4.0", "the maker doesn't say whether there is a way back from plot 4.0"},
		{"a release that nobody knows", "model plot card\n3.1\ndevice helm plot 4.0", "the catalogue doesn't know plot 4.0, which helm runs, nor a way back from it"},
		{"a hold", "model plot card\n3.1\n4.0 back\ndevice helm plot 4.0 hold[>= 4]", "helm is held to >= 4"},
		{"a withdrawn one that nobody named", "model plot card\n3.1 withdrawn[charts vanish]\n4.0 back\ndevice helm plot 4.0", "plot 3.1 was withdrawn: charts vanish"},
	} {
		t.Run(c.name, func(t *testing.T) {
			shop, vessel := scene(c.scene)
			plan, err := WhatIf(shop, vessel, Ask{Back: []Return{{Device: "helm"}}})
			require.NoError(t, err)
			require.NotNil(t, plan.Conflict)
			assert.True(t, slices.ContainsFunc(plan.Conflict.Because, func(f Fact) bool { return f.Fact == c.want }), "%v", plan.Conflict.Because)
		})
	}
}

func TestWayBackAsksForWhatThereIs(t *testing.T) {
	shop, vessel := scene("model plot card\n3.0 withdrawn[charts vanish]\n3.1\n4.0 back\ndevice helm plot 4.0")
	for want, back := range map[string][]Return{
		`vessel kittiwake has no device "hlem"; it has helm`:                                    {{Device: "hlem"}},
		"helm is named twice":                                                                   {{Device: "helm"}, {Device: "helm", To: "3.1"}},
		"helm runs 4.0: 4.0 is no way back from it":                                             {{Device: "helm", To: "4.0"}},
		"the catalogue has no package of plot 2.0 for helm; of older releases it has 3.0, 3.1":  {{Device: "helm", To: "2.0"}},
		"plot 3.0 was withdrawn: charts vanish (scene:2); it is no way back unless you say why": {{Device: "helm", To: "3.0"}},
	} {
		_, err := WhatIf(shop, vessel, Ask{Back: back})
		assert.EqualError(t, err, want)
	}
	_, err := WhatIf(shop, vessel, Ask{Back: []Return{{Device: "helm"}}, Aim: map[string]version.V{"plot": "3.1"}})
	assert.ErrorContains(t, err, "a way back is planned by itself")
}

func TestWayBackWaitsForAReading(t *testing.T) {
	shop, vessel := scene("model plot card\n3.1\n4.0 back needs[radar >= 1.8 by end]\nmodel radar card\n1.6\n1.8\ndevice helm plot 4.0\ndevice radar radar unknown")
	plan, err := WhatIf(shop, vessel, Ask{Back: []Return{{Device: "helm"}}})
	var unread *Unread
	require.ErrorAs(t, err, &unread)
	assert.Equal(t, "radar", plan.Unknown[0].Device)
	require.Len(t, plan.Answers, 2)
	assert.Equal(t, "helm 4.0>3.1", short(plan.Answers[0].Then))
}

// Property: a way back is the oracle's, step by step; where there is none the
// conflict is the oracle's too, and minimal.
func TestWayBackAgainstOracle(t *testing.T) {
	cases := 12_000
	if os.Getenv("DRILL") == "" {
		cases /= 4
	}
	want := shape{devices: 4, models: 3, versions: 4, over: 15, needs: 70, start: 25, hosted: 50, upper: 40, back: 90, updated: true}
	var done, none, several, stones, withdrawn, refused, through int
	for seed := range cases {
		r := rand.New(rand.NewPCG(uint64(seed), 11))
		text, top := randomScene(r, want)
		shop, vessel := scene(text)
		ask := Ask{Back: randomReturns(r, vessel)}
		if r.IntN(6) == 0 {
			ask.Hold = []string{vessel.Devices[len(vessel.Devices)-1].ID}
		}
		name := fmt.Sprintf("seed %d, ask %+v\n%s", seed, ask, text)
		plan, err := whatIf(shop, vessel, ask, standard)
		if _, bad := err.(*BadAsk); bad {
			refused++
			continue
		}
		require.NoError(t, err, name)
		o := connectedOnly(&oracle{shop: shop, vessel: vessel, ask: ask, top: top})
		end := o.newest()
		if end == nil {
			none++
			require.NotNil(t, plan.Conflict, name)
			if len(vessel.Devices) <= 3 {
				checkConflict(t, o, plan.Conflict, name)
			}
			continue
		}
		require.Nil(t, plan.Conflict, name)
		best := o.best(end)
		require.Equal(t, o.tell(best), short(plan), name)
		checkWindows(t, o, plan, name)
		done++
		devices := map[string]bool{}
		for _, s := range plan.Steps {
			stones += b2i(devices[s.Device])
			devices[s.Device] = true
			through += b2i(s.Through != "")
			withdrawn += b2i(shop.Model(s.Model).Release(s.To, vessel.Device(s.Device).Variant).Withdrawn != "")
		}
		several += b2i(len(devices) > len(ask.Back))
	}
	t.Logf("%d done, %d none, %d refused; %d with others, %d stones, %d withdrawn, %d through", done, none, refused, several, stones, withdrawn, through)
	for _, n := range []int{done, none, refused, several, stones, withdrawn, through} {
		require.Positive(t, n, "the random scenes leave too much untried")
	}
}

func b2i(b bool) int {
	if b {
		return 1
	}
	return 0
}

// connectedOnly leaves out what has nothing to do with the devices that go back: it
// stays as it is, whether it fits or not. What is connected is worked out here
// from the rules, one device after the other.
func connectedOnly(o *oracle) *oracle {
	in := map[string]bool{}
	for _, b := range o.ask.Back {
		in[b.Device] = true
	}
	mayRun := func(d *manifest.Device, r *manifest.Release) bool {
		return r.Variant == d.Variant && number(r.Version) <= number(d.Version)
	}
	bears := func(d, e *manifest.Device) bool {
		if slices.Contains(d.Through, e.ID) || d.Model == e.Model && o.shop.Model(d.Model).Alike {
			return true
		}
		for _, r := range o.shop.Model(d.Model).Releases {
			if mayRun(d, r) && slices.ContainsFunc(r.Needs, func(n *manifest.Need) bool { return n.Model == e.Model }) {
				return true
			}
		}
		return false
	}
	for again := true; again; {
		again = false
		for _, d := range o.vessel.Devices {
			for _, e := range o.vessel.Devices {
				if in[d.ID] && !in[e.ID] && (bears(d, e) || bears(e, d)) {
					in[e.ID], again = true, true
				}
			}
		}
	}
	connected := *o
	connected.vessel = having(o.vessel, func(id string) bool { return in[id] })
	return &connected
}

// Property: what a plan says of the way back from each of its steps is what the
// oracle allows in the state that the step leaves.
func TestStepsWaysBackAgainstOracle(t *testing.T) {
	cases := 4_000
	if os.Getenv("DRILL") == "" {
		cases /= 10
	}
	want := small
	want.back = 70
	there, none := 0, 0
	for seed := range cases {
		r := rand.New(rand.NewPCG(uint64(seed), 12))
		text, top := randomScene(r, want)
		shop, vessel := scene(text)
		plan, err := Make(shop, vessel)
		require.NoError(t, err, text)
		o := &oracle{shop: shop, vessel: vessel, top: top}
		s := o.starts()[0]
		for _, p := range plan.Steps {
			i := slices.IndexFunc(vessel.Devices, func(d *manifest.Device) bool { return d.ID == p.Device })
			from := s[i]
			s = after(s, step{device: i, to: number(p.To)})
			ways := o.ways(s, i, from)
			name := fmt.Sprintf("seed %d, step %d: %+v\n%s", seed, p.Number, *p.Back, text)
			if p.Back.To == "" {
				none++
				require.Empty(t, ways, name)
				require.NotEmpty(t, p.Back.None, name)
				continue
			}
			there++
			require.NotEmpty(t, ways, name)
			require.Equal(t, ways[0], p.Back.Through, name)
			require.Equal(t, p.From, p.Back.To, name)
		}
	}
	t.Logf("%d there, %d none", there, none)
	require.Greater(t, min(there, none), cases/20)
}
