package order

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"cardwright/manifest"
	"cardwright/manifest/version"
)

// randomScene writes a small shop and vessel, dense with rules.
func randomScene(r *rand.Rand, most int) (text string, top int) {
	models := 1 + r.IntN(most-1)
	versions := 2 + r.IntN(3)
	devices := 1 + r.IntN(most)
	if versions == 4 {
		devices = min(devices, 3)
	}
	var b strings.Builder
	chance := func(percent int) bool { return r.IntN(100) < percent }
	model := func() int { return r.IntN(models) }
	upper := r.IntN(60) // how often a range has an upper bound
	bound := func() string {
		v := 1 + r.IntN(versions)
		if chance(upper) {
			return fmt.Sprintf("%s %d", []string{"<", "<=", "="}[r.IntN(3)], v)
		}
		if chance(10) {
			return fmt.Sprintf(">= %d, <= %d", v, v+r.IntN(2))
		}
		return fmt.Sprintf("%s %d", []string{">=", ">"}[r.IntN(2)], v)
	}
	needs := r.IntN(70)
	connected := r.IntN(3) // devices of this parity may be updated through others; 2: none
	for m := range models {
		fmt.Fprintf(&b, "model m%d", m)
		if chance(85) {
			b.WriteString(" card")
		}
		for _, word := range []string{"alike", "alone", "powerup"} {
			if chance(20) {
				b.WriteString(" " + word)
			}
		}
		if chance(30) {
			b.WriteString(" kind[chart display]")
		}
		if chance(20) {
			b.WriteString(" folder[/update]")
		}
		if chance(10) {
			b.WriteString(" small")
		}
		b.WriteString("\n")
		for v := 1; v <= versions; v++ {
			for _, variant := range []string{"", "EU"} {
				if !chance(map[string]int{"": 85, "EU": 15}[variant]) {
					continue
				}
				fmt.Fprintf(&b, "%d", v)
				if variant != "" {
					fmt.Fprintf(&b, " variant[%s]", variant)
				}
				if chance(30) {
					fmt.Fprintf(&b, " over[%s]", bound())
				}
				for range 2 {
					if chance(needs) {
						fmt.Fprintf(&b, " needs[m%d %s by %s]", model(), bound(), []string{"start", "end", "end"}[r.IntN(3)])
					}
				}
				if chance(40) {
					fmt.Fprintf(&b, " passed[%s]", bound())
				}
				if chance(8) {
					b.WriteString(" withdrawn[it fails]")
				}
				if chance(30) {
					b.WriteString(" samefile")
				}
				b.WriteString("\n")
			}
		}
	}
	for d := range devices {
		fmt.Fprintf(&b, "device d%d m%d %d", d, model(), 1+r.IntN(versions)*r.IntN(2))
		if chance(15) {
			fmt.Fprintf(&b, " hold[%s]", bound())
		}
		if chance(12) {
			b.WriteString(" variant[EU]")
		}
		if hosts := r.Perm(devices)[:r.IntN(devices)]; d%2 == connected {
			hosts = slices.DeleteFunc(hosts, func(h int) bool { return h%2 == connected }) // no chains
			if len(hosts) > 0 {
				fmt.Fprintf(&b, " through[%s]", deviceIDs(hosts))
			}
		}
		b.WriteString("\n")
	}
	return b.String(), 2*versions + 3
}

func deviceIDs(numbers []int) string {
	var ids []string
	for _, n := range numbers {
		ids = append(ids, fmt.Sprintf("d%d", n))
	}
	return strings.Join(ids, " ")
}

func randomAsk(r *rand.Rand, vessel *manifest.Vessel) Ask {
	a := Ask{}
	for _, d := range vessel.Devices {
		switch r.IntN(24) {
		case 0:
			a.Hold = append(a.Hold, d.ID)
		case 1:
			a.Only = append(a.Only, d.ID)
		case 2, 3:
			a.Aim = map[string]version.V{d.Model: version.V(fmt.Sprint(1 + r.IntN(4)))}
		}
	}
	return a
}

// Property: the plan is the oracle's, step by step; a conflict is the oracle's
// too, and minimal. The judge is the brute force of oracle_test.go.
func TestMakeAgainstOracle(t *testing.T) {
	againstOracle(t, 1, 22_000, 4, standard)
}

// The same for more devices, whose orders are longer.
func TestMakeAgainstOracleAtLength(t *testing.T) {
	againstOracle(t, 2, 600, 6, standard)
}

// The same where every state is gone through as soon as the newest end has no
// order.
func TestMakeAgainstOracleWithoutPatience(t *testing.T) {
	impatient := standard
	impatient.patience = 1
	againstOracle(t, 3, 2_000, 4, impatient)
}

// tally counts what the random scenes came to, so that none of it goes untried.
type tally struct {
	steps, nothing, conflicts, refused    int
	through, out, swaps, stones, nextBest int
}

