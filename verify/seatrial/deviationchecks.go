package seatrial

import (
	"fmt"
	"math"
	"strings"
)

// deviationCheck holds the best swing against the tolerance on all headings.
func deviationCheck(f *found) Check {
	limit := f.in.Tolerances.Deviation
	c := Check{Kind: OfDeviation, Verdict: CantTell, Tolerance: &limit}
	if f.lack != "" {
		c.Missing, c.Says = f.lack, f.lack
		return c
	}
	s := f.swings[0]
	worst := worst(s.Table)
	c.Value = &Estimate{Value: worst.Deviation, U: worst.U, Known: true, Samples: len(s.Seen), Independent: float64(len(s.Seen))}
	c.Verdict = deviationVerdict(s.Table, limit.Most)
	c.Says = fmt.Sprintf("largest on %03.0f by compass: %+.1f° ± %.1f° (%s)", worst.Compass, unsigned(worst.Deviation), worst.U, s.Method)
	if c.Verdict == CantTell {
		c.Missing = howToNarrow(s, limit.Most)
	} else if s.Method == ByLegs && s.Legs < legsAsked {
		c.Missing = fmt.Sprintf("%d legs were run, %d are asked for: run each heading twice", s.Legs, legsAsked)
	}
	return c
}

func plural(n int, word string) string {
	if n == 1 {
		return word
	}
	return word + "s"
}

func themOrIt(n int) string {
	if n == 1 {
		return "it"
	}
	return "them"
}

// headings writes courses to run: 000, 045 and 090.
func headings(all []float64) string {
	words := make([]string, len(all))
	for i, h := range all {
		words[i] = fmt.Sprintf("%03.0f", math.Mod(h, 360))
	}
	if n := len(words); n > 1 {
		return strings.Join(words[:n-1], ", ") + " and " + words[n-1]
	}
	return strings.Join(words, "")
}

// alignmentCheck takes the alignment from reciprocal legs, or else A of a swing with a
// heading reference; never one leg alone. pairs are the legs that were used.
func alignmentCheck(f *found) (c Check, used []Pair) {
	limit := f.in.Tolerances.Alignment
	c = Check{Kind: OfAlignment, Verdict: CantTell, Tolerance: &limit}
	if lack := f.noTrueHeading(); lack != "" {
		c.Missing, c.Says = lack, lack
		return c, nil
	}
	used, slow := alignmentPairs(f)
	swing := swingThatTellsA(f.swings)
	switch {
	case len(used) > 0:
		all := make([]Estimate, len(used))
		for i, p := range used {
			all[i] = p.Alignment
		}
		e := average(all...)
		c.Value, c.Verdict = &e, e.verdict(limit.Most)
		c.Says = fmt.Sprintf("the compass reads %s, from %d reciprocal %s; B and C drop out of it with the current, so it can't show that a compass is right", readsWrongBy(e), len(all), plural(len(all), "pair"))
		if !e.Known {
			c.Missing = tooShort(shortestLeg(f.legs))
		} else if c.Verdict == CantTell {
			c.Missing = fmt.Sprintf("the doubt of the alignment is %.1f°: run another reciprocal pair, %s", e.U, howToRun)
		}
	case swing != nil:
		e := Estimate{Value: swing.Fit.Coefficients[coefA], U: swing.Fit.U[coefA], Known: true, Samples: len(swing.Seen), Independent: float64(len(swing.Seen))}
		c.Value, c.Verdict = &e, e.verdict(limit.Most)
		c.Says = fmt.Sprintf("the compass reads %s (A), by %s", readsWrongBy(e), swing.Method)
	case len(f.swings) > 0 && f.swings[0].Method == ByOneTurn:
		c.Missing, c.Says = otherWay, otherWay
	case slow > 0:
		c.Missing = fmt.Sprintf("the reciprocal legs were run at a mean of %.1f kn: run them at %.0f kn or more", slow, legKnots)
		c.Says = c.Missing
	default:
		c.Missing = "no reciprocal run; " + reciprocalToRun(f.legs)
		c.Says = c.Missing
	}
	return c, used
}

// alignmentPairs are the reciprocal legs that were run fast enough, and the mean speed
// of the fastest pair that wasn't, in knots; 0: there is none.
func alignmentPairs(f *found) (used []Pair, slow float64) {
	for _, pair := range pairs(f.legs) {
		out, back := f.legs[pair[0]], f.legs[pair[1]]
		if mean := (out.Knots + back.Knots) / 2; mean < legKnots {
			slow = max(slow, mean)
			continue
		}
		used = append(used, Pair{out.Number, back.Number, alignmentEstimate(f.prepared, &out, &back)})
	}
	return used, slow
}

// swingThatTellsA is the swing by a heading reference in which A is known, or nil.
func swingThatTellsA(swings []Swing) *Swing {
	for i, s := range swings {
		if s.Method == ByTurns || s.Method == ByReference {
			return &swings[i]
		}
	}
	return nil
}

