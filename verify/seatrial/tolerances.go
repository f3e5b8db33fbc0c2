package seatrial

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
