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

// shape says what random scenes are dense with, in percent.
type shape struct {
	devices, models, versions  int // at most
	over, needs, start, hosted int
	upper                      int  // ranges with an upper bound, at most
	ownModels                  bool // each device is of a model of its own
	back                       int  // releases that there is a way back from
	updated                    bool // devices run new releases
	routes                     int  // models that no card updates
}

// randomScene writes a small shop and vessel, dense with rules.
func randomScene(r *rand.Rand, want shape) (text string, top int) {
	w := &randomWriter{Rand: r, shape: want}
	w.devices = 1 + r.IntN(want.devices)
	w.models = 1 + r.IntN(want.models)
	w.versions = 2 + r.IntN(want.versions-1)
	if w.ownModels {
		w.devices = want.devices
		w.models = w.devices
	}
	if w.versions == 4 {
		w.devices = min(w.devices, 3) // the oracle goes through everything
	}
	w.upper = r.IntN(want.upper + 1)
	w.needs = r.IntN(want.needs + 1)
	for m := range w.models {
		w.model(m)
	}
	connected := 2 // devices of this parity may be updated through others; 2: none
	if w.chance(w.hosted) {
		connected = r.IntN(2)
	}
	for d := range w.devices {
		w.device(d, d%2 == connected)
	}
	return w.String(), 2*w.versions + 3
}

type randomWriter struct {
	*rand.Rand
	shape
	strings.Builder
}

func (w *randomWriter) chance(percent int) bool { return w.IntN(100) < percent }

func (w *randomWriter) writef(format string, args ...any) { fmt.Fprintf(w, format, args...) }

func (w *randomWriter) bound() string {
	v := 1 + w.IntN(w.versions)
	if w.chance(w.upper) {
		return fmt.Sprintf("%s %d", []string{"<", "<=", "="}[w.IntN(3)], v)
	}
	if w.chance(10) {
		return fmt.Sprintf(">= %d, <= %d", v, v+w.IntN(2))
	}
	return fmt.Sprintf("%s %d", []string{">=", ">"}[w.IntN(2)], v)
}

func (w *randomWriter) model(m int) {
	w.writef("model m%d", m)
	for word, percent := range ordered(map[string]int{
		"card": 85, "alike": 20, "alone": 20, "powerup": 20, "folder[/update]": 20, "small": 10,
		"kind[chart display]": 30, "kind[autopilot computer]": 15, "kind[transponder]": 15,
	}) {
		if w.chance(percent) {
			w.writef(" %s", word)
		}
	}
	if w.routes > 0 && w.chance(w.routes) {
		w.writef(" route[%s]", manifest.Routes[w.IntN(len(manifest.Routes))])
	}
	w.writef("\n")
	for v := 1; v <= w.versions; v++ {
		if w.chance(85) {
			w.release(v, "")
		}
		if w.chance(15) {
			w.release(v, "EU")
		}
	}
}

func (w *randomWriter) release(v int, variant string) {
	w.writef("%d", v)
	if variant != "" {
		w.writef(" variant[%s]", variant)
	}
	if w.chance(w.over) {
		w.writef(" over[%s]", w.bound())
	}
	for range 2 {
		if w.chance(w.needs) {
			by := manifest.ByEnd
			if w.chance(w.start) {
				by = manifest.ByStart
			}
			w.writef(" needs[m%d %s by %s]", w.IntN(w.models), w.bound(), by)
		}
	}
	if w.chance(40) {
		w.writef(" passed[%s]", w.bound())
	}
	if w.chance(8) {
		w.writef(" withdrawn[it fails]")
	}
	if w.chance(30) {
		w.writef(" samefile")
	}
	switch {
	case w.chance(30) && !(w.updated && w.chance(80)):
		w.writef(" noback")
	case w.chance(w.back):
		w.writef(" back")
	case w.chance(w.back):
		w.writef(" back[%s]", w.bound())
	}
	if w.chance(80) {
		w.writef(" minutes[%d]", 1+w.IntN(30))
	}
	w.writef("\n")
}

func (w *randomWriter) device(d int, connected bool) {
	model := w.IntN(w.models)
	if w.ownModels {
		model = d
	}
	runs := 1 + w.IntN(w.versions)*w.IntN(2)
	if w.updated {
		runs = w.versions + 1 - runs
	}
	w.writef("device d%d m%d %d", d, model, runs)
	if w.chance(15) {
		w.writef(" hold[%s]", w.bound())
	}
	if w.chance(12) {
		w.writef(" variant[EU]")
	}
	hosts := w.Perm(w.devices)[:w.IntN(w.devices)]
	hosts = slices.DeleteFunc(hosts, func(h int) bool { return h%2 == d%2 }) // no chains
	if connected && len(hosts) > 0 {
		w.writef(" through[%s]", deviceIDs(hosts))
	}
	w.writef("\n")
}

func deviceIDs(numbers []int) string {
	var ids []string
	for _, n := range numbers {
		ids = append(ids, fmt.Sprintf("d%d", n))
	}
	return strings.Join(ids, " ")
}

