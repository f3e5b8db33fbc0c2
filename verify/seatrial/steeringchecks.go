package seatrial

import (
	"fmt"
	"math"
)

// helm judges the helm carried on reciprocal runs, and tells the stops.
func (m *maker) helm() {
	if !m.has("helm") {
		m.check(Check{Kind: OfHelm, Says: "no rudder feedback in this log"})
		return
	}
	limit := m.p.in.Tolerances.Helm
	c := Check{Kind: OfHelm, Verdict: CantTell, Tolerance: &limit}
	var all []Estimate
	for _, pair := range pairs(m.t.Legs) {
		out, back := m.t.Legs[pair[0]].Helm, m.t.Legs[pair[1]].Helm
		if out != nil && back != nil {
			all = append(all, average(*out, *back))
		}
	}
	if len(all) > 0 {
		e := average(all...)
		m.t.Helm = &e
		c.Value, c.Verdict = &e, e.judge(limit.Most)
		c.Says = "helm carried " + sided(e)
		if !e.Known {
			c.Missing = tooShort(m.shortest())
		}
		c.Says += m.before(func(was *Earlier) *Estimate { return was.Helm })
	} else {
		c.Missing = "no reciprocal run with rudder feedback: " + m.reciprocal()
		c.Says = c.Missing
	}
	m.check(c)
	m.stops()
}

// sided writes a rudder angle by its side.
func sided(e Estimate) string {
	side := "to starboard"
	if e.Value < 0 {
		side = "to port"
	}
	doubt := ", doubt not known"
	if e.Known {
		doubt = fmt.Sprintf(" ± %.1f°", e.U)
	}
	return fmt.Sprintf("%.1f° %s%s", math.Abs(e.Value), side, doubt)
}

// before says what a value was in the earlier trial.
func (m *maker) before(of func(*Earlier) *Estimate) string {
	if m.t.Earlier == nil || of(m.t.Earlier) == nil {
		return ""
	}
	was := of(m.t.Earlier)
	if !was.Known {
		return fmt.Sprintf("; before (%s) %.1f°", m.t.Earlier.From, was.Value)
	}
	return fmt.Sprintf("; before (%s) %.1f° ± %.1f°", m.t.Earlier.From, was.Value, was.U)
}

func (m *maker) stops() {
	var angles []float64
	for _, e := range m.p.epochs {
		if h := float64(e.helm); !math.IsNaN(h) {
			angles = append(angles, h)
		}
	}
	port, starboard, reached := stopsOf(angles, 1)
	m.t.Rudder = &Rudder{Port: port, Starboard: starboard, Stops: reached, Two: m.p.twoHelms}
	c := Check{Kind: OfStops, Says: "stops not reached in this log: hold the wheel hard over to each side for three seconds, alongside"}
	if reached {
		c.Says = fmt.Sprintf("stops at %.1f° to port and %.1f° to starboard", -port, starboard)
	}
	if m.p.twoHelms {
		c.Says += "; there are two rudders, and these are the starboard one's values"
	}
	m.check(c)
}

// headingsOf are the compass readings of epochs by the second, those that are
// missing between two filled in.
func (m *maker) headingsOf(from, to int) []float64 {
	e := m.p.epochs[from:to]
	all := make([]float64, 0, len(e))
	for i, one := range e {
		c := float64(one.compass)
		if math.IsNaN(c) {
			continue
		}
		if n := len(all); n > 0 {
			last := i - 1
			for last > 0 && math.IsNaN(float64(e[last].compass)) {
				last--
			}
			before := all[n-1]
			gap := one.t - e[last].t
			for k := int64(1); k < gap && k <= longestGap; k++ {
				all = append(all, Wrap360(before+wrap180(c-before)*float64(k)/float64(gap)))
			}
		}
		all = append(all, c)
	}
	return all
}

