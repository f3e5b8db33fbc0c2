package seatrial

import "math"

// Keeping is how a course was kept.
type Keeping struct {
	Mean      float64  `json:"mean"`      // circular, degrees
	RMS       Estimate `json:"rms"`       // about the mean, degrees
	Period    float64  `json:"period"`    // seconds; 0: none that is steady
	Strength  float64  `json:"strength"`  // autocorrelation at the period
	Amplitude float64  `json:"amplitude"` // degrees, of a steady swing
	Short     bool     `json:"short"`     // the log is shorter than four periods: the period isn't known
}

// Bounds of a period.
const (
	steady       = 0.3 // autocorrelation at the period, at least
	fewestCycles = 4
	longestLag   = 300 // seconds
)

// keepingOf is how a course was kept, from headings dt seconds apart.
func keepingOf(headings []float64, dt float64) Keeping {
	k := Keeping{Mean: circularMean(headings).Mean}
	x := around(headings, k.Mean)
	k.RMS = rms(x, dt)
	k.period(x, dt)
	return k
}

// rms is the root of the mean square; its doubt comes from that of the mean
// square.
func rms(x []float64, dt float64) Estimate {
	m := mean(x)
	sq := make([]float64, len(x))
	for i, v := range x {
		sq[i] = (v - m) * (v - m)
	}
	e := meanOf(sq, dt)
	e.Value = math.Sqrt(e.Value)
	if e.Value > 0 {
		e.U /= 2 * e.Value
	}
	return e
}

// period finds the first peak of the autocorrelation after it went below zero.
func (k *Keeping) period(x []float64, dt float64) {
	auto := autocorrelation(x, min(len(x)-1, int(longestLag/dt)+1))
	i := 1
	for i < len(auto) && auto[i] >= 0 {
		i++
	}
	for ; i+1 < len(auto); i++ {
		if auto[i] < steady || auto[i] < auto[i-1] || auto[i] < auto[i+1] {
			continue
		}
		k.Strength = auto[i]
		lag := (float64(i) + peakOffset(auto[i-1], auto[i], auto[i+1])) * dt
		if float64(len(x))*dt < fewestCycles*lag {
			k.Short = true
			return
		}
		k.Period, k.Amplitude = lag, math.Sqrt2*k.RMS.Value
		return
	}
	k.Short = float64(len(x))*dt < fewestCycles*independence
}

// peakOffset is where a parabola through three points has its top, from the
// middle one.
func peakOffset(a, b, c float64) float64 {
	if curve := a - 2*b + c; curve != 0 {
		return (a - c) / (2 * curve)
	}
	return 0
}

// autocorrelation, biased, about the mean, for lags 0 to most.
func autocorrelation(x []float64, most int) []float64 {
	m := mean(x)
	ss := 0.0
	for _, v := range x {
		ss += (v - m) * (v - m)
	}
	if ss == 0 || most < 1 {
		return nil
	}
	all := make([]float64, most+1)
	for lag := range all {
		for i := lag; i < len(x); i++ {
			all[lag] += (x[i] - m) * (x[i-lag] - m)
		}
		all[lag] /= ss
	}
	return all
}

// stopsOf reports whether the rudder was held at its end: within half a degree of
// its greatest angle for two seconds, at more than 20°, on both sides.
func stopsOf(angles []float64, dt float64) (port, starboard float64, reached bool) {
	const near, hold, least = 0.5, 2.0, 20.0
	for side, extreme := range map[float64]*float64{-1: &port, 1: &starboard} {
		most := 0.0
		for _, a := range angles {
			most = max(most, side*a)
		}
		held := 0
		for _, a := range angles {
			if side*a >= most-near {
				held++
			} else {
				held = 0
			}
			if most > least && float64(held)*dt >= hold {
				*extreme = side * most
			}
		}
	}
	return port, starboard, port != 0 && starboard != 0
}
