package seatrial

import (
	"fmt"
	"math"
	"slices"

	"cardwright/verify/seatrial/sentences"
)

// What counts as a straight leg (common practice, no source).
const (
	legSeconds   = 120 // straight, at least
	settle       = 30  // seconds after a turn that are dropped
	legSpread    = 5.0 // degrees, of the heading
	legKnots     = 5.0 // mean over a set of legs: with a current one of a pair is slower
	leastKnots   = 1.0 // of a single one: below it course over ground says nothing
	leastShare   = 0.5 // of a leg's seconds that have a velocity
	drift        = 4.0 // degrees from end to end
	turnWindow   = 10  // seconds each side
	turnAngle    = 6.0 // degrees between before and after that make a turn
	smoothed     = 5   // seconds each side, of the heading for finding turns
	legSlack     = 2   // seconds that a leg may be short by: it is found by the second
	longestGap   = sentences.GapSeconds
	closeToMean  = 3.0 // degrees that a leg's end may be off its mean, at least
	mostRejected = 12  // that are listed
)

// Leg is one straight leg, its first 30 seconds left out.
type Leg struct {
	Number     int       `json:"number"`
	At         float64   `json:"at"` // time of day in UTC, seconds
	Seconds    int       `json:"seconds"`
	Compass    float64   `json:"compass"` // mean reading
	Spread     float64   `json:"spread"`
	Course     float64   `json:"course"` // of the mean velocity over ground
	Knots      float64   `json:"knots"`
	Ground     Velocity  `json:"-"`
	Difference Estimate  `json:"difference"` // course over ground less true heading: with current and leeway in it
	Reference  *Estimate `json:"reference"`  // deviation by the heading reference
	Helm       *Estimate `json:"helm"`       // to starboard positive
	Residual   *float64  `json:"residual"`   // of the fit, degrees

	from, to int // epochs
}

// Rejected says what was thrown away and why.
type Rejected struct {
	At      float64 `json:"at"`
	Seconds int     `json:"seconds"`
	Why     string  `json:"why"`
}

// finder finds legs in the epochs of one log.
type finder struct {
	p            *prepared
	legs         []Leg
	rejected     []Rejected
	dropped      int // seconds after turns
	moreRejected int // rejected beyond those listed
}

// stretch is a run of epochs without a gap.
type stretch struct{ from, to int } // to is behind the last

// stretches are the runs of epochs with a heading, without a gap.
func stretches(epochs []epoch) (all []stretch) {
	begin, last := -1, -1
	for i, e := range epochs {
		if math.IsNaN(float64(e.compass)) {
			continue
		}
		if begin >= 0 && e.t-epochs[last].t > longestGap {
			all = append(all, stretch{begin, last + 1})
			begin = -1
		}
		if begin < 0 {
			begin = i
		}
		last = i
	}
	if begin >= 0 {
		all = append(all, stretch{begin, last + 1})
	}
	return all
}

// unwind makes headings without a seam; a second without one takes that before.
func unwind(epochs []epoch, s stretch) []float64 {
	all := make([]float64, 0, s.to-s.from)
	now := float64(epochs[s.from].compass)
	for _, e := range epochs[s.from:s.to] {
		if c := float64(e.compass); !math.IsNaN(c) {
			now += wrap180(c - now)
		}
		all = append(all, now)
	}
	return all
}

// runningMean is the mean over a window that reaches so far to each side.
func runningMean(x []float64, side int) []float64 {
	out := make([]float64, len(x))
	sums := make([]float64, len(x)+1)
	for i, v := range x {
		sums[i+1] = sums[i] + v
	}
	for i := range x {
		a, b := max(0, i-side), min(len(x), i+side+1)
		out[i] = (sums[b] - sums[a]) / float64(b-a)
	}
	return out
}

// findLegs finds the straight legs of a log.
func findLegs(p *prepared) finder {
	f := finder{p: p}
	for _, s := range stretches(p.epochs) {
		f.splitStretch(s)
	}
	for i := range f.legs {
		f.legs[i].Number = i + 1
		f.measure(&f.legs[i])
	}
	return f
}