// randomReturns ask some devices to go back.
func randomReturns(r *rand.Rand, vessel *manifest.Vessel) (all []Return) {
	for _, d := range vessel.Devices {
		if r.IntN(3) > 0 && len(all) > 0 {
			continue
		}
		back := Return{Device: d.ID, Why: []string{"", "the picture flickers"}[r.IntN(2)]}
		if r.IntN(2) == 0 {
			back.To = version.V(fmt.Sprint(1 + r.IntN(3)))
		}
		all = append(all, back)
	}
	return all
}

func randomAsk(r *rand.Rand, vessel *manifest.Vessel) Ask {
	a := Ask{}
	switch r.IntN(16) {
	case 0:
		a.Earlier = UnsaidGoesBack
	case 1:
		a.Earlier = SwapsOnly
	}
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

var small = shape{devices: 4, models: 3, versions: 4, over: 30, needs: 70, start: 33, hosted: 66, upper: 60}

// Property: the plan is the oracle's, step by step; a conflict is the oracle's
// too, and minimal. The judge is the brute force of oracle_test.go.
func TestMakeAgainstOracle(t *testing.T) {
	againstOracle(t, 1, 8_000, small, standard).isVaried(t)
}

// The same for more devices, whose orders are longer.
func TestMakeAgainstOracleAtLength(t *testing.T) {
	long := small
	long.devices, long.models = 6, 5
	againstOracle(t, 2, 1_200, long, standard).isVaried(t)
}

// The same where many models are updated without a card, or not at all.
func TestMakeAgainstOracleWithRoutes(t *testing.T) {
	routes := small
	routes.routes = 50
	n := againstOracle(t, 8, 4_000, routes, standard)
	require.Greater(t, n.routes, n.cases/100, "the random scenes leave too much untried")
}

// The same where every state is gone through as soon as the newest end has no
// order.
func TestMakeAgainstOracleWithoutPatience(t *testing.T) {
	impatient := standard
	impatient.ends = 1
	againstOracle(t, 3, 2_000, dense, impatient)
}

// The same where many ends that fit have no order.
func TestMakeAgainstOracleDense(t *testing.T) {
	againstOracle(t, 5, 4_000, dense, standard)
}

var dense = shape{devices: 4, models: 4, versions: 3, over: 10, needs: 95, start: 80, hosted: 0, upper: 80, ownModels: true}

// The same where two devices have many stepping stones.
func TestMakeAgainstOracleWithStones(t *testing.T) {
	stones := shape{devices: 2, models: 2, versions: 7, over: 80, needs: 60, start: 80, hosted: 30, upper: 60}
	againstOracle(t, 6, 4_000, stones, standard)
}

// The same where most devices are updated through others that may be out of
// service.
func TestMakeAgainstOracleWithHosts(t *testing.T) {
	hosts := shape{devices: 5, models: 4, versions: 3, over: 10, needs: 90, start: 40, hosted: 100, upper: 20}
	againstOracle(t, 7, 2_500, hosts, standard)
}

// tally counts what the random scenes came to, so that none of it goes untried.
type tally struct {
	cases                                 int
	steps, nothing, conflicts, refused    int
	through, out, swaps, stones, nextBest int
	routes                                int
}

func againstOracle(t *testing.T, stream uint64, cases int, want shape, limits limits) tally {
	t.Helper()
	if os.Getenv("DRILL") == "" { // make drill goes through all of them
		cases /= 20
	}
	var n tally
	for seed := range cases {
		r := rand.New(rand.NewPCG(uint64(seed), stream))
		text, top := randomScene(r, want)
		shop, vessel := scene(text)
		ask := randomAsk(r, vessel)
		o := &oracle{shop: shop, vessel: vessel, ask: ask, top: top}
		plan, err := whatIf(shop, vessel, ask, limits)
		if _, bad := err.(*BadAsk); bad {
			n.refused++
			continue
		}
		name := fmt.Sprintf("seed %d, ask %v\n%s", seed, ask, text)
		require.NoError(t, err, name)
		end := o.newest()
		if end == nil {
			n.conflicts++
			checkAround(t, o, plan, name)
			for _, l := range plan.LeftOut {
				if n := len(vessel.Devices); n <= 3 || n == 4 && seed%4 == 0 { // more would take the oracle long
					checkConflict(t, o, l.Conflict, name)
				}
			}
			continue
		}
		require.Empty(t, plan.LeftOut, name)
		best := o.best(end)
		require.Equal(t, o.tell(best), short(plan), name)
		checkWindows(t, o, plan, name)
		n.count(plan, best)
	}
	t.Logf("%+v", n)
	n.cases = cases
	return n
}

// isVaried fails where some of what can come about hardly does.
func (n tally) isVaried(t *testing.T) {
	for _, count := range []int{n.steps, n.nothing, n.conflicts, n.through, n.out, n.swaps, n.stones, n.nextBest} {
		require.Greater(t, count, n.cases/200, "the random scenes leave too much untried: %+v", n)
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
		if s.Route != "" {
			n.routes++
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
		if n > 0 {
			require.Equal(t, o.fits(s), plan.Steps[n-1].Stop, "safe to stop after step %d\n%s", n, name)
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

// fits reports whether nothing is out of service and what must be alike is.
func (o *oracle) fits(s []int) bool {
	for i, d := range o.vessel.Devices {
		if o.out(s, i) {
			return false
		}
		for j, e := range o.vessel.Devices {
			if e.Model == d.Model && o.shop.Model(d.Model).Alike && s[i] != s[j] {
				return false
			}
		}
	}
	return true
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
