package order

import (
	"fmt"
	"math/rand/v2"
	"os"
	"slices"
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
		ask.Around = true
		name := fmt.Sprintf("seed %d, ask %v\n%s", seed, ask, text)
		plan, err := WhatIf(shop, vessel, ask)
		if _, bad := err.(*BadAsk); bad {
			continue
		}
		require.NoError(t, err, name)
		require.Nil(t, plan.Conflict, name)
		var out []string
		for _, l := range plan.LeftOut {
			out = append(out, l.Devices...)
			if require.NotEqual(t, l.Conflict == nil, len(l.Unknown) == 0, name); l.Conflict == nil {
				unknown++
				continue
			}
			alone := &oracle{shop: shop, vessel: having(vessel, func(id string) bool { return slices.Contains(l.Devices, id) }), ask: ask, top: top}
			require.Nil(t, alone.newest(), name)
		}
		if len(out) == 0 {
			continue
		}
		around++
		rest := &oracle{shop: shop, vessel: having(vessel, func(id string) bool { return !slices.Contains(out, id) }), ask: ask, top: top}
		end := rest.newest()
		require.NotNil(t, end, name)
		require.Equal(t, rest.tell(rest.best(end)), short(plan), name)
		steps += len(plan.Steps)
	}
	t.Logf("%d plans around something, %d of them around an unknown version, %d steps", around, unknown, steps)
	for _, n := range []int{around, unknown, steps} {
		require.Greater(t, n, cases/50, "the random scenes leave too much untried")
	}
}

// having is a vessel with some of its devices.
func having(v *manifest.Vessel, has func(id string) bool) *manifest.Vessel {
	some := *v
	some.Devices = slices.DeleteFunc(slices.Clone(v.Devices), func(d *manifest.Device) bool { return !has(d.ID) })
	return &some
}
