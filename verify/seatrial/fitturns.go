package seatrial

import "math"

// turnSamples are the samples of one turn with a heading reference, evenly spaced.
type turnSamples []turnSample

// turnSample is a compass reading, the deviation that the reference shows, and
// the rate of turn in degrees a second, to starboard positive.
type turnSample struct{ Compass, Deviation, Rate float64 }

// Lagged is a fit of A to E and the lag between compass and reference.
type Lagged struct {
	Deviation
	Lag         Estimate `json:"lag"` // seconds that the compass is behind the reference
	BothWays    bool     `json:"both_ways"`
	Correlation float64  `json:"correlation"` // of neighbouring residuals
	Spread      float64  `json:"spread"`      // of one sample's residual, degrees
}

// lagDoubt is the lag, in seconds, that a turn one way can't tell from A.
const lagDoubt = 1.0

// rounds of Prais and Winsten after ordinary least squares.
const rounds = 3

// fitLagged fits turns. Turns both ways separate the lag from A; one way, A
// carries the rate of turn times a second as doubt.
func fitLagged(turns []turnSamples) (l Lagged, ok bool) {
	rate := 0.0
	l.BothWays, rate = bothWays(turns)
	p := len(l.Coefficients)
	if l.BothWays {
		p++
	}
	n := 0
	for _, t := range turns {
		n += len(t)
	}
	if n < fewest*p {
		return Lagged{}, false
	}
	fit, ok := fitTurns(turns, p, 0)
	for range rounds {
		if !ok {
			return Lagged{}, false
		}
		l.Correlation = correlation(turns, fit.solution, p, float64(n))
		fit, ok = fitTurns(turns, p, l.Correlation)
	}
	if !ok {
		return Lagged{}, false
	}
	l.conclude(fit, float64(n-p), rate)
	return l, true
}

func (l *Lagged) conclude(fit fitted, freedom, rate float64) {
	variance := fit.squares / freedom
	l.Spread = math.Sqrt(variance / (1 - l.Correlation*l.Correlation))
	copy(l.Coefficients[:], fit.solution)
	l.noises = []noise{{covariance(fit.inverse, variance), freedom}}
	l.setDoubts()
	if l.BothWays {
		i := len(l.Coefficients)
		l.Lag = Estimate{Value: fit.solution[i], Known: true, U: student(single, freedom) * math.Sqrt(variance*fit.inverse.At(i, i))}
		return
	}
	l.WithoutA = true
	l.U[coefA] += math.Abs(rate) * lagDoubt
}

// bothWays reports whether turns go to both sides, and the mean rate of turn.
func bothWays(turns []turnSamples) (both bool, rate float64) {
	var port, starboard bool
	n := 0
	for _, t := range turns {
		sum := 0.0
		for _, s := range t {
			sum += s.Rate
		}
		port, starboard = port || sum < 0, starboard || sum > 0
		rate += math.Abs(sum)
		n += len(t)
	}
	return port && starboard, rate / float64(max(n, 1))
}

func regressors(s turnSample, p int) []float64 {
	r := harmonics(s.Compass)
	if p > len(r) {
		return append(r[:], s.Rate)
	}
	return r[:]
}

// fitTurns is least squares of values from which r of the one before was taken;
// the first of each turn is weighted instead.
func fitTurns(turns []turnSamples, p int, r float64) (fitted, bool) {
	var rows [][]float64
	var values []float64
	for _, t := range turns {
		var before []float64
		for i, s := range t {
			now := regressors(s, p)
			lessened, value := make([]float64, p), math.Sqrt(1-r*r)*s.Deviation
			for k := range lessened {
				lessened[k] = math.Sqrt(1-r*r) * now[k]
			}
			if i > 0 {
				value = s.Deviation - r*t[i-1].Deviation
				for k := range lessened {
					lessened[k] = now[k] - r*before[k]
				}
			}
			before = now
			rows, values = append(rows, lessened), append(values, value)
		}
	}
	return leastSquares(rows, values)
}

// correlation of neighbouring residuals, corrected for what the fit took out.
func correlation(turns []turnSamples, solution []float64, p int, n float64) float64 {
	products, ss := 0.0, 0.0
	for _, t := range turns {
		before := 0.0
		for i, s := range t {
			e := s.Deviation
			for k, x := range regressors(s, p) {
				e -= x * solution[k]
			}
			if ss += e * e; i > 0 {
				products += before * e
			}
			before = e
		}
	}
	if ss == 0 {
		return 0
	}
	r1 := products / ss
	return min(max(r1+(float64(p)+float64(p+2)*r1)/n, 0), mostLag)
}

// sectorMeans are the means of what was seen in each 15° of each turn, less the lag.
func sectorMeans(turns []turnSamples, l Lagged) (all []Seen) {
	for _, t := range turns {
		var sum, n, at [sectors]float64
		for _, x := range t {
			i := int(Wrap360(x.Compass+7.5)/(360/sectors)) % sectors
			sum[i] += x.Deviation - l.Lag.Value*x.Rate
			at[i] += wrap180(x.Compass - float64(i*360/sectors))
			n[i]++
		}
		for i := range sum {
			if n[i] > 0 {
				all = append(all, Seen{Wrap360(float64(i*360/sectors) + at[i]/n[i]), sum[i] / n[i]})
			}
		}
	}
	return all
}
