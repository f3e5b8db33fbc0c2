package seatrial

import "math"

// chi99 is chi-squared with two degrees of freedom at 99 % (tables).
const chi99 = 9.210340371976182

// magnetTolerance is the change of B and C, in degrees, that has to be seen for
// "no change" to mean anything (common practice, no source).
const magnetTolerance = 3

// Pulled is what became of B and C since an earlier record.
type Pulled struct {
	B       float64 `json:"b"` // change, degrees
	C       float64 `json:"c"`
	Size    float64 `json:"size"`
	T2      float64 `json:"t2"`      // of χ² with two degrees of freedom
	Least   float64 `json:"least"`   // least change that would have been seen, degrees
	Changed bool    `json:"changed"` // at 99 %
	Toward  float64 `json:"toward"`  // degrees from the bow, to starboard positive: where the north end is drawn
	Verdict Verdict `json:"verdict"`
}

// pulled compares B and C with those of an earlier record; se are the standard
// errors of one of them, the larger.
func pulled(beforeB, beforeC, beforeSE, b, c, se float64) Pulled {
	v := beforeSE*beforeSE + se*se
	p := Pulled{B: b - beforeB, C: c - beforeC, Least: math.Sqrt(chi99 * v)}
	p.Size = math.Hypot(p.B, p.C)
	p.Toward = wrap180(math.Atan2(p.C, p.B) * radian)
	switch {
	case v > 0:
		p.T2 = p.Size * p.Size / v
	case p.Size > 0:
		p.T2 = math.MaxFloat64
	}
	p.Changed = p.T2 > chi99
	switch {
	case p.Changed:
		p.Verdict = Outside
	case p.Least > magnetTolerance:
		p.Verdict = CantTell
	default:
		p.Verdict = Within
	}
	return p
}
