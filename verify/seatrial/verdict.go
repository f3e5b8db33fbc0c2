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

// Tolerance is how far a value may be off, and who says so.
type Tolerance struct {
	Most   float64 `json:"most"`
	Source string  `json:"source"`
}

// Tolerances of a trial. Deviation, Alignment, Helm and RMS are in degrees,
// Overshoot is in percent of the turn.
type Tolerances struct {
	Deviation Tolerance `json:"deviation"`
	Alignment Tolerance `json:"alignment"`
	Helm      Tolerance `json:"helm"`
	RMS       Tolerance `json:"rms"`
	Overshoot Tolerance `json:"overshoot"`
}

// practice marks what common practice says and no source.
const practice = "practice, no source"

// Usual are the tolerances where the shop has set none.
func Usual() Tolerances {
	return Tolerances{
		Deviation: Tolerance{5, "Marshall Islands Marine Notice 2-011-32 (6/09), for ships: residual deviation on any heading"},
		Alignment: Tolerance{3, practice},
		Helm:      Tolerance{2, practice},
		RMS:       Tolerance{2, practice + ", for calm water"},
		Overshoot: Tolerance{20, practice},
	}
}