// splitStretch splits a stretch where the boat turns.
func (f *finder) splitStretch(s stretch) {
	heading := unwind(f.p.epochs, s)
	smooth := runningMean(heading, smoothed)
	turning := make([]bool, len(heading))
	for i := range smooth {
		a, b := max(0, i-turnWindow), min(len(smooth)-1, i+turnWindow)
		turning[i] = math.Abs(smooth[b]-smooth[a]) > turnAngle
	}
	for i := 0; i < len(turning); {
		if turning[i] {
			i++
			continue
		}
		k := i
		for k < len(turning) && !turning[k] {
			k++
		}
		f.extendStraight(s, heading, i, k)
		i = k
	}
}

// extendStraight moves the ends of a straight part out to where the turns begin, and
// takes it for a leg.
func (f *finder) extendStraight(s stretch, heading []float64, from, to int) {
	m := mean(heading[from:to])
	near := max(closeToMean, 3*math.Sqrt(squares(lessMean(heading[from:to], m))/float64(to-from)))
	smooth := runningMean(heading, 1)
	for from > 0 && math.Abs(smooth[from-1]-m) <= near {
		from--
	}
	for to < len(heading) && math.Abs(smooth[to]-m) <= near {
		to++
	}
	afterTurn := from > 0 || s.from > 0
	f.takeLeg(s.from+from, s.from+to, afterTurn)
}

// lessMean are values less their mean.
func lessMean(x []float64, m float64) []float64 {
	all := make([]float64, len(x))
	for i, v := range x {
		all[i] = v - m
	}
	return all
}

// takeLeg makes a leg of a straight part, or says why it is none. One that wanders is
// tried again in halves.
func (f *finder) takeLeg(from, to int, afterTurn bool) {
	e := f.p.epochs
	seconds := int(e[to-1].t-e[from].t) + 1
	if seconds < legSeconds-legSlack {
		if seconds > settle {
			f.reject(from, seconds, fmt.Sprintf("straight for %d s, and a leg takes %d s", seconds, legSeconds))
		}
		return
	}
	begin := from
	if afterTurn {
		for e[begin].t-e[from].t < settle {
			begin++
		}
		f.dropped += settle
	}
	why, wanders := f.whyNoLeg(begin, to)
	switch {
	case why == "":
		f.legs = append(f.legs, Leg{from: begin, to: to})
	case wanders && seconds >= 2*(legSeconds+settle):
		middle := (from + to) / 2
		f.takeLeg(from, middle, afterTurn)
		f.takeLeg(middle, to, false)
	default:
		f.reject(from, seconds, why)
	}
}

func (f *finder) reject(from, seconds int, why string) {
	if len(f.rejected) == mostRejected {
		f.moreRejected++
		return
	}
	f.rejected = append(f.rejected, Rejected{f.p.in.Log.TimeOfDay(float64(f.p.epochs[from].t)), seconds, why})
}

// whyNoLeg says why a straight part is no leg; wanders, that half of it may be one.
func (f *finder) whyNoLeg(from, to int) (why string, wanders bool) {
	e := f.p.epochs[from:to]
	heading := unwind(f.p.epochs, stretch{from, to})
	spread := math.Sqrt(squares(lessMean(heading, mean(heading))) / float64(len(heading)))
	if spread > legSpread {
		return fmt.Sprintf("the heading spread by %.1f°, and a straight leg has at most %.0f°", spread, legSpread), true
	}
	if d := trend(heading); math.Abs(d) > max(drift, trendDoubt*spread) {
		return fmt.Sprintf("the heading drifted by %.0f° from end to end", math.Abs(d)), true
	}
	n, speed := 0.0, Velocity{}
	for _, one := range e {
		if !math.IsNaN(float64(one.east)) {
			n++
			speed.East += float64(one.east)
			speed.North += float64(one.north)
		}
	}
	switch seconds := float64(e[len(e)-1].t - e[0].t + 1); {
	case n == 0:
		return "no course and speed over ground", false
	case n < leastShare*seconds*f.groundRate():
		return fmt.Sprintf("course and speed over ground in only %.0f of %.0f s", n, seconds), false
	case speed.Speed()/n < leastKnots:
		return fmt.Sprintf("%.1f kn over ground: too slow for a course", speed.Speed()/n), false
	}
	return "", false
}

