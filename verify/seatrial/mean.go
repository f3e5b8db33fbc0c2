package seatrial

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// Bounds of what counts as known.
const (
	// independence is how many seconds of a log give one independent value at
	// most: slow wander of a sensor hides in less (common practice, no source).
	independence = 10
	// fewest independent values from which a doubt is known.
	fewest = 5
	// mostLag bounds the lag-one autocorrelation.
	mostLag = 0.995
)

// Estimate is a value with its doubt: half the width of its 95 % interval. One
// without a doubt (too few independent values) has Known false.
type Estimate struct {
	Value       float64 `json:"value"`
	U           float64 `json:"u95"`
	Known       bool    `json:"known"`
	Samples     int     `json:"samples"`
	Independent float64 `json:"independent"`
}

// meanOf is the mean of samples that are dt seconds apart, with its doubt by
// their lag-one autocorrelation. Fewer than five independent values give no
// doubt.
func meanOf(x []float64, dt float64) Estimate {
	e, s := spread(x, dt)
	if e.Independent < fewest || math.IsNaN(s) {
		return e
	}
	e.U = student(0.975, math.Floor(e.Independent-1)) * s / math.Sqrt(e.Independent)
	e.Known = true
	return e
}

// spread gives the mean without its doubt, and the standard deviation of one
// sample (NaN where there are too few).
func spread(x []float64, dt float64) (Estimate, float64) {
	n := float64(len(x))
	if len(x) < 2 {
		e := Estimate{Samples: len(x)}
		if len(x) == 1 {
			e.Value = x[0]
		}
		return e, math.NaN()
	}
	m := mean(x)
	r1, ss := lagOne(x, m)
	r := min(max(r1+(1+4*r1)/n, 0), mostLag)
	f := (1 + r) / (1 - r)
	independent := min(n/f, n*dt/independence)
	f = n / independent
	e := Estimate{Value: m, Samples: len(x), Independent: independent}
	if n <= f {
		return e, math.NaN()
	}
	return e, math.Sqrt(ss / (n - f))
}

func mean(x []float64) float64 {
	sum := 0.0
	for _, v := range x {
		sum += v
	}
	return sum / float64(len(x))
}

// lagOne is the autocorrelation of neighbours, and the sum of squares about m.
// Samples that don't differ have none.
func lagOne(x []float64, m float64) (r1, ss float64) {
	products := 0.0
	for i, v := range x {
		ss += (v - m) * (v - m)
		if i > 0 {
			products += (x[i-1] - m) * (v - m)
		}
	}
	if ss == 0 {
		return 0, 0
	}
	return products / ss, ss
}

// student is a quantile of Student's t; freedom below one has none.
func student(p, freedom float64) float64 {
	if freedom < 1 {
		return math.Inf(1)
	}
	return distuv.StudentsT{Mu: 0, Sigma: 1, Nu: freedom}.Quantile(p)
}

// average is the mean of independent estimates, known where all are.
func average(all ...Estimate) Estimate {
	out := Estimate{Known: len(all) > 0}
	squares := 0.0
	for _, e := range all {
		out.Value += e.Value / float64(len(all))
		squares += e.U * e.U
		out.Samples += e.Samples
		out.Independent += e.Independent
		out.Known = out.Known && e.Known
	}
	out.U = math.Sqrt(squares) / float64(max(len(all), 1))
	return out
}
