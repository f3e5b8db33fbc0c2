package order

// The same questions put to a general-purpose SAT solver (github.com/go-air/gini
// v1.0.4), as planning within a bounded number of moments: is there an order
// that leads to an end that fits?

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/go-air/gini"
	"github.com/go-air/gini/z"
	"github.com/stretchr/testify/require"

	"cardwright/manifest"
	"cardwright/manifest/version"
)

// satQuestion writes one question in clauses: at each moment each device is on
// one version, and from one moment to the next at most one device is moved.
type satQuestion struct {
	g       *gini.Gini
	shop    *manifest.Shop
	vessel  *manifest.Vessel
	ask     Ask
	moments int
	on      [][]map[version.V]z.Lit // moment, device, version
	moved   [][]map[version.V]z.Lit
	out     [][]z.Lit
}

// satisfiable asks whether an order leads to an end that fits, with device only
// ending on a version when one is given.
func satisfiable(shop *manifest.Shop, vessel *manifest.Vessel, ask Ask, device int, v version.V) bool {
	q := &satQuestion{g: gini.New(), shop: shop, vessel: vessel, ask: ask, moments: 1}
	for _, d := range vessel.Devices {
		q.moments += len(q.versions(d)) - 1
	}
	q.state()
	for t := 0; t+1 < q.moments; t++ {
		q.between(t)
	}
	q.end()
	if v != "" {
		q.clause(q.on[q.moments-1][device][v])
	}
	return q.g.Solve() == 1
}

func (q *satQuestion) clause(ms ...z.Lit) {
	for _, m := range ms {
		q.g.Add(m)
	}
	q.g.Add(z.LitNull)
}

// versions lists what a device can be on: what it runs and what is newer.
func (q *satQuestion) versions(d *manifest.Device) []version.V {
	vs := []version.V{d.Version}
	for _, r := range q.shop.Model(d.Model).Releases {
		if r.Variant == d.Variant && r.Withdrawn == "" && version.Compare(r.Version, d.Version) > 0 {
			vs = append(vs, r.Version)
		}
	}
	return vs
}

func (q *satQuestion) state() {
	for t := range q.moments {
		q.on, q.moved, q.out = append(q.on, nil), append(q.moved, nil), append(q.out, nil)
		for i, d := range q.vessel.Devices {
			q.on[t] = append(q.on[t], map[version.V]z.Lit{})
			q.moved[t] = append(q.moved[t], map[version.V]z.Lit{})
			q.out[t] = append(q.out[t], q.g.Lit())
			var any []z.Lit
			for _, v := range q.versions(d) {
				m := q.g.Lit()
				for _, other := range any {
					q.clause(m.Not(), other.Not())
				}
				q.on[t][i][v], q.moved[t][i][v], any = m, q.g.Lit(), append(any, m)
			}
			q.clause(any...)
			if t == 0 {
				q.clause(q.on[0][i][d.Version])
			}
		}
		q.lacks(t)
	}
}

// lacks says who is out of service when something isn't met yet.
func (q *satQuestion) lacks(t int) {
	q.needs(t, manifest.ByEnd, func(i, j int, running z.Lit, met []z.Lit) {
		suffers := i
		if slices.Contains(q.vessel.Devices[j].Through, q.vessel.Devices[i].ID) {
			suffers = j
		}
		q.clause(append(met, running.Not(), q.out[t][suffers])...)
	})
}

// needs goes through every need of device i's version at a moment that binds
// device j, with what meets it.
func (q *satQuestion) needs(t int, by string, each func(i, j int, running z.Lit, met []z.Lit)) {
	for i, d := range q.vessel.Devices {
		for _, r := range q.shop.Model(d.Model).Releases {
			running, ok := q.on[t][i][r.Version]
			if !ok || r.Variant != d.Variant {
				continue
			}
			for _, n := range r.Needs {
				for j, e := range q.vessel.Devices {
					if n.By == by && e.Model == n.Model {
						each(i, j, running, q.inRange(t, j, n.Version))
					}
				}
			}
		}
	}
}

// inRange are the versions of a range that a device may be on.
func (q *satQuestion) inRange(t, i int, r version.Range) []z.Lit {
	var ms []z.Lit
	for _, v := range q.versions(q.vessel.Devices[i]) {
		if r.Allows(v) {
			ms = append(ms, q.on[t][i][v])
		}
	}
	return ms
}

func (q *satQuestion) between(t int) {
	var all []z.Lit
	for i, d := range q.vessel.Devices {
		for _, v := range q.versions(d) {
			moved := q.moved[t][i][v]
			q.clause(q.on[t+1][i][v].Not(), q.on[t][i][v], moved)
			q.clause(moved.Not(), q.on[t+1][i][v])
			for _, other := range all {
				q.clause(moved.Not(), other.Not())
			}
			all = append(all, moved)
			q.allowed(t, i, v)
		}
	}
}

