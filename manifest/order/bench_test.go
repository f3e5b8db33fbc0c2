package order

import (
	"errors"
	"fmt"
	"math/rand/v2"
	"runtime"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"cardwright/manifest"
)

// catalogueText writes models with the rules that catalogues have (common
// practice, no source): most releases follow on one another, some want a
// stepping stone, displays want a newer radar by the end, a sensor goes through
// a display, now and then something must not be too new.
func catalogueText(r *rand.Rand, models, releases int) string {
	var b strings.Builder
	for m := range models {
		display := m%4 == 0
		fmt.Fprintf(&b, "model m%d", m)
		switch {
		case display:
			b.WriteString(" card kind[chart display]")
			if m%8 == 0 {
				b.WriteString(" alike powerup")
			}
		case m%4 != 3:
			b.WriteString(" card")
		}
		b.WriteString("\n")
		for v := 1; v <= releases; v++ {
			fmt.Fprintf(&b, "%d minutes[10]", v)
			if v > 2 && r.IntN(3) == 0 {
				fmt.Fprintf(&b, " over[>= %d]", v-1-r.IntN(2))
			}
			other := r.IntN(models)
			switch r.IntN(8) {
			case 0, 1:
				fmt.Fprintf(&b, " needs[m%d >= %d by end]", other, max(1, v-r.IntN(3)))
			case 2:
				fmt.Fprintf(&b, " needs[m%d >= %d by start]", other, max(1, v-1-r.IntN(3)))
			case 3:
				fmt.Fprintf(&b, " needs[m%d < %d by end]", other, v+2+r.IntN(3))
			}
			if m%4 == 3 && r.IntN(2) == 0 {
				fmt.Fprintf(&b, " passed[>= %d]", max(1, v-2))
			}
			if r.IntN(20) == 0 {
				b.WriteString(" withdrawn[it fails]")
			}
			b.WriteString("\n")
		}
	}
	return b.String()
}

// vesselText writes devices of such models, with hosts for those that need one.
func vesselText(r *rand.Rand, devices, models, releases int) string {
	var b strings.Builder
	for d := range devices {
		m := r.IntN(models)
		if d < 2 {
			m = 4 * d
		}
		fmt.Fprintf(&b, "device d%d m%d %d", d, m, 1+r.IntN(max(1, releases/2)))
		if m%4 == 3 {
			b.WriteString(" through[d0 d1]")
		}
		if r.IntN(25) == 0 {
			fmt.Fprintf(&b, " hold[< %d]", 4+r.IntN(5))
		}
		b.WriteString("\n")
	}
	return b.String()
}

func realisticScene(seed uint64, devices, models, releases int) (*manifest.Shop, *manifest.Vessel) {
	r := rand.New(rand.NewPCG(seed, 2))
	return scene(catalogueText(r, models, releases) + vesselText(r, devices, models, releases))
}

// denseScene writes rules with upper bounds on half of everything.
func denseScene(seed uint64, devices, releases int) (*manifest.Shop, *manifest.Vessel) {
	r := rand.New(rand.NewPCG(seed, 3))
	var b strings.Builder
	for m := range devices {
		fmt.Fprintf(&b, "model m%d card\n", m)
		for v := 1; v <= releases; v++ {
			fmt.Fprintf(&b, "%d", v)
			for range r.IntN(4) {
				op := []string{"<=", ">=", "<=", "="}[r.IntN(4)]
				fmt.Fprintf(&b, " needs[m%d %s %d by %s]", r.IntN(devices), op, 1+r.IntN(releases), []string{"start", "end"}[r.IntN(2)])
			}
			b.WriteString("\n")
		}
	}
	for d := range devices {
		fmt.Fprintf(&b, "device d%d m%d 1\n", d, d)
	}
	return scene(b.String())
}

// Every plan is replayed by the oracle's rules, which are not the planner's.
func TestRealisticVesselsArePlanned(t *testing.T) {
	for seed := range uint64(10) {
		shop, vessel := realisticScene(seed, 60, 20, 8)
		plan, err := Make(shop, vessel)
		require.NoError(t, err, "seed %d", seed)
		if plan.Conflict == nil {
			checkWindows(t, &oracle{shop: shop, vessel: vessel}, plan, fmt.Sprint("seed ", seed))
		}
	}
}

// The worst that is planned: dense upper bounds. Where the search is given up,
// it says so; that depends on counts alone, so that it is the same everywhere.
func TestDenseVesselsArePlannedOrGivenUp(t *testing.T) {
	cases, gaveUp := uint64(40), 0
	for seed := range cases {
		shop, vessel := denseScene(seed, 12, 6)
		plan, err := Make(shop, vessel)
		var g *GaveUp
		if errors.As(err, &g) {
			gaveUp++
			assert.Contains(t, err.Error(), "gave up without an answer (more than 4000000 tests of rules, or 400000 states) for d0, d1,")
			continue
		}
		require.NoError(t, err)
		require.Nil(t, plan.Conflict)
		checkWindows(t, &oracle{shop: shop, vessel: vessel}, plan, fmt.Sprint("seed ", seed))
	}
	assert.Less(t, gaveUp, int(cases)/5)
	t.Logf("gave up on %d of %d", gaveUp, cases)
}

