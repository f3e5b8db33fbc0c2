package seatrial

import (
	"fmt"
	"math"
	"slices"
	"strings"
)

// deviation judges the best swing on all headings.
func (m *maker) deviation() {
	limit := m.p.in.Tolerances.Deviation
	c := Check{Kind: OfDeviation, Verdict: CantTell, Tolerance: &limit}
	switch lack := m.lacking(); {
	case lack != "":
		c.Missing, c.Says = lack, lack
	default:
		s := m.t.Swings[0]
		worst := worst(s.Table)
		c.Value = &Estimate{Value: worst.Deviation, U: worst.U, Known: true, Samples: len(s.Seen), Independent: float64(len(s.Seen))}
		c.Verdict = judgeDeviation(s.Table, limit.Most)
		c.Says = fmt.Sprintf("most on %03.0f by compass: %+.1f° ± %.1f°, by %s", worst.Compass, unsigned(worst.Deviation), worst.U, s.Method)
		if c.Verdict == CantTell {
			c.Missing = m.sharper(s, limit.Most)
		} else if s.Method == ByLegs && s.Legs < legsAsked {
			c.Missing = fmt.Sprintf("%d legs were run, %d are asked for: run each heading twice", s.Legs, legsAsked)
		}
	}
	m.check(c)
}

// legsAsked is how many legs a swing should have.
const legsAsked = 16

// sharper says what would make the doubt small enough.
func (m *maker) sharper(s Swing, limit float64) string {
	for _, h := range s.Table {
		if h.U > limit/2 {
			if s.Method == ByLegs && s.Legs < legsAsked {
				return fmt.Sprintf("the doubt on %03.0f is %.1f°, %.1f° is the most: %d legs were run, run each of the eight headings twice, %s, in calm water", h.Compass, h.U, limit/2, s.Legs, howToRun)
			}
			return fmt.Sprintf("the doubt on %03.0f is %.1f°, %.1f° is the most: swing again in calmer water and steadier wind, with longer legs", h.Compass, h.U, limit/2)
		}
	}
	return "the deviation lies so near the tolerance that its doubt reaches over it: run each heading twice more"
}

// lacking says why there is no swing to judge; "" where there is one.
func (m *maker) lacking() string {
	if lack := m.unable(); lack != "" {
		return lack
	}
	if len(m.t.Swings) > 0 {
		switch m.t.Swings[0].Method {
		case ByTurns, ByReference:
			return ""
		case ByOneTurn:
			if len(m.t.Swings) == 1 || m.t.Swings[1].Method != ByReference {
				return otherWay
			}
			m.t.Swings[0], m.t.Swings[1] = m.t.Swings[1], m.t.Swings[0]
			return ""
		case ByLegs:
		}
	}
	return m.lackingLegs()
}

// otherWay is what a turn one way lacks.
const otherWay = "the turn went one way only, so that lag and A can't be told apart: turn the other way too"

func (m *maker) lackingLegs() string {
	_, at := m.runs()
	missing := missingHeadings(at)
	switch {
	case !m.has("ground"):
		return "no course and speed over ground in the log: log RMC or VTG"
	case len(m.t.Turns) > 0 && len(m.t.Legs) == 0:
		return "no heading reference in the turn; run straight legs at 5 kn or more: " + headings(missing) + ", " + howToRun
	case len(m.t.Legs) == 0:
		return "no straight leg: run " + headings(missing) + ", " + howToRun
	case len(missing) > 0:
		return fmt.Sprintf("%s %s missing: run %s, %s", plural(len(missing), "heading"), headings(missing), themOrIt(len(missing)), howToRun)
	case meanKnots(m.t.Legs) < legKnots:
		return fmt.Sprintf("the legs were run at %.1f kn over ground, as their mean: run them again at %.0f kn or more", meanKnots(m.t.Legs), legKnots)
	case len(m.t.Swings) == 0:
		return "the legs don't tell speed, current and deviation apart: run " + headings(eight()) + ", " + howToRun
	}
	return ""
}

