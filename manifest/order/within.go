package order

import (
	"fmt"
	"slices"
	"strings"

	"cardwright/manifest"
	"cardwright/manifest/version"
)

// NoPart says that nothing that can be done in the time ends with everything
// fitting together.
type NoPart struct{ Minutes int }

func (e *NoPart) Error() string {
	return fmt.Sprintf("no part of the work is sure to be done in %d minutes with everything fitting together at its end", e.Minutes)
}

// planPart plans what can be done in the time that was asked for. Where the whole
// can't be planned, it gives the whole, which says why.
func (v *visit) planPart() (Plan, error) {
	ask := v.ask
	ask.Within = 0
	whole, err := whatIf(v.shop, v.vessel, ask, v.limits)
	if err != nil || whole.Conflict != nil {
		return whole, err
	}
	v.plan.LeftOut, v.plan.Answers = whole.LeftOut, whole.Answers
	if v.end, err = v.bestPart(v.ask.Within); err != nil {
		return v.plan, err
	}
	if err := v.planAll(); err != nil {
		return v.plan, err
	}
	if v.plan.Time.AtLeast() || v.plan.Time.Minutes() > v.ask.Within {
		return v.plan, &GaveUp{ids(v.vessel.Devices), "in one order with the other devices the part takes longer"}
	}
	var later []string
	for _, d := range v.vessel.Devices {
		if version.Compare(v.plan.ends(d), whole.ends(d)) != 0 {
			later = append(later, fmt.Sprintf("%s to %s", d.ID, whole.ends(d)))
		}
	}
	if len(later) > 0 {
		v.note("warning: this is a PART of the work, what can be done in %d minutes; left for another visit: %s", v.ask.Within, strings.Join(later, ", "))
		v.plan.Later = later
	}
	return v.plan, nil
}

// ending is a state in which a group can end a part of the work, and what that takes.
type ending struct {
	devices   []*manifest.Device
	versions  []version.V
	withdrawn int // devices that run a withdrawn release
	behind    int
	time      Time
	runs      map[string]int // minutes of each check under way
	steps     int
}

// bestPart finds, of the parts that can be done in so many minutes and end with
// everything fitting together, the one that leaves the fewest devices on withdrawn
// releases, then the fewest releases behind; then the shortest, then the first.
func (v *visit) bestPart(minutes int) (map[*manifest.Device]version.V, error) {
	var all [][]ending
	for _, devices := range connectedGroups(v.shop, v.vessel, v.ask) {
		if leftOutOf(v.plan.LeftOut, devices[0].ID) != nil {
			continue
		}
		q := question{shop: v.shop, vessel: v.vessel, devices: devices, ask: v.ask, limits: v.limits}
		ends, ok := q.endings(minutes)
		if !ok {
			return nil, &GaveUp{ids(devices), "too many parts to compare"}
		}
		if len(ends) == 0 {
			return nil, &NoPart{minutes}
		}
		all = append(all, ends)
	}
	c := chooser{all: all, minutes: minutes, left: v.limits.states}
	c.choose(nil)
	switch {
	case c.left < 0:
		return nil, &GaveUp{ids(v.vessel.Devices), "too many parts to compare"}
	case c.best == nil:
		return nil, &NoPart{minutes}
	}
	end := map[*manifest.Device]version.V{}
	for _, e := range c.best {
		for i, d := range e.devices {
			end[d] = e.versions[i]
		}
	}
	return end, nil
}

// endings lists the states that a group can end in within the time, the best
// first. ok is false where there are too many states.
func (q *question) endings(minutes int) (all []ending, ok bool) {
	p := q.problem()
	w := q.limits.work()
	seen := map[string]bool{}
	k := &walker{}
	todo := []state{p.start()}
	seen[k.key(p.start())] = true
	for len(todo) > 0 {
		s := todo[0]
		todo = todo[1:]
		if p.fits(s) {
			if e, ok := q.ending(p, s); ok && len(e.time.Missing) == 0 && e.time.Minutes() <= minutes {
				all = append(all, e)
			}
		}
		for _, next := range p.successors(s, w) {
			if key := k.key(next); !seen[key] {
				seen[key] = true
				w.kept++
				todo = append(todo, next)
			}
		}
		if w.over() || w.kept > maxEndings {
			return nil, false
		}
	}
	slices.SortStableFunc(all, func(a, b ending) int { return slices.Compare(a.rank(), b.rank()) })
	return all, true
}

// maxEndings is the most states of one group that are searched.
const maxEndings = 5_000

func (e ending) rank() []int { return []int{e.withdrawn, e.behind, e.steps} }

// ending is what it takes to end in a state, by the order that would be planned.
func (q *question) ending(p *problem, s state) (e ending, ok bool) {
	o, ok := p.walkTo(s, q.limits.work())
	if !ok || o.target == nil {
		return e, false
	}
	o.walker.work = q.limits.work()
	at := make([]place, len(q.devices))
	for j := range at {
		at[j] = place{0, j}
	}
	a := newArranger([]*groupState{newGroupState(o.walker, o.steps)}, at, false, q.limits)
	moves, _ := a.order()
	if moves == nil {
		return e, false
	}
	var steps []Step
	for _, m := range moves {
		r := p.devices[m.device].options[m.to].release
		steps = append(steps, Step{Device: q.devices[m.device].ID, To: r.Version, Minutes: r.Minutes})
	}
	some := *q.vessel
	some.Devices = q.devices
	e = ending{devices: q.devices, steps: len(steps), behind: p.score(s).sum}
	e.time, e.runs = timeAndRuns(q.shop, &some, steps)
	for i, x := range s {
		o := &p.devices[i].options[x]
		e.versions = append(e.versions, o.version)
		if o.release != nil && o.release.Withdrawn != "" {
			e.withdrawn++
		}
	}
	return e, true
}

// chooser picks an ending for each group.
type chooser struct {
	all     [][]ending
	minutes int
	left    int // choices that may still be tried
	best    []ending
}

func (c *chooser) choose(so []ending) {
	if c.left--; c.left < 0 || c.best != nil && slices.Compare(c.bound(so), rank(c.best)) >= 0 || minutesOf(so) > c.minutes {
		return
	}
	if len(so) == len(c.all) {
		c.best = slices.Clone(so)
		return
	}
	for _, e := range c.all[len(so)] {
		c.choose(append(slices.Clip(so), e))
	}
}

// bound is the best rank that can come of it.
func (c *chooser) bound(so []ending) []int {
	least := rank(so)
	for _, ends := range c.all[len(so):] {
		least[0] += ends[0].withdrawn
		behind, steps := ends[0].behind, ends[0].steps
		for _, e := range ends {
			behind, steps = min(behind, e.behind), min(steps, e.steps)
		}
		least[1] += behind
		least[2] += steps
	}
	return least
}

func rank(es []ending) []int {
	sum := []int{0, 0, 0}
	for _, e := range es {
		for i, n := range e.rank() {
			sum[i] += n
		}
	}
	return sum
}

// minutesOf is how long several groups' endings take: a run under way serves
// all.
func minutesOf(es []ending) (sum int) {
	runs := map[string]int{}
	for _, e := range es {
		sum += e.time.Minutes()
		for check, n := range e.runs {
			sum -= n
			runs[check] = max(runs[check], n)
		}
	}
	for _, n := range runs {
		sum += n
	}
	return sum
}