func (q *satQuestion) allowed(t, i int, v version.V) {
	d := q.vessel.Devices[i]
	m := q.shop.Model(d.Model)
	r := m.Release(v, d.Variant)
	moved := q.moved[t][i][v]
	if r == nil || version.Compare(v, d.Version) == 0 || q.ask.leaves(d.ID) {
		q.clause(moved.Not())
		return
	}
	var from []z.Lit
	for _, u := range q.versions(d) {
		if r.Over.Allows(u) && version.Compare(u, v) < 0 {
			from = append(from, q.on[t][i][u])
		}
	}
	q.clause(append(from, moved.Not())...)
	for _, n := range r.Needs {
		for j, e := range q.vessel.Devices {
			if n.By == manifest.ByStart && e.Model == n.Model {
				q.clause(append(q.inRange(t, j, n.Version), moved.Not())...)
			}
		}
	}
	q.host(t, d, r, moved)
}

func (q *satQuestion) host(t int, d *manifest.Device, r *manifest.Release, moved z.Lit) {
	if len(d.Through) == 0 {
		if q.shop.Model(d.Model).Card == nil {
			q.clause(moved.Not())
		}
		return
	}
	some := []z.Lit{moved.Not()}
	for h, host := range q.vessel.Devices {
		if !slices.Contains(d.Through, host.ID) || q.shop.Model(host.Model).Card == nil {
			continue
		}
		by := q.g.Lit()
		q.clause(append(q.inRange(t, h, r.PassedOnBy), by.Not())...)
		q.clause(by.Not(), q.out[t][h].Not())
		some = append(some, by)
	}
	q.clause(some...)
}

func (q *satQuestion) end() {
	t := q.moments - 1
	q.needs(t, manifest.ByEnd, func(_, _ int, running z.Lit, met []z.Lit) {
		q.clause(append(met, running.Not())...)
	})
	for i, d := range q.vessel.Devices {
		for _, v := range q.versions(d) {
			aim, aimed := q.ask.Aim[d.Model]
			if !d.Hold.Allows(v) || aimed && aim != v {
				q.clause(q.on[t][i][v].Not())
			}
			for j, e := range q.vessel.Devices {
				if e.Model != d.Model || !q.shop.Model(d.Model).Alike || i == j {
					continue
				}
				if same, ok := q.on[t][j][v]; ok {
					q.clause(q.on[t][i][v].Not(), same)
				} else {
					q.clause(q.on[t][i][v].Not())
				}
			}
		}
	}
}

// Property: there is a plan exactly where the SAT solver finds one; and for each
// release of each device, Why says that it is ruled out exactly where the solver
// does.
func TestMakeAgainstSAT(t *testing.T) {
	cases := 3_000
	if testing.Short() {
		cases = 300
	}
	var planned, conflicts, had, ruledOut int
	for seed := range cases {
		r := rand.New(rand.NewPCG(uint64(seed), 4))
		text, _ := randomScene(r, small)
		shop, vessel := scene(text)
		ask := randomAsk(r, vessel)
		plan, err := WhatIf(shop, vessel, ask)
		if _, bad := err.(*BadAsk); bad {
			continue
		}
		name := fmt.Sprintf("seed %d, ask %v\n%s", seed, ask, text)
		require.NoError(t, err, name)
		require.Equal(t, satisfiable(shop, vessel, ask, 0, ""), len(plan.LeftOut) == 0, name)
		if len(plan.LeftOut) > 0 {
			conflicts++
			continue
		}
		planned++
		for i, d := range vessel.Devices {
			reason, err := Why(shop, vessel, ask, d.ID)
			require.NoError(t, err, name)
			for _, n := range reason.Newer {
				if shop.Model(d.Model).Release(n.Version, d.Variant).Withdrawn != "" {
					continue
				}
				found := version.Compare(n.Version, d.Version) > 0 && satisfiable(shop, vessel, ask, i, n.Version)
				require.Equal(t, found, n.Instead != "", "%s on %s: %+v\n%s", d.ID, n.Version, n, name)
				require.Equal(t, found, len(n.Because) == 0, name)
				if found {
					had++
				} else {
					ruledOut++
				}
			}
		}
	}
	t.Logf("%d planned, %d conflicts, %d releases that could be had, %d ruled out", planned, conflicts, had, ruledOut)
	for _, n := range []int{planned, conflicts, ruledOut, 60 * had} { // few could be had
		require.Greater(t, n, cases/20, "the random scenes leave too much untried")
	}
}
