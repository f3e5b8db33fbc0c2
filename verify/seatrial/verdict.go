package seatrial

import "math"

// Verdict is one of three words; "" where nothing is judged.
type Verdict string

// The verdicts.
const (
	Within   Verdict = "within tolerance"
	Outside  Verdict = "outside"
	CantTell Verdict = "can't tell"
)

// verdictOf holds an estimate with its doubt u against a tolerance. Within needs a
// doubt of half the tolerance at most: a wide doubt proves nothing.
func verdictOf(value, u, tolerance float64) Verdict {
	e := math.Abs(value)
	switch {
	case math.IsNaN(value) || math.IsNaN(u):
		return CantTell
	case e+u <= tolerance && u <= tolerance/2:
		return Within
	case e-u > tolerance:
		return Outside
	}
	return CantTell
}

// verdict holds the estimate against a tolerance. One without a doubt proves nothing.
func (e Estimate) verdict(tolerance float64) Verdict {
	if !e.Known {
		return CantTell
	}
	return verdictOf(e.Value, e.U, tolerance)
}
