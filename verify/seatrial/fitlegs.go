package seatrial

import (
	"math"

	"gonum.org/v1/gonum/mat"
)

// run is one straight leg as the joint fit takes it.
type run struct {
	Compass   float64  // mean reading, degrees
	Variation float64  // degrees, east positive
	Ground    Velocity // mean velocity over ground
}

// Joint is the fit of speed through the water, current and deviation to legs.
type Joint struct {
	Deviation
	Speed       float64   `json:"speed"` // through the water, knots
	Current     Velocity  `json:"current"`
	AlongSpread float64   `json:"along_spread"` // knots, of one leg
	CrossSpread float64   `json:"cross_spread"`
	Residuals   []float64 `json:"residuals"` // of each leg across its heading, degrees
}

// The allowance for leeway that turns with the wind as a current doesn't: 0.105
// knots sideways looks like B and C to legs, 1.0° at 6 knots.
const (
	leewayAllowance = 1.0
	leewaySpeed     = 6.0
)

// unknowns of the joint fit: speed, current east and north, A to E.
const (
	unknowns  = 8
	firstCoef = 3
	mostSteps = 50
	smallStep = 1e-10
)

// fitJoint fits legs by Gauss and Newton. It needs more legs than five; ok is
// false where their headings don't tell the unknowns apart.
func fitJoint(runs []run) (j Joint, ok bool) {
	m := float64(len(runs))
	if len(runs) < len(Coefficients{})+1 {
		return Joint{}, false
	}
	x := firstGuess(runs)
	var solved jointStep
	for range mostSteps {
		if solved, ok = jointStepFrom(runs, x); !ok {
			return Joint{}, false
		}
		size := 0.0
		for i, d := range solved.step {
			x[i] += d
			size = max(size, math.Abs(d))
		}
		if size < smallStep {
			break
		}
	}
	if solved, ok = jointStepFrom(runs, x); !ok || !(x[0] > 0) {
		return Joint{}, false
	}
	j.Speed, j.Current = x[0], Velocity{x[1], x[2]}
	copy(j.Coefficients[:], x[firstCoef:])
	j.doubts(solved, m)
	j.Leeway = leewayAllowance * leewaySpeed / j.Speed
	for _, c := range solved.cross {
		j.Residuals = append(j.Residuals, c/j.Speed*radian)
	}
	return j, true
}

// firstGuess is the mean velocity as the current, and the mean distance from it as the
// speed.
func firstGuess(runs []run) (x [unknowns]float64) {
	m := float64(len(runs))
	for _, r := range runs {
		x[1] += r.Ground.East / m
		x[2] += r.Ground.North / m
	}
	for _, r := range runs {
		x[0] += r.Ground.minus(Velocity{x[1], x[2]}).Speed() / m
	}
	return x
}

// jointStep is one linear solution: the step, and what is left along and across
// each leg's heading.
type jointStep struct {
	step         []float64
	along, cross []float64
	influence    *mat.Dense // H = (XᵀX)⁻¹Xᵀ; even columns are along, odd ones across
}

func jointStepFrom(runs []run, x [unknowns]float64) (jointStep, bool) {
	var s jointStep
	c := Coefficients(x[firstCoef:])
	rows, values := make([][]float64, 0, 2*len(runs)), make([]float64, 0, 2*len(runs))
	for _, r := range runs {
		psi := r.Compass + c.At(r.Compass) + r.Variation
		v := r.Ground.minus(Velocity{x[1], x[2]})
		along, cross := v.along(psi)-x[0], v.across(psi)
		s.along, s.cross = append(s.along, along), append(s.cross, cross)
		a, b := make([]float64, unknowns), make([]float64, unknowns)
		a[0], a[1], a[2] = 1, sin(psi), cos(psi)
		b[1], b[2] = cos(psi), -sin(psi)
		for i, f := range harmonics(r.Compass) {
			b[firstCoef+i] = x[0] / radian * f
		}
		rows, values = append(rows, a, b), append(values, along, cross)
	}
	fit, ok := leastSquares(rows, values)
	if !ok {
		return s, false
	}
	s.step = fit.solution
	all := mat.NewDense(len(rows), unknowns, nil)
	for i, r := range rows {
		all.SetRow(i, r)
	}
	s.influence = new(mat.Dense)
	s.influence.Mul(fit.inverse, all.T())
	return s, true
}

// doubts come from two variances, along and across the legs.
func (j *Joint) doubts(s jointStep, m float64) {
	alongFreedom, crossFreedom := m-3, m-5
	va, vx := squares(s.along)/alongFreedom, squares(s.cross)/crossFreedom
	j.AlongSpread, j.CrossSpread = math.Sqrt(va), math.Sqrt(vx)
	along, cross := noise{freedom: alongFreedom}, noise{freedom: crossFreedom}
	_, columns := s.influence.Dims()
	for c := range columns {
		to, variance := &along, va
		if c%2 == 1 {
			to, variance = &cross, vx
		}
		for i := range 5 {
			for k := range 5 {
				to.covariance[i][k] += variance * s.influence.At(firstCoef+i, c) * s.influence.At(firstCoef+k, c)
			}
		}
	}
	j.noises = []noise{along, cross}
	j.setDoubts()
}

func squares(x []float64) float64 {
	sum := 0.0
	for _, v := range x {
		sum += v * v
	}
	return sum
}
