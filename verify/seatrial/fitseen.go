package seatrial

// Seen is the deviation that was seen at a compass reading.
type Seen struct{ Compass, Deviation float64 }

// FitSeen fits A to E to deviations that were seen, by least squares. Fewer than
// six have no doubt, and give nothing.
func FitSeen(seen []Seen) (Deviation, []float64, bool) {
	if len(seen) < len(Coefficients{})+1 {
		return Deviation{}, nil, false
	}
	rows, values := make([][]float64, len(seen)), make([]float64, len(seen))
	for i, s := range seen {
		r := harmonics(s.Compass)
		rows[i], values[i] = r[:], s.Deviation
	}
	fit, ok := leastSquares(rows, values)
	if !ok {
		return Deviation{}, nil, false
	}
	var d Deviation
	freedom := float64(len(seen) - len(d.Coefficients))
	copy(d.Coefficients[:], fit.solution) // A to E stand first in it
	d.noises = []noise{{covariance(fit.inverse, fit.squares/freedom), freedom}}
	d.setDoubts()
	return d, fit.residuals, true
}
