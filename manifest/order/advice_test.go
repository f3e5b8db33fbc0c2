package order

import (
	"fmt"
	"math/rand/v2"
	"os"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"cardwright/manifest"
	"cardwright/manifest/version"
)

// Property: what a conflict is said to be freed by frees it. Each advice is
// followed in the shop's and the vessel's own files (here: types), and the oracle,
// which knows nothing of the planner, finds an end then. No advice names a
// withdrawn release.
func TestEveryAdviceFrees(t *testing.T) {
	cases, followed := 12_000, map[string]int{}
	if os.Getenv("DRILL") == "" { // make drill goes through all of them
		cases /= 20
	}
	conflicts := 0
	for seed := range cases {
		r := rand.New(rand.NewPCG(uint64(seed), 21))
		text, top := randomScene(r, small)
		shop, vessel := scene(text)
		ask := randomAsk(r, vessel)
		plan, err := WhatIf(shop, vessel, ask)
		if err != nil {
			continue
		}
		for _, l := range plan.LeftOut {
			conflicts++
			for _, advice := range l.Conflict.WouldFree {
				name := fmt.Sprintf("seed %d, ask %v: %s\n%s", seed, ask, advice, text)
				shop, vessel := scene(text)
				follow := follower{shop: shop, vessel: vessel, ask: ask}
				kind := follow.follow(t, advice, name)
				if kind == "" {
					continue // a version between two whole ones, which the oracle's grid hasn't
				}
				followed[kind]++
				o := &oracle{shop: shop, vessel: vessel, ask: follow.ask, top: top}
				for _, id := range l.Devices { // what they are connected with then
					with := o.connected(id)
					alone := *o
					alone.vessel = having(vessel, func(id string) bool { return slices.Contains(with, id) })
					require.NotNil(t, alone.newest(), name)
				}
			}
		}
	}
	t.Logf("%d conflicts, followed %v", conflicts, followed)
	for _, kind := range []string{"lift", "let", "drop", "exchange", "add"} {
		require.Greater(t, followed[kind], cases/2000, "the random scenes leave too much untried: %v", followed)
	}
}

type follower struct {
	shop   *manifest.Shop
	vessel *manifest.Vessel
	ask    Ask
}

var (
	lift     = regexp.MustCompile(`^lift the hold on (\w+) `)
	let      = regexp.MustCompile(`^let (\w+) be updated$`)
	drop     = regexp.MustCompile(`^drop the aim for (\w+) to run \S+$`)
	exchange = regexp.MustCompile(`^exchange (\w+) for one that runs (\d+)$`)
	add      = regexp.MustCompile(`^add to the catalogue a release of (\w+) that fits, (\d+)( \(EU\))?$`)
)

// follow does what an advice says, and gives its kind.
func (f *follower) follow(t *testing.T, advice, name string) string {
	var m []string
	is := func(re *regexp.Regexp) bool { m = re.FindStringSubmatch(advice); return m != nil }
	switch {
	case is(lift):
		f.vessel.Device(m[1]).Hold = nil
		return "lift"
	case is(let):
		var hold []string
		for _, id := range f.ask.Hold {
			if id != m[1] {
				hold = append(hold, id)
			}
		}
		f.ask.Hold = hold
		if len(f.ask.Only) > 0 {
			f.ask.Only = append(f.ask.Only, m[1])
		}
		return "let"
	case is(drop):
		delete(f.ask.Aim, m[1])
		return "drop"
	case is(exchange):
		d := f.vessel.Device(m[1])
		d.Version = version.V(m[2])
		r := f.shop.Model(d.Model).Release(d.Version, d.Variant)
		require.True(t, r == nil || r.Withdrawn == "", "names a withdrawn release: %s", name)
		return "exchange"
	case is(add):
		model := f.shop.Model(m[1])
		variant := strings.Trim(m[3], " ()")
		require.Nil(t, model.Release(version.V(m[2]), variant), name)
		model.Releases = append(model.Releases, &manifest.Release{Version: version.V(m[2]), Variant: variant})
		return "add"
	}
	return ""
}