func eight() (all []float64) {
	for p := range points {
		all = append(all, float64(p*pointApart))
	}
	return all
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

// alignment comes from reciprocal legs, or else is A of a swing with a heading
// reference; never from one leg.
func (m *maker) alignment() {
	limit := m.p.in.Tolerances.Alignment
	c := Check{Kind: OfAlignment, Verdict: CantTell, Tolerance: &limit}
	defer func() { m.check(c) }()
	if lack := m.unable(); lack != "" {
		c.Missing, c.Says = lack, lack
		return
	}
	var all []Estimate
	slow := 0.0
	for _, pair := range pairs(m.t.Legs) {
		out, back := m.t.Legs[pair[0]], m.t.Legs[pair[1]]
		if mean := (out.Knots + back.Knots) / 2; mean < legKnots {
			slow = max(slow, mean)
			continue
		}
		e := m.pair(&out, &back)
		m.t.Pairs = append(m.t.Pairs, Pair{out.Number, back.Number, e})
		all = append(all, e)
	}
	swing := m.byHeadingReference()
	switch {
	case len(all) > 0:
		e := average(all...)
		c.Value, c.Verdict = &e, e.judge(limit.Most)
		c.Says = fmt.Sprintf("the compass reads %s, from %d reciprocal %s; this hides B and C with the current, and can't say that a compass is right", shortOf(e), len(all), plural(len(all), "pair"))
		if !e.Known {
			c.Missing = tooShort(m.shortest())
		} else if c.Verdict == CantTell {
			c.Missing = fmt.Sprintf("the doubt of the alignment is %.1f°: run another reciprocal pair, %s", e.U, howToRun)
		}
	case swing != nil:
		e := Estimate{Value: swing.Fit.Coefficients[coefA], U: swing.Fit.U[coefA], Known: true, Samples: len(swing.Seen), Independent: float64(len(swing.Seen))}
		c.Value, c.Verdict = &e, e.judge(limit.Most)
		c.Says = fmt.Sprintf("the compass reads %s (A), by %s", shortOf(e), swing.Method)
	case len(m.t.Swings) > 0 && m.t.Swings[0].Method == ByOneTurn:
		c.Missing, c.Says = otherWay, otherWay
	case slow > 0:
		c.Missing = fmt.Sprintf("the reciprocal legs were run at %.1f kn, as their mean: run them at %.0f kn or more", slow, legKnots)
		c.Says = c.Missing
	default:
		c.Missing = "no reciprocal run: " + m.reciprocal()
		c.Says = c.Missing
	}
}

// byHeadingReference is the swing by a heading reference that tells A.
func (m *maker) byHeadingReference() *Swing {
	for i, s := range m.t.Swings {
		if s.Method == ByTurns || s.Method == ByReference {
			return &m.t.Swings[i]
		}
	}
	return nil
}

// reciprocal says which leg to run.
func (m *maker) reciprocal() string {
	if len(m.t.Legs) == 0 {
		return "run two legs on opposite headings, " + howToRun
	}
	l := m.t.Legs[0]
	return fmt.Sprintf("leg %d was on %03.0f, run %03.0f too, two and a half minutes, 5 kn or more", l.Number, math.Round(l.Compass), math.Round(Wrap360(l.Compass+180)))
}

func (m *maker) shortest() int {
	least := math.MaxInt
	for _, l := range m.t.Legs {
		least = min(least, l.Seconds)
	}
	return least
}

func tooShort(seconds int) string {
	return fmt.Sprintf("%d s is too short for this sensor's slow wander: run longer legs, five minutes each", seconds)
}

// shortOf says by how much, and to which side, a compass reads wrong: deviation
// east is a reading that is too low.
func shortOf(e Estimate) string {
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

// pair is the alignment of two legs with its doubt: that of the part across the
// line on each, and of the headings.
func (m *maker) pair(out, back *Leg) Estimate {
	value := alignmentOf(out.run(m.p.variation.Degrees), back.run(m.p.variation.Degrees))
	line := out.Ground.minus(back.Ground)
	a := m.offLine(out, line, 1)
	b := m.offLine(back, line, -1)
	return Estimate{
		Value: value, U: math.Hypot(a.U, b.U), Known: a.Known && b.Known,
		Samples: a.Samples + b.Samples, Independent: a.Independent + b.Independent,
	}
}

// offLine is what one leg's noise brings to a pair's alignment, degrees.
func (m *maker) offLine(l *Leg, line Velocity, side float64) Estimate {
	var x []float64
	course, knots := line.Course(), line.Speed()
	for _, e := range m.p.epochs[l.from:l.to] {
		if math.IsNaN(float64(e.east)) || math.IsNaN(float64(e.compass)) {
			continue
		}
		v := Velocity{float64(e.east), float64(e.north)}
		x = append(x, side*v.across(course)/knots*radian-wrap180(float64(e.compass)-l.Compass)/2)
	}
	return meanOf(x, l.dt(x))
}

// reference judges the heading against a heading reference where there is no
// swing: on the headings that were run.
func (m *maker) reference() {
	if m.unable() != "" || m.byHeadingReference() != nil {
		return
	}
	limit := m.p.in.Tolerances.Alignment
	for _, l := range m.t.Legs {
		if l.Reference == nil {
			continue
		}
		c := Check{Kind: OfReference, Value: l.Reference, Tolerance: &limit, Verdict: l.Reference.judge(limit.Most)}
		c.Says = fmt.Sprintf("on %03.0f (leg %d) the compass reads %s", l.Compass, l.Number, shortOf(*l.Reference))
		if !l.Reference.Known {
			c.Missing = tooShort(l.Seconds)
		}
		m.check(c)
	}
	if len(m.t.Legs) == 0 {
		m.steadyReference(limit)
	}
}

// steadyReference is the heading against the reference where the boat lay still
// on one heading, or no velocity was logged.
func (m *maker) steadyReference(limit Tolerance) {
	for _, s := range stretches(m.p.epochs) {
		if seconds := m.p.epochs[s.to-1].t - m.p.epochs[s.from].t + 1; seconds < legSeconds-legSlack {
			continue
		}
		var x, at []float64
		for _, e := range m.p.epochs[s.from:s.to] {
			if !math.IsNaN(float64(e.reference)) && !math.IsNaN(float64(e.atRef)) {
				x = append(x, wrap180(float64(e.reference)-float64(e.atRef)-m.p.variation.Degrees))
				at = append(at, float64(e.atRef))
			}
		}
		if len(x) == 0 || circularMean(at).Spread > legSpread {
			continue
		}
		e := meanAngle(x, float64(s.to-s.from)/float64(len(x)))
		m.check(Check{
			Kind: OfReference, Value: &e, Tolerance: &limit, Verdict: e.judge(limit.Most),
			Says: fmt.Sprintf("on %03.0f, steady, the compass reads %s", circularMean(at).Mean, shortOf(e)),
		})
	}
}

// turns tells what a turn was like; one with only course over ground has no
// coefficient and no verdict.
func (m *maker) turns() {
	for _, t := range m.t.Turns {
		side := "port"
		if t.Starboard {
			side = "starboard"
		}
		says := fmt.Sprintf("turned %.1f° (%.2f turns) to %s, median rate %.2f °/s, %.0f %% of the time within 2 to 3 °/s, %d of %d sectors of 15° seen",
			t.Degrees, t.Degrees/360, side, t.Rate, 100*t.Share, t.Sectors, sectors)
		if !t.Reference {
			says += "; no heading reference in it, so it tells no deviation"
		}
		m.check(Check{Kind: OfTurn, Says: says})
	}
}

// sameWaters is how far apart two trials may be, in sea miles: B changes with
// magnetic latitude.
const sameWaters = 200

// magnet compares B and C with those of an earlier trial.
func (m *maker) magnet() {
	was := m.t.Earlier
	if was == nil || was.Method == "" {
		return
	}
	c := Check{Kind: OfMagnet}
	why := m.unalike(was)
	if why == "" {
		c.Verdict = CantTell
		for _, s := range m.t.Swings {
			if s.Method == was.Method {
				m.pulled(&c, was, s)
			}
		}
	} else {
		c.Says = "B and C aren't compared with those of " + was.From + ": " + why
	}
	m.check(c)
}

func (m *maker) pulled(c *Check, was *Earlier, s Swing) {
	larger := func(se [5]float64) float64 { return max(se[coefB], se[coefC]) }
	p := pulled(was.Coef[coefB], was.Coef[coefC], larger(was.SE), s.Fit.Coefficients[coefB], s.Fit.Coefficients[coefC], larger(s.Fit.SE))
	m.t.Pulled, c.Verdict = &p, p.Verdict
	seen := fmt.Sprintf("a change under %.1f° would not be seen", p.Least)
	switch p.Verdict {
	case Outside:
		c.Says = fmt.Sprintf("B and C changed by %.1f° since %s (T² %.1f, over 9.21): look for something magnetic that came, went or moved near the sensor; its pull would be toward %s; %s",
			p.Size, was.From, p.T2, bearing(p.Toward), seen)
		c.Missing = "look for something magnetic near the sensor, toward " + bearing(p.Toward)
	case Within:
		c.Says = fmt.Sprintf("no change of B and C shown since %s (%.1f°, T² %.1f, 9.21 would be one); %s", was.From, p.Size, p.T2, seen)
	default:
		c.Says = fmt.Sprintf("can't tell whether B and C changed since %s: %s, which is more than %d°", was.From, seen, magnetTolerance)
		c.Missing = "the doubt of B and C is too wide to see a change: run each heading twice, " + howToRun
	}
}

// unalike says why two trials can't be compared; "" where they can.
func (m *maker) unalike(was *Earlier) string {
	switch {
	case m.p.in.SetUpAnew:
		return "the compass was set up anew since"
	case was.Unalike != "":
		return was.Unalike
	case was.Place == nil || m.p.place == nil:
		return "it isn't known that both were in the same waters"
	case miles(*was.Place, *m.p.place) > sameWaters:
		return fmt.Sprintf("they were %.0f NM apart, and B changes with the magnetic latitude", miles(*was.Place, *m.p.place))
	case was.Sensor != "" && was.Sensor != m.sensor():
		return fmt.Sprintf("that was another sensor (%s, now %s)", was.Sensor, m.sensor())
	case !slices.ContainsFunc(m.t.Swings, func(s Swing) bool { return s.Method == was.Method }):
		return fmt.Sprintf("that swing was by %s, and this log has none of that kind", was.Method)
	}
	return ""
}

func (m *maker) sensor() string { return m.t.Sensor() }

// Sensor is the name of the compass's sentences; "" where there is none.
func (t Trial) Sensor() string {
	for _, u := range t.Used {
		if u.For == "compass" {
			return u.Name
		}
	}
	return ""
}

// miles between two positions, in sea miles, on a sphere.
func miles(a, b [2]float64) float64 {
	x := sin(a[0])*sin(b[0]) + cos(a[0])*cos(b[0])*cos(b[1]-a[1])
	return math.Acos(min(max(x, -1), 1)) * radian * 60
}
