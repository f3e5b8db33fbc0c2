package order

import (
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"

	"cardwright/manifest"
)

// Property: the part is safe at its end, is done in the time, and no better one
// is, of all ends that the oracle's orders lead to.
func TestPartAgainstOracle(t *testing.T) {
	cases := 5_000
	if os.Getenv("DRILL") == "" { // make drill goes through all of them
		cases /= 20
	}
	parts, none, whole := 0, 0, 0
	for seed := range cases {
		r := rand.New(rand.NewPCG(uint64(seed), 41))
		few := small
		few.devices, few.versions = 3, 3
		text, top := randomScene(r, few)
		shop, vessel := scene(text)
		for _, c := range manifest.Checks {
			shop.Checks = append(shop.Checks, &manifest.CheckTime{Check: c, Minutes: 1 + r.IntN(9)})
		}
		ask := Ask{Within: 1 + r.IntN(90)}
		name := fmt.Sprintf("seed %d, within %d\n%s", seed, ask.Within, text)
		plan, err := WhatIf(shop, vessel, ask)
		if plan.Conflict != nil {
			continue
		}
		var out []string
		for _, l := range plan.LeftOut {
			out = append(out, l.Devices...)
		}
		vessel = having(vessel, func(id string) bool { return !slices.Contains(out, id) })
		o := &oracle{shop: shop, vessel: vessel, top: top}
		best := o.bestPart(ask.Within)
		var no *NoPart
		if errors.As(err, &no) {
			require.Nil(t, best, name)
			none++
			continue
		}
		require.NoError(t, err, name)
		require.NotNil(t, best, name)
		end := make([]int, len(vessel.Devices))
		for i, d := range vessel.Devices {
			end[i] = number(plan.ends(d))
		}
		require.True(t, o.mayEnd(end), name)
		require.Equal(t, best, append(o.partRank(end), len(plan.Steps)), name)
		require.LessOrEqual(t, plan.Time.Minutes(), ask.Within, name)
		checkWindows(t, o, plan, name)
		if parts++; len(plan.Later) == 0 {
			whole++
		}
	}
	t.Logf("%d parts, %d of them the whole, %d times none", parts, whole, none)
	require.Greater(t, min(parts-whole, none), cases/100)
}

// partRank is what parts are preferred by: devices on withdrawn releases, releases
// behind.
func (o *oracle) partRank(s []int) []int {
	rank := []int{0, 0}
	for i, d := range o.vessel.Devices {
		if r := o.running(d, s[i]); r != nil && r.Withdrawn != "" {
			rank[0]++
		}
	}
	for _, n := range o.behind(s) {
		rank[1] += n
	}
	return rank
}

// bestPart is the least rank, and then steps, of all ends in the time; nil where
// there is none.
func (o *oracle) bestPart(within int) (best []int) {
	for _, end := range o.ends(false) {
		route := o.best(end)
		minutes, known := o.minutes(route.steps)
		if rank := append(o.partRank(end), route.count); known && minutes <= within && (best == nil || slices.Compare(rank, best) < 0) {
			best = rank
		}
	}
	return best
}

// minutes are those of steps with the checks that doc.go and time.go name for the
// kinds of the random scenes.
func (o *oracle) minutes(steps []step) (sum int, known bool) {
	checks := map[manifest.Kind][]string{
		"chart display":      {"settings and waypoints", "position shown", "radar picture", "depth shown"},
		"autopilot computer": {"dockside set-up", "rudder stops and centre", "manual steering"},
		"transponder":        {"targets shown", "position shown"},
	}
	of := map[string]int{}
	for _, c := range o.shop.Checks {
		of[c.Check] = c.Minutes
	}
	seen, pilots := map[int]bool{}, false
	for _, st := range steps {
		d := o.vessel.Devices[st.device]
		r := o.running(d, st.to)
		if r.Minutes == 0 {
			return 0, false
		}
		sum += r.Minutes
		if seen[st.device] {
			continue
		}
		seen[st.device] = true
		kind := o.shop.Model(d.Model).Kind
		pilots = pilots || kind == "autopilot computer"
		for _, c := range checks[kind] {
			sum += of[c]
		}
	}
	if pilots {
		sum += of["compass swing"] + of["heading against course"] + of["automatic tuning"]
	}
	return sum, true
}
