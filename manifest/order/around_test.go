package order

import (
	"fmt"
	"math/rand/v2"
	"os"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"cardwright/manifest"
	"cardwright/manifest/version"
)

// Property: around what is blocked, the plan is the one that the oracle finds for
// a vessel that has only the other devices; and what is left out can't be planned.
func TestPlanAroundAgainstOracle(t *testing.T) {
	cases := 8_000
	if os.Getenv("DRILL") == "" { // make drill goes through all of them
		cases /= 10
	}
	around, unknown, steps := 0, 0, 0
	for seed := range cases {
		r := rand.New(rand.NewPCG(uint64(seed), 31))
		scattered := small
		scattered.devices, scattered.models, scattered.needs = 5, 5, 40
		text, top := randomScene(r, scattered)
		shop, vessel := scene(text)
		if r.IntN(3) == 0 {
			vessel.Devices[r.IntN(len(vessel.Devices))].Version = version.Unknown
		}
		ask := randomAsk(r, vessel)
		name := fmt.Sprintf("seed %d, ask %v\n%s", seed, ask, text)
		plan, err := WhatIf(shop, vessel, ask)
		if _, bad := err.(*BadAsk); bad {
			continue
		}
		if _, unread := err.(*Unread); !unread {
			require.NoError(t, err, name)
		}
		o := &oracle{shop: shop, vessel: vessel, ask: ask, top: top}
		checkAround(t, o, plan, name)
		for _, l := range plan.LeftOut {
			unknown += len(l.Unknown)
		}
		if len(plan.LeftOut) > 0 {
			around++
			steps += len(plan.Steps)
		}
	}
	t.Logf("%d plans around something, %d of them around an unknown version, %d steps", around, unknown, steps)
	for _, n := range []int{around, unknown, steps} {
		require.Greater(t, n, cases/50, "the random scenes leave too much untried")
	}
}

// More devices than are planned at once, in groups that are not connected: a step
// without a way back still comes after every other group's steps with one.
func TestManyDevicesArePlannedByConnectedGroups(t *testing.T) {
	var b strings.Builder
	const groups = 150
	for g := range groups {
		fmt.Fprintf(&b, "model plot%d card\n1\n2 minutes[5] noback needs[radar%d >= 2 by end]\nmodel radar%d card\n1\n2 minutes[5] back\n", g, g, g)
		fmt.Fprintf(&b, "device helm%d plot%d 1\ndevice radar%d radar%d 1\n", g, g, g, g)
	}
	shop, vessel := scene(b.String())
	plan, err := Make(shop, vessel)
	require.NoError(t, err)
	require.Empty(t, plan.LeftOut)
	require.Empty(t, plan.OutOfService)
	require.Len(t, plan.Steps, 2*groups)
	for i, s := range plan.Steps {
		require.Equal(t, i < groups, strings.HasPrefix(s.Device, "radar"), s.Device)
	}
}

// checkAround holds that what is left out is connected, and with nothing else;
// that it can't be planned; and that the rest is planned as if it were not there.
func checkAround(t *testing.T, o *oracle, plan Plan, name string) {
	t.Helper()
	require.Equal(t, len(plan.Steps) == 0 && slices.ContainsFunc(plan.LeftOut, func(l LeftOut) bool { return l.Conflict != nil }) &&
		len(plan.Unknown) == 0, plan.Conflict != nil, name)
	var out []string
	for _, l := range plan.LeftOut {
		out = append(out, l.Devices...)
		require.Equal(t, o.connected(l.Devices[0]), l.Devices, name)
		if require.NotEqual(t, l.Conflict == nil, len(l.Unknown) == 0, name); l.Conflict == nil {
			require.Equal(t, version.Unknown, o.vessel.Device(l.Unknown[0]).Version, name)
			continue
		}
		alone := *o
		alone.vessel = having(o.vessel, func(id string) bool { return slices.Contains(l.Devices, id) })
		require.Nil(t, alone.newest(), name)
	}
	rest := *o
	rest.vessel = having(o.vessel, func(id string) bool { return !slices.Contains(out, id) })
	end := rest.newest()
	require.NotNil(t, end, name)
	require.Equal(t, rest.tell(rest.best(end)), short(plan), name)
}

// connected are the devices that one is connected with, over others too: by what a
// release asks that either runs or could be given, by how they are updated, or by
// having to be alike.
func (o *oracle) connected(id string) []string {
	all := []string{id}
	for i := 0; i < len(all); i++ {
		a := o.vessel.Device(all[i])
		for _, b := range o.vessel.Devices {
			if !slices.Contains(all, b.ID) && (o.bears(a, b) || o.bears(b, a)) {
				all = append(all, b.ID)
			}
		}
	}
	slices.SortFunc(all, func(a, b string) int {
		return slices.Index(o.vessel.Devices, o.vessel.Device(a)) - slices.Index(o.vessel.Devices, o.vessel.Device(b))
	})
	return all
}

func (o *oracle) bears(a, b *manifest.Device) bool {
	m := o.shop.Model(a.Model)
	if m.Alike && a.Model == b.Model || slices.Contains(a.Through, b.ID) {
		return true
	}
	for _, r := range m.Releases {
		may := a.Version == version.Unknown || number(r.Version) == number(a.Version) ||
			number(r.Version) > number(a.Version) && r.Withdrawn == ""
		if r.Variant == a.Variant && may && slices.ContainsFunc(r.Needs, func(n *manifest.Need) bool { return n.Model == b.Model }) {
			return true
		}
	}
	return false
}

// having is a vessel with some of its devices.
func having(v *manifest.Vessel, has func(id string) bool) *manifest.Vessel {
	some := *v
	some.Devices = slices.DeleteFunc(slices.Clone(v.Devices), func(d *manifest.Device) bool { return !has(d.ID) })
	return &some
}
