package seatrial

import (
	"math"
	"slices"
)

// What counts as a turn for a swing (common practice, no source).
const (
	fullTurn   = 360.0
	leastRate  = 0.5 // degrees a second
	slowFrom   = 2.0 // the rate at which a compass is swung
	slowTo     = 3.0
	rateWindow = 5  // seconds each side
	sectors    = 24 // of 15°
	turnBreak  = 8  // seconds of slower turning that don't end a turn

	nearlyRound = 10 // degrees that may be lost where a turn begins and ends
)

// Turn is one turn of 360° or more.
type Turn struct {
	At        float64 `json:"at"` // time of day in UTC, seconds
	Seconds   int     `json:"seconds"`
	Degrees   float64 `json:"degrees"`
	Starboard bool    `json:"starboard"`
	Rate      float64 `json:"rate"` // median, degrees a second
	Share     float64 `json:"share"`
	Sectors   int     `json:"sectors"` // of 24 that were seen
	Reference bool    `json:"reference"`

	samples turnSamples
}

// findTurns finds the turns that go all the way round.
func findTurns(p *prepared) (all []Turn) {
	for _, s := range stretches(p.epochs) {
		heading := unwind(p.epochs, s)
		rate := rates(runningMean(heading, 1), p.epochs[s.from:s.to])
		for i := 0; i < len(rate); {
			k, side := turnFrom(rate, i)
			if side == 0 {
				i++
				continue
			}
			if math.Abs(heading[k-1]-heading[i]) >= fullTurn-nearlyRound {
				all = append(all, p.turn(s.from+i, s.from+k, heading[i:k], rate[i:k]))
			}
			i = k
		}
	}
	return all
}

// rates are the rates of turn, over a few seconds.
func rates(heading []float64, epochs []epoch) []float64 {
	rate := make([]float64, len(heading))
	for i := range heading {
		a, b := max(0, i-rateWindow), min(len(heading)-1, i+rateWindow)
		if b > a {
			rate[i] = (heading[b] - heading[a]) / float64(epochs[b].t-epochs[a].t)
		}
	}
	return rate
}

// turnFrom reports where a turn that begins at i ends, and its side; side 0: none
// begins there.
func turnFrom(rate []float64, i int) (end int, side float64) {
	if math.Abs(rate[i]) < leastRate {
		return i, 0
	}
	side = math.Copysign(1, rate[i])
	end = i + 1
	for k := i + 1; k < len(rate) && k-end < turnBreak && side*rate[k] > -leastRate; k++ {
		if side*rate[k] >= leastRate {
			end = k + 1
		}
	}
	return end, side
}

func (p *prepared) turn(from, to int, heading, rate []float64) Turn {
	e := p.epochs[from:to]
	t := Turn{
		At: p.in.Log.TimeOfDay(float64(e[0].t)), Seconds: int(e[len(e)-1].t - e[0].t),
		Degrees: math.Abs(heading[len(heading)-1] - heading[0]), Starboard: heading[len(heading)-1] > heading[0],
	}
	var seen [sectors]bool
	slow := 0
	for i, one := range e {
		if c := float64(one.compass); !math.IsNaN(c) {
			seen[int(Wrap360(c+7.5)/(360/sectors))%sectors] = true
		}
		if r := math.Abs(rate[i]); r >= slowFrom && r <= slowTo {
			slow++
		}
		if r := float64(one.reference); !math.IsNaN(r) && !math.IsNaN(float64(one.atRef)) {
			at := float64(one.atRef)
			t.samples = append(t.samples, turnSample{at, wrap180(r - at - p.variation.Degrees), rate[i]})
		}
	}
	for _, s := range seen {
		if s {
			t.Sectors++
		}
	}
	sorted := slices.Clone(rate)
	slices.Sort(sorted)
	t.Rate = math.Abs(sorted[len(sorted)/2])
	t.Share = float64(slow) / float64(len(e))
	t.Reference = float64(len(t.samples)) >= leastShare*float64(len(e))
	return t
}
