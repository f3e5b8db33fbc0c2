// Package simulate makes logs of a boat whose compass, current and wind are
// known, for tests and for the demonstration: what a trial finds can be laid
// next to the truth.
package simulate

import "math"

// Random is SplitMix64 (Steele, Lea and Flood, 2014), so that the same seed
// gives the same log everywhere.
type Random struct{ state uint64 }

// Seeded is a source that begins at seed.
func Seeded(seed uint64) *Random { return &Random{seed} }

// Next is the next 64 bits.
func (r *Random) Next() uint64 {
	r.state += 0x9E3779B97F4A7C15
	z := r.state
	z = (z ^ z>>30) * 0xBF58476D1CE4E5B9
	z = (z ^ z>>27) * 0x94D049BB133111EB
	return z ^ z>>31
}

// Uniform is a number in [0, 1).
func (r *Random) Uniform() float64 { return float64(r.Next()>>11) / (1 << 53) }

// Normal is a number of the normal distribution with mean 0 and deviation 1, by
// Box and Muller; it takes two draws.
func (r *Random) Normal() float64 {
	u1 := 1 - r.Uniform()
	u2 := r.Uniform()
	return math.Sqrt(-2*math.Log(u1)) * math.Cos(2*math.Pi*u2)
}

// Wander is noise that remembers: n samples of deviation sigma whose neighbours
// are correlated by rho.
func (r *Random) Wander(n int, rho, sigma float64) []float64 {
	x := make([]float64, n)
	for i := range x {
		if i == 0 {
			x[0] = sigma * r.Normal()
			continue
		}
		x[i] = rho*x[i-1] + math.Sqrt(1-rho*rho)*sigma*r.Normal()
	}
	return x
}