func againstOracle(t *testing.T, stream uint64, cases, most int, limits limits) {
	t.Helper()
	if testing.Short() {
		cases /= 10
	}
	var n tally
	for seed := range cases {
		r := rand.New(rand.NewPCG(uint64(seed), stream))
		text, top := randomScene(r, most)
		shop, vessel := scene(text)
		ask := randomAsk(r, vessel)
		o := &oracle{shop: shop, vessel: vessel, ask: ask, top: top}
		plan, err := bounded(shop, vessel, ask, limits)
		if _, bad := err.(*BadAsk); bad {
			n.refused++
			continue
		}
		name := fmt.Sprintf("seed %d, ask %v\n%s", seed, ask, text)
		require.NoError(t, err, name)
		end := o.newest()
		if end == nil {
			n.conflicts++
			require.NotNil(t, plan.Conflict, name)
			if len(vessel.Devices) <= 4 { // more would take the oracle minutes
				checkConflict(t, o, plan.Conflict, name)
			}
			continue
		}
		require.Nil(t, plan.Conflict, name)
		best := o.best(end)
		require.Equal(t, o.tell(best), short(plan), name)
		checkWindows(t, o, plan, name)
		n.count(plan, best)
	}
	t.Logf("%+v", n)
	for _, count := range []int{n.steps, n.nothing, n.conflicts, n.through, n.out, n.swaps, n.stones, n.nextBest} {
		require.Greater(t, count, cases/100, "the random scenes leave too much untried: %+v", n)
	}
}

func (n *tally) count(plan Plan, best route) {
	if len(plan.Steps) == 0 {
		n.nothing++
		return
	}
	n.steps++
	devices := map[string]bool{}
	for _, s := range plan.Steps {
		if s.Through != "" {
			n.through++
		}
		devices[s.Device] = true
	}
	if len(devices) < len(plan.Steps) {
		n.stones++
	}
	if len(plan.OutOfService) > 0 {
		n.out++
	}
	if best.swaps > 0 {
		n.swaps++
	}
	if slices.ContainsFunc(plan.Notes, func(s string) bool { return strings.Contains(s, "the newest") }) {
		n.nextBest++
	}
}

// tell writes a route as short writes a plan.
func (o *oracle) tell(r route) string {
	now := map[int]string{}
	var parts []string
	for _, st := range r.steps {
		d := o.vessel.Devices[st.device]
		from, ok := now[st.device]
		if !ok {
			from = string(d.Version)
		}
		now[st.device] = fmt.Sprint(st.to / 2)
		part := fmt.Sprintf("%s %s>%d", d.ID, from, st.to/2)
		if st.through != "" {
			part += " through " + st.through
		}
		parts = append(parts, part)
	}
	return strings.Join(parts, ", ")
}

// checkWindows replays a plan and compares who is out of service, step by step.
func checkWindows(t *testing.T, o *oracle, plan Plan, name string) {
	t.Helper()
	s := o.starts()[0]
	for n := 0; n <= len(plan.Steps); n++ {
		if n > 0 {
			i := slices.IndexFunc(o.vessel.Devices, func(d *manifest.Device) bool { return d.ID == plan.Steps[n-1].Device })
			to := number(plan.Steps[n-1].To)
			require.Contains(t, o.ways(s, i, to), plan.Steps[n-1].Through, name)
			s = after(s, step{device: i, to: to})
		}
		for i, d := range o.vessel.Devices {
			said := slices.ContainsFunc(plan.OutOfService, func(w OutOfService) bool {
				return w.Device == d.ID && (w.FromStep <= n || n == 0 && w.FromStep == 1 && o.out(s, i)) && n < w.ToStep
			})
			require.Equal(t, o.out(s, i), said, "%s after step %d: %v\n%s", d.ID, n, plan.OutOfService, name)
		}
	}
	require.True(t, o.mayEnd(s), name)
}

// checkConflict strikes all but the conflict's facts: nothing is left; with any
// one of them struck too, something is.
func checkConflict(t *testing.T, o *oracle, c *Conflict, name string) {
	t.Helper()
	alone := *o
	alone.struck = map[factKey]bool{}
	for _, key := range o.facts() {
		alone.struck[key] = true
	}
	for _, f := range c.Because {
		require.Contains(t, alone.struck, factOf(f), name)
		delete(alone.struck, factOf(f))
	}
	require.Empty(t, alone.ends(true), "%v alone rule nothing out\n%s", c.Because, name)
	for _, f := range c.Because {
		alone.struck[factOf(f)] = true
		require.NotEmpty(t, alone.ends(true), "%v is not needed among %v\n%s", f, c.Because, name)
		delete(alone.struck, factOf(f))
	}
}

func factOf(f Fact) factKey {
	if f.Kind == KindAsked {
		return askedKey(f.Fact)
	}
	return keyOf(f.Kind, f.At)
}
