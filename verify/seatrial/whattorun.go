package seatrial

import (
	"cmp"
	"fmt"
	"math"

	"cardwright/verify/seatrial/sentences"
)

// legsAsked is how many legs a swing should have.
const legsAsked = 16

// howToNarrow says what would make a swing's doubt small enough.
func howToNarrow(s Swing, limit float64) string {
	for _, h := range s.Table {
		if h.U > limit/2 {
			if s.Method == ByLegs && s.Legs < legsAsked {
				return fmt.Sprintf("the doubt on %03.0f is %.1f°, and %.1f° is allowed. %d legs were run: run each of the eight headings twice, %s, in calm water", h.Compass, h.U, limit/2, s.Legs, howToRun)
			}
			return fmt.Sprintf("the doubt on %03.0f is %.1f°, and %.1f° is allowed: swing again in calmer water and steadier wind, with longer legs", h.Compass, h.U, limit/2)
		}
	}
	return "the deviation lies so near the tolerance that its doubt reaches over it: run each heading twice more"
}

// lackOfSwing says why no swing can be judged, and what to run; "" where one can.
func lackOfSwing(f *found) string {
	if lack := f.noTrueHeading(); lack != "" {
		return lack
	}
	if len(f.swings) > 0 {
		switch f.swings[0].Method {
		case ByTurns, ByReference:
			return ""
		case ByOneTurn:
			return otherWay
		case ByLegs:
		}
	}
	return lackOfLegs(f)
}

// otherWay is what a turn one way lacks.
const otherWay = "the turn went one way only, so lag and A can't be separated: turn the other way too"

// lackOfLegs says which legs a swing by legs still needs; "" where it needs none.
func lackOfLegs(f *found) string {
	missing := missingHeadings(headingsOfLegs(f.legs))
	switch {
	case !f.has("ground"):
		return cmp.Or(f.misnamed("ground", f.in.Course, sentences.Ground), "no course and speed over ground in the log: log RMC or VTG")
	case len(f.turns) > 0 && len(f.legs) == 0:
		return "no heading reference in the turn: run straight legs on " + headings(missing) + ", " + howToRun
	case len(f.legs) == 0:
		return "no straight leg: run " + headings(missing) + ", " + howToRun
	case len(missing) > 0:
		return fmt.Sprintf("%s %s missing: run %s, %s", plural(len(missing), "heading"), headings(missing), themOrIt(len(missing)), howToRun)
	case meanKnots(f.legs) < legKnots:
		return fmt.Sprintf("the legs were run at a mean of %.1f kn over ground: run them again at %.0f kn or more", meanKnots(f.legs), legKnots)
	case len(f.swings) == 0:
		return "the legs don't separate speed, current and deviation: run " + headings(eightPoints()) + ", " + howToRun
	}
	return ""
}

// eightPoints are the headings of a swing.
func eightPoints() (all []float64) {
	for p := range points {
		all = append(all, float64(p*pointApart))
	}
	return all
}

// reciprocalToRun says which leg to run for a reciprocal pair.
func reciprocalToRun(legs []Leg) string {
	if len(legs) == 0 {
		return "run two legs on opposite headings, " + howToRun
	}
	l := legs[0]
	return fmt.Sprintf("leg %d was on %03.0f: run %03.0f too, two and a half minutes, 5 kn or more", l.Number, math.Round(l.Compass), math.Round(Wrap360(l.Compass+180)))
}

// shortestLeg is the length of the shortest leg, in seconds.
func shortestLeg(legs []Leg) int {
	least := math.MaxInt
	for _, l := range legs {
		least = min(least, l.Seconds)
	}
	return least
}

// tooShort says what to do where a leg is too short for its doubt to be known.
func tooShort(seconds int) string {
	return fmt.Sprintf("%d s is too short for this sensor's slow wander: run longer legs, five minutes each", seconds)
}
