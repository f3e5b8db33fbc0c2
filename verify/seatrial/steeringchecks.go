package seatrial

import (
	"cmp"
	"fmt"
	"math"

	"cardwright/verify/seatrial/sentences"
)

// helmCheck holds the helm carried on reciprocal runs against the tolerance; carried is
// nil where there are none.
func helmCheck(f *found) (c Check, carried *Estimate) {
	if !f.has("helm") {
		return Check{Kind: OfHelm, Says: cmp.Or(f.misnamed("helm", f.in.Helm, sentences.Rudder), "no rudder feedback in this log")}, nil
	}
	limit := f.in.Tolerances.Helm
	c = Check{Kind: OfHelm, Verdict: CantTell, Tolerance: &limit}
	var all []Estimate
	for _, pair := range pairs(f.legs) {
		out, back := f.legs[pair[0]].Helm, f.legs[pair[1]].Helm
		if out != nil && back != nil {
			all = append(all, average(*out, *back))
		}
	}
	if len(all) == 0 {
		c.Missing = "no reciprocal run with rudder feedback; " + reciprocalToRun(f.legs)
		c.Says = c.Missing
		return c, nil
	}
	e := average(all...)
	c.Value, c.Verdict = &e, e.verdict(limit.Most)
	c.Says = "helm carried " + helmWords(e)
	if !e.Known {
		c.Missing = tooShort(shortestLeg(f.legs))
	}
	c.Says += before(f.in.Earlier, func(was *Earlier) *Estimate { return was.Helm })
	return c, &e
}

// helmWords writes a rudder angle by its side.
func helmWords(e Estimate) string {
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

// stopsCheck says whether the rudder's stops were reached, and where they are.
func stopsCheck(p *prepared) (Check, Rudder) {
	var angles []float64
	for _, e := range p.epochs {
		if h := float64(e.helm); !math.IsNaN(h) {
			angles = append(angles, h)
		}
	}
	port, starboard, reached := stopsOf(angles, 1)
	c := Check{Kind: OfStops, Says: "stops not reached in this log: hold the wheel hard over to each side for three seconds, alongside"}
	if reached {
		c.Says = fmt.Sprintf("stops at %.1f° to port and %.1f° to starboard", -port, starboard)
	}
	if p.twoHelms {
		c.Says += "; there are two rudders, and these are the starboard one's values"
	}
	return c, Rudder{Port: port, Starboard: starboard, Stops: reached, Two: p.twoHelms}
}

// headingsOf are the compass readings of epochs by the second, those that are
// missing between two filled in.
func headingsOf(e []epoch) []float64 {
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

// longestLeg is the first of the longest legs, or nil.
func longestLeg(legs []Leg) (longest *Leg) {
	for i := range legs {
		if longest == nil || legs[i].Seconds > longest.Seconds {
			longest = &legs[i]
		}
	}
	return longest
}

// keepingCheck says how a leg was steered.
func keepingCheck(p *prepared, l Leg) (Check, Keeping) {
	c := Check{Kind: OfKeeping}
	k := keepingOf(headingsOf(p.epochs[l.from:l.to]), 1)
	limit := p.in.Tolerances.RMS
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
	was := p.in.Earlier
	c.Says += before(was, func(was *Earlier) *Estimate { return was.RMS })
	if was != nil && was.Period > 0 {
		c.Says += fmt.Sprintf(", a period of %.1f s", was.Period)
	}
	if p.in.Pilot {
		c.Verdict = k.RMS.verdict(limit.Most)
		if c.Verdict == CantTell {
			c.Missing = "this leg is too short or too rough for the pilot's course keeping: let it steer one course for five minutes, in calm water"
		}
	} else {
		c.Says += "; not judged: give " + p.in.Words.For(SayPilot) + " if the pilot steered"
	}
	return c, k
}

// gapIn reports whether a log has a gap in these epochs.
func gapIn(e []epoch) bool {
	for i := 1; i < len(e); i++ {
		if e[i].t-e[i-1].t > longestGap {
			return true
		}
	}
	return false
}