// groundRate is how many velocities a second the log has where it has them: some
// receivers tell one every two seconds.
func (f *finder) groundRate() float64 {
	const seconds = 2
	for i := 1; i < len(f.p.epochs); i++ {
		a, b := f.p.epochs[i-1], f.p.epochs[i]
		if b.t-a.t == 1 && !math.IsNaN(float64(a.east)) && !math.IsNaN(float64(b.east)) {
			return 1
		}
	}
	return 1.0 / seconds
}

// trendDoubt times the spread is what a course kept without drift may show from
// end to end by chance.
const trendDoubt = 2.5

// trend is the slope of a line through the values, from end to end.
func trend(x []float64) float64 {
	n := float64(len(x))
	m, sxy, sxx := mean(x), 0.0, 0.0
	for i, v := range x {
		d := float64(i) - (n-1)/2
		sxy += d * (v - m)
		sxx += d * d
	}
	if sxx == 0 {
		return 0
	}
	return sxy / sxx * (n - 1)
}

// measure fills a leg in.
func (f *finder) measure(l *Leg) {
	e := f.p.epochs[l.from:l.to]
	l.At = f.p.in.Log.TimeOfDay(float64(e[0].t))
	l.Seconds = int(e[len(e)-1].t-e[0].t) + 1
	var compass, difference, reference, helm []float64
	n := 0.0
	for _, one := range e {
		if c := float64(one.compass); !math.IsNaN(c) {
			compass = append(compass, c)
		}
		if !math.IsNaN(float64(one.east)) {
			n++
			l.Ground.East += float64(one.east)
			l.Ground.North += float64(one.north)
			if v := (Velocity{float64(one.east), float64(one.north)}); !math.IsNaN(float64(one.compass)) {
				difference = append(difference, wrap180(v.Course()-float64(one.compass)-f.p.variation.Degrees))
			}
		}
		if !math.IsNaN(float64(one.reference)) && !math.IsNaN(float64(one.atRef)) {
			reference = append(reference, wrap180(float64(one.reference)-float64(one.atRef)-f.p.variation.Degrees))
		}
		if h := float64(one.helm); !math.IsNaN(h) {
			helm = append(helm, h)
		}
	}
	l.Ground = Velocity{l.Ground.East / n, l.Ground.North / n}
	c := circularMean(compass)
	l.Compass, l.Spread = c.Mean, c.Spread
	l.Course, l.Knots = l.Ground.Course(), l.Ground.Speed()
	l.Difference = meanAngle(difference, l.dt(difference))
	if len(reference) > 0 {
		m := meanAngle(reference, l.dt(reference))
		l.Reference = &m
	}
	if len(helm) > 0 {
		m := meanOf(helm, l.dt(helm))
		l.Helm = &m
	}
}

// dt is the time between samples that fill a leg.
func (l *Leg) dt(x []float64) float64 { return float64(l.Seconds) / float64(max(len(x), 1)) }

// meanAngle is the mean of angles that may lie on both sides of 180°.
func meanAngle(x []float64, dt float64) Estimate {
	centre := circularMean(x).Mean
	e := meanOf(around(x, centre), dt)
	e.Value = wrap180(e.Value + centre)
	return e
}

// run is the leg as the joint fit takes it.
func (l *Leg) run(variation float64) run { return run{l.Compass, variation, l.Ground} }

// pairs are the legs that are reciprocal: each leg with the one that is nearest
// to opposite, once.
func pairs(legs []Leg) (all [][2]int) {
	const apart = 10.0
	used := make([]bool, len(legs))
	type candidate struct {
		a, b int
		off  float64
	}
	var list []candidate
	for a := range legs {
		for b := a + 1; b < len(legs); b++ {
			if off := math.Abs(wrap180(legs[b].Compass - legs[a].Compass - 180)); off <= apart {
				list = append(list, candidate{a, b, off + float64(b-a)/apart}) // neighbours in time have the same current
			}
		}
	}
	slices.SortStableFunc(list, func(a, b candidate) int { return int(math.Copysign(1, a.off-b.off)) })
	for _, c := range list {
		if !used[c.a] && !used[c.b] {
			used[c.a], used[c.b] = true, true
			all = append(all, [2]int{c.a, c.b})
		}
	}
	slices.SortFunc(all, func(x, y [2]int) int { return x[0] - y[0] })
	return all
}