// keeping tells how the longest leg was steered.
func (m *maker) keeping() {
	c := Check{Kind: OfKeeping}
	longest := -1
	for i, l := range m.t.Legs {
		if longest < 0 || l.Seconds > m.t.Legs[longest].Seconds {
			longest = i
		}
	}
	if longest < 0 {
		return
	}
	l := m.t.Legs[longest]
	k := keepingOf(m.headingsOf(l.from, l.to), 1)
	m.t.Keeping, m.t.KeepingLeg = &k, l.Number
	limit := m.p.in.Tolerances.RMS
	c.Value, c.Tolerance = &k.RMS, &limit
	c.Says = fmt.Sprintf("leg %d, %d s: RMS %.1f°", l.Number, l.Seconds, k.RMS.Value)
	if k.RMS.Known {
		c.Says += fmt.Sprintf(" ± %.1f°", k.RMS.U)
	}
	switch {
	case k.Short:
		c.Says += ", too short to tell a period"
	case k.Period == 0:
		c.Says += ", no steady period"
	default:
		c.Says += fmt.Sprintf(", a steady swing of ±%.1f° every %.1f s", k.Amplitude, k.Period)
	}
	c.Says += m.before(func(was *Earlier) *Estimate { return was.RMS })
	if m.t.Earlier != nil && m.t.Earlier.Period > 0 {
		c.Says += fmt.Sprintf(", a period of %.1f s", m.t.Earlier.Period)
	}
	if m.p.in.Pilot {
		c.Verdict = k.RMS.judge(limit.Most)
		if c.Verdict == CantTell {
			c.Missing = "the pilot's course keeping can't be told from this leg: let it steer one course for five minutes, in calm water"
		}
	} else {
		c.Says += "; not judged: say " + m.p.in.Words.For(SayPilot) + " where the pilot steered"
	}
	m.check(c)
}

// Turns between legs from which an overshoot is told.
const (
	leastTurn     = 20
	afterTheTurn  = 60 // seconds, at least
	longestSwing  = 120
	beforeTheTurn = 5
)

// overshoot tells how far course changes between legs went too far.
func (m *maker) overshoot() {
	for i := 1; i < len(m.t.Legs); i++ {
		a, b := m.t.Legs[i-1], m.t.Legs[i]
		from := max(a.from, a.to-beforeTheTurn)
		e := m.p.epochs
		took := e[b.from].t - e[a.to-1].t
		turn := math.Abs(wrap180(b.Compass - a.Compass))
		if took > 2*longestSwing || turn < leastTurn || turn > 170 {
			continue
		}
		to := from
		for to < b.to && e[to].t < e[from].t+max(longestSwing, 2*took) {
			to++
		}
		if e[to-1].t-e[b.from].t+settle < afterTheTurn || m.gapIn(from, to) {
			continue
		}
		m.t.Swung = append(m.t.Swung, swungPast(m.headingsOf(from, to), 1))
	}
	if len(m.t.Swung) == 0 {
		return
	}
	limit := m.p.in.Tolerances.Overshoot
	most := m.t.Swung[0]
	for _, s := range m.t.Swung {
		if s.Percent > most.Percent {
			most = s
		}
	}
	c := Check{Kind: OfOvershoot, Tolerance: &limit}
	c.Says = fmt.Sprintf("%d course %s; the most, from %03.0f to %03.0f: %.1f° past, %.0f %% of the turn (limit %.0f %%, %s)",
		len(m.t.Swung), plural(len(m.t.Swung), "change"), most.From, most.Final, most.Past, most.Percent, limit.Most, limit.Source)
	if m.p.in.Pilot {
		c.Verdict = Within
		if most.Percent > limit.Most {
			c.Verdict = Outside
		}
		// A single turn carries no doubt of its own; the wander on the new course
		// stands for it.
		if k := m.t.Keeping; k != nil && turnOf(most) > 0 {
			u := 100 * 2 * k.RMS.Value / turnOf(most)
			c.Value = &Estimate{Value: most.Percent, U: u, Known: true, Samples: len(m.t.Swung), Independent: float64(len(m.t.Swung))}
			c.Verdict = judge(most.Percent, u, limit.Most)
		}
		if c.Verdict == CantTell {
			c.Missing = "the overshoot can't be told from the wander on the course: let the pilot make course changes of 40° or more, in calm water"
		}
	} else {
		c.Says += "; not judged: say " + m.p.in.Words.For(SayPilot) + " where the pilot steered"
	}
	m.check(c)
}

func turnOf(s Swung) float64 { return math.Abs(wrap180(s.Final - s.From)) }

func (m *maker) gapIn(from, to int) bool {
	for i := from + 1; i < to; i++ {
		if m.p.epochs[i].t-m.p.epochs[i-1].t > longestGap {
			return true
		}
	}
	return false
}
