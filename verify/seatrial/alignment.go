package seatrial

import (
	"math"
	"slices"
)

// alignmentOf is how far the compass reads short of the true heading on two
// reciprocal legs, in degrees: the direction of the difference of the two ground
// velocities less the mean heading. A steady current drops out of it, and B and
// C do too, so it can't say that a compass is right.
func alignmentOf(out, back run) float64 {
	direction := out.Ground.minus(back.Ground).Course()
	first := out.Compass + out.Variation
	half := wrap180(back.Compass+back.Variation-180-first) / 2
	return wrap180(direction - first - half)
}

// The points of the compass at which legs are asked for.
const (
	points       = 8
	pointApart   = 360 / points
	differentTwo = 20 // degrees between headings that count as two
)

// missingHeadings are the headings to run that a swing by legs lacks: none where
// there are at least eight headings and no gap over 60°; else those of the eight
// points that no leg is near, or the middles of the widest gaps.
func missingHeadings(at []float64) (missing []float64) {
	distinct := distinctHeadings(at)
	if len(distinct) >= points && widest(distinct) <= widestGap {
		return nil
	}
	for p := range points {
		theta := float64(p * pointApart)
		if nearest(theta, at) > pointApart/2.0 {
			missing = append(missing, theta)
		}
	}
	for len(missing) == 0 && len(distinct) < points { // each point has a leg, but some share one
		var middle, most float64
		for i, a := range distinct {
			if gap := gapAfter(distinct, i); gap > most {
				middle, most = Wrap360(a+gap/2), gap
			}
		}
		missing = append(missing, math.Round(middle/5)*5)
	}
	return missing
}

// distinctHeadings are the headings, in order, that are 20° from one another at
// least.
func distinctHeadings(at []float64) (some []float64) {
	sorted := make([]float64, len(at))
	for i, a := range at {
		sorted[i] = Wrap360(a)
	}
	slices.Sort(sorted)
	for _, a := range sorted {
		if nearest(a, some) >= differentTwo {
			some = append(some, a)
		}
	}
	return some
}

// nearest is how far a heading is from the nearest of others, degrees.
func nearest(theta float64, at []float64) float64 {
	near := math.Inf(1)
	for _, a := range at {
		near = min(near, math.Abs(wrap180(a-theta)))
	}
	return near
}

// gapAfter is how far the next heading is.
func gapAfter(sorted []float64, i int) float64 {
	if len(sorted) == 1 {
		return 360
	}
	return Wrap360(sorted[(i+1)%len(sorted)] - sorted[i])
}

// widest is the widest gap between headings.
func widest(sorted []float64) (most float64) {
	for i := range sorted {
		most = max(most, gapAfter(sorted, i))
	}
	return most
}