// readsWrongBy says by how much, and to which side, a compass reads wrong: deviation
// east is a reading that is too low.
func readsWrongBy(e Estimate) string {
	doubt := "doubt not known"
	if e.Known {
		doubt = fmt.Sprintf("± %.1f°", e.U)
	}
	switch v := e.Value; {
	case math.Abs(v) < 0.05:
		return "0.0° off, " + doubt
	case v > 0:
		return fmt.Sprintf("%.1f° too low, %s", v, doubt)
	default:
		return fmt.Sprintf("%.1f° too high, %s", -v, doubt)
	}
}

// alignmentEstimate is the alignment of two legs with its doubt: that of the part
// across the line on each, and of the headings.
func alignmentEstimate(p *prepared, out, back *Leg) Estimate {
	value := alignmentOf(out.run(p.variation.Degrees), back.run(p.variation.Degrees))
	line := out.Ground.minus(back.Ground)
	a := crossLineNoise(p, out, line, 1)
	b := crossLineNoise(p, back, line, -1)
	return Estimate{
		Value: value, U: math.Hypot(a.U, b.U), Known: a.Known && b.Known,
		Samples: a.Samples + b.Samples, Independent: a.Independent + b.Independent,
	}
}

// crossLineNoise is what one leg's noise brings to a pair's alignment, degrees.
func crossLineNoise(p *prepared, l *Leg, line Velocity, side float64) Estimate {
	var x []float64
	course, knots := line.Course(), line.Speed()
	for _, e := range p.epochs[l.from:l.to] {
		if math.IsNaN(float64(e.east)) || math.IsNaN(float64(e.compass)) {
			continue
		}
		v := Velocity{float64(e.east), float64(e.north)}
		x = append(x, side*v.across(course)/knots*radian-wrap180(float64(e.compass)-l.Compass)/2)
	}
	return meanOf(x, l.dt(x))
}

// referenceChecks hold the heading against a heading reference where there is no
// swing: on the headings that were run.
func referenceChecks(f *found) (all []Check) {
	if f.noTrueHeading() != "" || swingThatTellsA(f.swings) != nil {
		return nil
	}
	limit := f.in.Tolerances.Alignment
	if len(f.legs) == 0 {
		return steadyReferenceChecks(f.prepared, limit)
	}
	for _, l := range f.legs {
		if l.Reference == nil {
			continue
		}
		c := Check{Kind: OfReference, Value: l.Reference, Tolerance: &limit, Verdict: l.Reference.verdict(limit.Most)}
		c.Says = fmt.Sprintf("on %03.0f (leg %d) the compass reads %s", l.Compass, l.Number, readsWrongBy(*l.Reference))
		if !l.Reference.Known {
			c.Missing = tooShort(l.Seconds)
		}
		all = append(all, c)
	}
	return all
}

// steadyReferenceChecks hold the heading against the reference where the boat lay
// still on one heading, or no velocity was logged.
func steadyReferenceChecks(p *prepared, limit Tolerance) (all []Check) {
	for _, s := range stretches(p.epochs) {
		if seconds := p.epochs[s.to-1].t - p.epochs[s.from].t + 1; seconds < legSeconds-legSlack {
			continue
		}
		var x, at []float64
		for _, e := range p.epochs[s.from:s.to] {
			if !math.IsNaN(float64(e.reference)) && !math.IsNaN(float64(e.atRef)) {
				x = append(x, wrap180(float64(e.reference)-float64(e.atRef)-p.variation.Degrees))
				at = append(at, float64(e.atRef))
			}
		}
		if len(x) == 0 || circularMean(at).Spread > legSpread {
			continue
		}
		e := meanAngle(x, float64(s.to-s.from)/float64(len(x)))
		all = append(all, Check{
			Kind: OfReference, Value: &e, Tolerance: &limit, Verdict: e.verdict(limit.Most),
			Says: fmt.Sprintf("on %03.0f, steady, the compass reads %s", circularMean(at).Mean, readsWrongBy(e)),
		})
	}
	return all
}

// turnChecks say what each turn was like; one with only course over ground has no
// coefficient and no verdict.
func turnChecks(turns []Turn) (all []Check) {
	for _, t := range turns {
		side := "port"
		if t.Starboard {
			side = "starboard"
		}
		says := fmt.Sprintf("turned %.1f° (%.2f turns) to %s, median rate %.2f °/s, %.0f %% of the time within 2 to 3 °/s, %d of %d sectors of 15° seen",
			t.Degrees, t.Degrees/360, side, t.Rate, 100*t.Share, t.Sectors, sectors)
		if !t.Reference {
			says += "; it has no heading reference, so it gives no deviation"
		}
		all = append(all, Check{Kind: OfTurn, Says: says})
	}
	return all
}

// sameWaters is how far apart two trials may be, in sea miles: B changes with
// magnetic latitude.
const sameWaters = 200

// Sensor is the name of the compass's sentences; "" where there is none.
func (t Trial) Sensor() string { return sensorOf(t.Used) }

func sensorOf(used []UsedSource) string {
	for _, u := range used {
		if u.For == "compass" {
			return u.Name
		}
	}
	return ""
}

// miles is the distance of two positions, in sea miles, on a sphere.
func miles(a, b [2]float64) float64 {
	x := sin(a[0])*sin(b[0]) + cos(a[0])*cos(b[0])*cos(b[1]-a[1])
	return math.Acos(min(max(x, -1), 1)) * radian * 60
}
