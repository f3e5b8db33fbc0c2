package seatrial

import (
	"fmt"
	"math"
	"slices"

	"cardwright/verify/seatrial/sentences"
)

// fillEpochs sorts the values of all sources into seconds.
func (p *prepared) fillEpochs(compass, reference, ground, helm *sentences.Source) {
	p.noteDeviationField(compass)
	p.epochs = seconds(compass, reference, ground, helm)
	p.fillMeans(compass, func(e *epoch, s, c float64) { e.compass = float32(Wrap360(math.Atan2(s, c) * radian)) }, p.reading)
	p.fillMeans(ground, func(e *epoch, s, c float64) { e.east, e.north = float32(s), float32(c) }, nil)
	p.fillRudder(helm)
	if reference != nil {
		p.fillReference(compass, reference)
	}
}

// reading is what the compass shows: with the deviation field applied, or as it
// stands.
func (p *prepared) reading(s sentences.Sample) float64 {
	if d := float64(s.B); p.magnetic && !p.in.BareReading && !math.IsNaN(d) {
		return float64(s.A) + d
	}
	return float64(s.A)
}

// noteDeviationField says what became of the deviation in HDG.
func (p *prepared) noteDeviationField(s *sentences.Source) {
	if s == nil || !p.magnetic {
		return
	}
	least, most := math.Inf(1), math.Inf(-1)
	for _, x := range s.Samples {
		if d := float64(x.B); !math.IsNaN(d) {
			least, most = min(least, d), max(most, d)
		}
	}
	switch {
	case least > most:
		p.field = "the deviation field is empty"
	case least == 0 && most == 0:
		p.field = "the deviation field is 0"
	case p.in.BareReading:
		p.field = fmt.Sprintf("the deviation field (%s to %s) was left out: deviation is that of the bare reading", East(least), East(most))
	default:
		p.field = fmt.Sprintf("the deviation field (%s to %s) was applied: deviation is what remains on the corrected reading", East(least), East(most))
	}
}

// seconds are the seconds in which any source has a value.
func seconds(all ...*sentences.Source) []epoch {
	n := 0
	for _, s := range all {
		if s != nil {
			n = max(n, len(s.Samples))
		}
	}
	times := make([]int64, 0, n)
	for _, s := range all {
		if s == nil {
			continue
		}
		last := int64(math.MinInt64)
		for _, x := range s.Samples {
			if t := int64(math.Floor(x.T)); t != last {
				times, last = append(times, t), t
			}
		}
	}
	slices.Sort(times)
	times = slices.Compact(times)
	epochs := make([]epoch, len(times))
	for i, t := range times {
		epochs[i] = epoch{t, nan32, nan32, nan32, nan32, nan32, nan32, nan32}
	}
	return epochs
}

// fillMeans sets the mean of each second: of angles where reading is given, of
// velocities where not.
func (p *prepared) fillMeans(s *sentences.Source, set func(e *epoch, s, c float64), reading func(sentences.Sample) float64) {
	if s == nil {
		return
	}
	var east, north, n float64
	at := 0
	for i, x := range s.Samples {
		t := int64(math.Floor(x.T))
		for p.epochs[at].t < t {
			at++
		}
		v := Velocity{}
		if reading != nil {
			v = groundVelocity(reading(x), 1)
		} else {
			v = groundVelocity(float64(x.A), float64(x.B))
		}
		east, north, n = east+v.East, north+v.North, n+1
		if i+1 == len(s.Samples) || int64(math.Floor(s.Samples[i+1].T)) != t {
			set(&p.epochs[at], east/n, north/n)
			east, north, n = 0, 0, 0
		}
	}
}

// fillRudder takes the last angle in each second.
func (p *prepared) fillRudder(s *sentences.Source) {
	if s == nil {
		return
	}
	at := 0
	for _, x := range s.Samples {
		for p.epochs[at].t < int64(math.Floor(x.T)) {
			at++
		}
		p.epochs[at].helm, p.epochs[at].helmOtherSide = x.A, x.B
		p.twoHelms = p.twoHelms || !math.IsNaN(float64(x.B))
	}
}

// closest is how far apart, in seconds, two readings may be between which the
// compass is interpolated.
const closest = 2.5

// fillReference takes the first value of the reference in each second, and the compass
// at that very moment.
func (p *prepared) fillReference(compass, reference *sentences.Source) {
	c := compass.Samples
	at, k := 0, 0
	last := int64(math.MinInt64)
	for _, x := range reference.Samples {
		t := int64(math.Floor(x.T))
		if t == last {
			continue
		}
		last = t
		for p.epochs[at].t < t {
			at++
		}
		for k+1 < len(c) && c[k+1].T <= x.T {
			k++
		}
		reading, ok := p.compassAt(c, k, x.T)
		if ok {
			p.epochs[at].reference, p.epochs[at].atRef = x.A, float32(reading)
		}
	}
}

// compassAt is the compass at a moment, between sample k and the next.
func (p *prepared) compassAt(c []sentences.Sample, k int, t float64) (float64, bool) {
	a := c[k]
	if k+1 == len(c) || a.T >= t {
		return p.reading(a), math.Abs(a.T-t) <= closest/2
	}
	b := c[k+1]
	if b.T-a.T > closest {
		return p.reading(a), t-a.T <= closest/2
	}
	from := p.reading(a)
	return Wrap360(from + wrap180(p.reading(b)-from)*(t-a.T)/(b.T-a.T)), true
}
