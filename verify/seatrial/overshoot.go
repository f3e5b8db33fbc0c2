package seatrial

import (
	"fmt"
	"math"
)

// Overshoot is how far a turn went past its new course: its overshoot.
type Overshoot struct {
	From, Final float64 // headings, degrees
	Past        float64 // degrees beyond the final heading, in the turn's direction
	At          float64 // seconds from the start of the turn
	Percent     float64 // of the turn
}

// overshootOf is the overshoot of a turn, from headings dt seconds apart that begin on
// the old course; the final one is the mean of the second half.
func overshootOf(headings []float64, dt float64) Overshoot {
	half := (len(headings) + 1) / 2
	s := Overshoot{From: headings[0], Final: circularMean(headings[half:]).Mean}
	turn := wrap180(s.Final - s.From)
	side := math.Copysign(1, turn)
	for i, h := range headings {
		if past := side * wrap180(h-s.Final); past > s.Past {
			s.Past, s.At = past, float64(i)*dt
		}
	}
	if turn != 0 {
		s.Percent = 100 * s.Past / math.Abs(turn)
	}
	return s
}

// Turns between legs whose overshoot is measured.
const (
	leastTurn     = 20
	afterTheTurn  = 60 // seconds, at least
	longestSwing  = 120
	beforeTheTurn = 5
)

// courseChanges are the turns between legs that are long enough, slow enough and
// logged well enough to tell an overshoot from.
func courseChanges(f *found) (all []Overshoot) {
	e := f.epochs
	for i := 1; i < len(f.legs); i++ {
		a, b := f.legs[i-1], f.legs[i]
		from := max(a.from, a.to-beforeTheTurn)
		took := e[b.from].t - e[a.to-1].t
		turn := math.Abs(wrap180(b.Compass - a.Compass))
		if took > 2*longestSwing || turn < leastTurn || turn > 170 {
			continue
		}
		to := from
		for to < b.to && e[to].t < e[from].t+max(longestSwing, 2*took) {
			to++
		}
		if e[to-1].t-e[b.from].t+settle < afterTheTurn || gapIn(e[from:to]) {
			continue
		}
		all = append(all, overshootOf(headingsOf(e[from:to]), 1))
	}
	return all
}

// overshootCheck says how far course changes went too far. A single turn carries no
// doubt of its own: how the course was kept, where that is known, stands for it.
func overshootCheck(in Input, all []Overshoot, keeping *Keeping) Check {
	limit := in.Tolerances.Overshoot
	most := all[0]
	for _, s := range all {
		if s.Percent > most.Percent {
			most = s
		}
	}
	c := Check{Kind: OfOvershoot, Tolerance: &limit}
	c.Says = fmt.Sprintf("%d course %s; the largest overshoot, from %03.0f to %03.0f: %.1f° past, %.0f %% of the turn (limit %.0f %%, %s)",
		len(all), plural(len(all), "change"), most.From, most.Final, most.Past, most.Percent, limit.Most, limit.Source)
	if !in.Pilot {
		c.Says += "; not judged: give " + in.Words.For(SayPilot) + " if the pilot steered"
		return c
	}
	c.Verdict = Within
	if most.Percent > limit.Most {
		c.Verdict = Outside
	}
	if turn := math.Abs(wrap180(most.Final - most.From)); keeping != nil && turn > 0 {
		u := 100 * 2 * keeping.RMS.Value / turn
		c.Value = &Estimate{Value: most.Percent, U: u, Known: true, Samples: len(all), Independent: float64(len(all))}
		c.Verdict = verdictOf(most.Percent, u, limit.Most)
	}
	if c.Verdict == CantTell {
		c.Missing = "the overshoot is no clearer than the wander on the course: let the pilot make course changes of 40° or more, in calm water"
	}
	return c
}
