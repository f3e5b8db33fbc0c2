package seatrial

import (
	"math"
)

// Coefficients A to E of the deviation A + B sin θ + C cos θ + D sin 2θ +
// E cos 2θ, in degrees, east positive; θ is the compass reading.
type Coefficients [5]float64

// The places of A, B and C in them.
const (
	coefA = iota
	coefB
	coefC
)

// Letters name them.
var Letters = [5]string{"A", "B", "C", "D", "E"}

// harmonics are what A to E are multiplied by at a compass reading.
func harmonics(theta float64) [5]float64 {
	return [5]float64{1, sin(theta), cos(theta), sin(2 * theta), cos(2 * theta)}
}

// At is the deviation at a compass reading.
func (c Coefficients) At(theta float64) float64 {
	sum := 0.0
	for i, r := range harmonics(theta) {
		sum += r * c[i]
	}
	return sum
}

// Deviation is a fit of the coefficients with its doubt: from legs (fitlegs.go), from
// turns (fitturns.go), from a heading reference (fitseen.go).
type Deviation struct {
	Coefficients Coefficients `json:"coefficients"`
	U            [5]float64   `json:"u95"` // of each
	SE           [5]float64   `json:"standard_errors"`
	Leeway       float64      `json:"leeway_allowance"` // degrees, on every heading; 0 with a heading reference
	// WithoutA says that A isn't known: its doubt is set by lag.
	WithoutA bool `json:"without_a"`

	noises []noise
}

// noise is what one source of it adds to the doubt of A to E.
type noise struct {
	covariance [5][5]float64
	freedom    float64
}

// doubt is the standard error of a sum of coefficients, and its degrees of
// freedom, put together after Welch and Satterthwaite.
func (d Deviation) doubt(weights [5]float64) (se, freedom float64) {
	sum, below, least := 0.0, 0.0, math.Inf(1)
	for _, p := range d.noises {
		v := 0.0
		for i, a := range weights {
			for j, b := range weights {
				v += a * p.covariance[i][j] * b
			}
		}
		v = max(v, 0)
		sum += v
		below += v * v / p.freedom
		least = min(least, p.freedom)
	}
	if below == 0 {
		return math.Sqrt(sum), math.Floor(least)
	}
	return math.Sqrt(sum), math.Floor(sum * sum / below)
}

// halfWidth is half the width of an interval, at a quantile of Student's t.
func (d Deviation) halfWidth(weights [5]float64, quantile float64) float64 {
	se, freedom := d.doubt(weights)
	if se == 0 {
		return 0
	}
	return student(quantile, freedom) * se
}

// setDoubts sets the doubts of the single coefficients.
func (d *Deviation) setDoubts() {
	for i := range d.Coefficients {
		var one [5]float64
		one[i] = 1
		d.SE[i], _ = d.doubt(one)
		d.U[i] = d.halfWidth(one, single)
	}
}

// Quantiles of Student's t: for one heading, and for the whole curve, which
// would be wrong somewhere more often. The verdict uses the first.
const (
	single = 0.975
	family = 0.995
)

// DoubtAt is the doubt of the deviation at one reading, the allowance for leeway
// in it.
func (d Deviation) DoubtAt(theta float64) float64 {
	return d.halfWidth(harmonics(theta), single) + d.Leeway
}

// familyDoubtAt is the doubt of the whole curve at a reading.
func (d Deviation) familyDoubtAt(theta float64) float64 {
	return d.halfWidth(harmonics(theta), family) + d.Leeway
}

// Headings on which the deviation is given and judged: every 15°.
const (
	headingStep  = 15
	headingCount = 360 / headingStep
)

// Heading is the deviation on one heading.
type Heading struct {
	Compass   float64 `json:"compass"`
	Deviation float64 `json:"deviation"`
	U         float64 `json:"u95"`
	Family    float64 `json:"u95_family"`
	Covered   bool    `json:"covered"` // false: in a gap of more than 60° without a leg
}

// Table gives the deviation every 15°; at are the readings that it was found
// from.
func (d Deviation) Table(at []float64) []Heading {
	all := make([]Heading, headingCount)
	for i := range all {
		theta := float64(i * headingStep)
		all[i] = Heading{theta, d.Coefficients.At(theta), d.DoubtAt(theta), d.familyDoubtAt(theta), covered(theta, at)}
	}
	return all
}

// worst is the heading that is furthest off, its doubt not in it.
func worst(table []Heading) Heading {
	worst := table[0]
	for _, h := range table {
		if math.Abs(h.Deviation) > math.Abs(worst.Deviation) {
			worst = h
		}
	}
	return worst
}

// deviationVerdict is within where every heading is, and outside where one is.
func deviationVerdict(table []Heading, tolerance float64) Verdict {
	verdict := Within
	for _, h := range table {
		switch verdictOf(h.Deviation, h.U, tolerance) {
		case Outside:
			return Outside
		case CantTell, "":
			verdict = CantTell
		}
	}
	return verdict
}

// widestGap is the widest gap between headings across which a deviation is given.
const widestGap = 60

// covered reports whether a heading lies in no gap of more than 60°, or at its edge.
func covered(theta float64, at []float64) bool {
	before, after := 360.0, 360.0
	for _, a := range at {
		before = min(before, Wrap360(theta-a))
		after = min(after, Wrap360(a-theta))
	}
	return before+after <= widestGap || min(before, after) <= headingStep/2.0
}
