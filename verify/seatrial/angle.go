package seatrial

import (
	"fmt"
	"math"
)

// Angles are in degrees, clockwise from north.

const radian = 180 / math.Pi

// wrap180 brings an angle into (−180, 180].
func wrap180(a float64) float64 {
	a = math.Mod(a, 360)
	switch {
	case a > 180:
		return a - 360
	case a <= -180:
		return a + 360
	}
	return a
}

// Wrap360 brings an angle into [0, 360).
func Wrap360(a float64) float64 {
	if a = math.Mod(a, 360); a < 0 {
		a += 360
	}
	if a >= 360 { // -1e-17 + 360
		return 0
	}
	return a
}

func sin(a float64) float64 { return math.Sin(a / radian) }
func cos(a float64) float64 { return math.Cos(a / radian) }

// circular is the mean of angles, which has no seam at north, and how they are
// spread: spread is √(−2 ln R) in degrees, R the length of the mean vector.
type circular struct{ Mean, Spread, R float64 }

// circularMean of no angles has R 0, and no meaning.
func circularMean(angles []float64) circular {
	if len(angles) == 0 {
		return circular{Spread: math.Inf(1)}
	}
	var s, c float64
	for _, a := range angles {
		s += sin(a)
		c += cos(a)
	}
	n := float64(len(angles))
	r := min(math.Hypot(s, c)/n, 1)
	return circular{Mean: Wrap360(math.Atan2(s, c) * radian), Spread: math.Sqrt(max(0, -2*math.Log(r))) * radian, R: r}
}

// around are angles as differences from a centre, so that they can be treated
// as plain numbers.
func around(angles []float64, centre float64) []float64 {
	all := make([]float64, len(angles))
	for i, a := range angles {
		all[i] = wrap180(a - centre)
	}
	return all
}

// Velocity is a speed over ground by its parts, in knots.
type Velocity struct{ East, North float64 }

// groundVelocity is a velocity from course and speed.
func groundVelocity(course, speed float64) Velocity {
	return Velocity{East: speed * sin(course), North: speed * cos(course)}
}

// Speed in knots, and Course in degrees.
func (v Velocity) Speed() float64  { return math.Hypot(v.East, v.North) }
func (v Velocity) Course() float64 { return Wrap360(math.Atan2(v.East, v.North) * radian) }

// minus is the difference of two velocities.
func (v Velocity) minus(o Velocity) Velocity {
	return Velocity{v.East - o.East, v.North - o.North}
}

// along and across are a velocity's parts in the direction of an angle, and to
// its right.
func (v Velocity) along(a float64) float64  { return v.East*sin(a) + v.North*cos(a) }
func (v Velocity) across(a float64) float64 { return v.East*cos(a) - v.North*sin(a) }

// bearing writes an angle from the bow.
func bearing(a float64) string {
	if a < 0 {
		return fmt.Sprintf("%.0f° to port of the bow", -a)
	}
	return fmt.Sprintf("%.0f° to starboard of the bow", a)
}