// The same plan, whatever the order of what expresses no preference.
func TestPlanDoesNotDependOnTheOrderOfTheCatalogue(t *testing.T) {
	for seed := range uint64(5) {
		shop, vessel := realisticScene(seed, 30, 12, 6)
		plan, err := Make(shop, vessel)
		require.NoError(t, err)
		r := rand.New(rand.NewPCG(seed, 9))
		r.Shuffle(len(shop.Models), func(i, j int) { shop.Models[i], shop.Models[j] = shop.Models[j], shop.Models[i] })
		for _, m := range shop.Models {
			r.Shuffle(len(m.Releases), func(i, j int) { m.Releases[i], m.Releases[j] = m.Releases[j], m.Releases[i] })
			for _, rel := range m.Releases {
				r.Shuffle(len(rel.Needs), func(i, j int) { rel.Needs[i], rel.Needs[j] = rel.Needs[j], rel.Needs[i] })
			}
		}
		again, err := Make(shop, vessel)
		require.NoError(t, err)
		require.Equal(t, plan, again, "seed %d", seed)
	}
}

func BenchmarkVessel60Devices20Models8Releases(b *testing.B) {
	var took []time.Duration
	gaveUp := 0
	for i := 0; b.Loop(); i++ {
		shop, vessel := realisticScene(uint64(i%400), 60, 20, 8)
		begin := time.Now()
		_, err := Make(shop, vessel)
		took = append(took, time.Since(begin))
		if err != nil {
			gaveUp++
		}
	}
	b.ReportMetric(ms(median(took)), "median-ms")
	b.ReportMetric(ms(slices.Max(took)), "worst-ms")
	b.ReportMetric(float64(gaveUp)/float64(len(took)), "given-up")
}

func BenchmarkFleet1000Vessels(b *testing.B) {
	r := rand.New(rand.NewPCG(1, 5))
	shop, _ := scene(catalogueText(r, 20, 8))
	for n := range 1000 {
		_, v := scene(vesselText(r, 6+r.IntN(12), 20, 8))
		v.ID = fmt.Sprintf("v%d", n)
		shop.Vessels = append(shop.Vessels, v)
	}
	states := map[State]int{}
	for b.Loop() {
		fleet, err := Fleet(shop, Ask{})
		if err != nil {
			b.Fatal(err)
		}
		for _, s := range fleet {
			states[s.State]++
		}
	}
	for state, n := range states {
		b.ReportMetric(float64(n)/float64(b.N), strings.ReplaceAll(string(state), " ", "-"))
	}
}

func BenchmarkDense12Devices6Releases(b *testing.B) {
	var took []time.Duration
	gaveUp, most := 0, uint64(0)
	for i := 0; b.Loop(); i++ {
		shop, vessel := denseScene(uint64(i%1000), 12, 6)
		begin := time.Now()
		_, err := Make(shop, vessel)
		took = append(took, time.Since(begin))
		if err != nil {
			gaveUp++
		}
		var m runtime.MemStats
		runtime.ReadMemStats(&m)
		most = max(most, m.Sys)
	}
	b.ReportMetric(ms(median(took)), "median-ms")
	b.ReportMetric(ms(slices.Max(took)), "worst-ms")
	b.ReportMetric(float64(gaveUp)/float64(len(took)), "given-up")
	b.ReportMetric(float64(most>>20), "MB-from-system")
}

// BenchmarkGrowth prints how planning grows with the devices aboard.
func BenchmarkGrowth(b *testing.B) {
	for _, kind := range []struct {
		name  string
		sizes []int
		make  func(seed uint64, devices int) (*manifest.Shop, *manifest.Vessel)
	}{
		{"realistic", []int{10, 20, 40, 60, 80, 120, 160, 200}, func(seed uint64, n int) (*manifest.Shop, *manifest.Vessel) {
			return realisticScene(seed, n, 20, 8)
		}},
		{"dense", []int{4, 6, 8, 10, 12, 14, 16}, func(seed uint64, n int) (*manifest.Shop, *manifest.Vessel) {
			return denseScene(seed, n, 6)
		}},
	} {
		b.Run(kind.name, func(b *testing.B) {
			table := "\n  devices   median ms    worst ms    given up\n"
			for b.Loop() {
				for _, n := range kind.sizes {
					table += growthRow(n, kind.make)
				}
			}
			b.Log(table)
		})
	}
}

func growthRow(devices int, scene func(uint64, int) (*manifest.Shop, *manifest.Vessel)) string {
	const seeds = 20
	var took []time.Duration
	gaveUp := 0
	for seed := range uint64(seeds) {
		shop, vessel := scene(seed, devices)
		begin := time.Now()
		_, err := Make(shop, vessel)
		took = append(took, time.Since(begin))
		if err != nil {
			gaveUp++
		}
	}
	return fmt.Sprintf("%9d %11.2f %11.2f %5d of %d\n", devices, ms(median(took)), ms(slices.Max(took)), gaveUp, seeds)
}

func median(ds []time.Duration) time.Duration {
	slices.Sort(ds)
	return ds[len(ds)/2]
}

func ms(d time.Duration) float64 { return float64(d.Microseconds()) / 1000 }
