package seatrial

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"cardwright/verify/seatrial/simulate"
)

// The examples E1 to E12 were computed by one independent program from the
// models, noises and seeds given in each; point values hold to 1e-4, doubts to
// 3 %.
const point = 1e-4

func doubt(t *testing.T, want, got float64) {
	t.Helper()
	require.InEpsilon(t, want, got, 0.03)
}

func coefficients(t *testing.T, want [5]float64, got Coefficients) {
	t.Helper()
	for i := range want {
		require.InDelta(t, want[i], got[i], point, Letters[i])
	}
}

func doubts(t *testing.T, want, got [5]float64) {
	t.Helper()
	for i := range want {
		require.InEpsilon(t, want[i], got[i], 0.03, Letters[i])
	}
}

func TestRandomNumbersAreThePublishedOnes(t *testing.T) {
	r := simulate.Seeded(1)
	require.Equal(t, []uint64{0x910a2dec89025cc1, 0xbeeb8da1658eec67, 0xf893a2eefb32555e}, []uint64{r.Next(), r.Next(), r.Next()})
	r = simulate.Seeded(1)
	for _, want := range []float64{-0.034267321792, -2.500067493370, 0.087722468315} {
		require.InDelta(t, want, r.Normal(), 1e-11)
	}
}

// E1: the deviations are those of the Handbook of Magnetic Compass Adjustment
// (NGA, 2004), ch. V §501.
func TestE1HandbookTable(t *testing.T) {
	seen := []Seen{{0, 10.5}, {45, 20.0}, {90, 11.5}, {135, -1.2}, {180, -5.5}, {225, -8.0}, {270, -12.5}, {315, -6.8}}
	d, residuals, ok := FitSeen(seen)
	require.True(t, ok)
	coefficients(t, [5]float64{1, 11.9397, 7.9598, 5, 1.5}, d.Coefficients)
	for i, want := range []float64{.0402, -.0711, .0603, -.0142, -.0402, .0711, -.0603, .0142} {
		require.InDelta(t, want, residuals[i], point)
	}
	require.InDelta(t, 0.0296, d.SE[coefA], point)
	require.InDelta(t, 0.0418, d.SE[coefB], point)
	table := d.Table([]float64{0, 45, 90, 135, 180, 225, 270, 315})
	require.Len(t, table, 24)
	require.Equal(t, Outside, deviationVerdict(table, 5))
	require.InDelta(t, 45, worst(table).Compass, 1)
	require.InDelta(t, 20.1, worst(table).Deviation, 0.1)
}

// E2: across north the arithmetic mean of headings is wrong by 180°.
func TestE2AcrossNorth(t *testing.T) {
	a, b := []float64{359.2, 0.6, 358.9, 1.3, 0.4, 359.6}, []float64{1.4, 2.2, 0.9, 3.1, 2.0, 1.6}
	var difference, first, second []float64
	for range 20 {
		for i := range a {
			difference = append(difference, wrap180(a[i]-b[i]))
			first, second = append(first, a[i]), append(second, b[i])
		}
	}
	e := meanOf(difference, 1)
	require.InDelta(t, -1.8667, e.Value, point)
	require.InDelta(t, 12, e.Independent, point)
	doubt(t, 0.1467, e.U)
	require.Equal(t, Within, e.verdict(3))
	c := circularMean(difference)
	require.InDelta(t, 0.2211, c.Spread, point)
	require.InDelta(t, 0.9999926, c.R, 1e-7)
	ca, cb := circularMean(first), circularMean(second)
	require.InDelta(t, 0, wrap180(ca.Mean), point)
	require.InDelta(t, 0.839, ca.Spread, 5e-4)
	require.InDelta(t, 1.8667, cb.Mean, point)
	require.InDelta(t, 0.692, cb.Spread, 5e-4)
	require.Greater(t, mean(first)-mean(second), 170.0, "the naive mean fails here, or the example shows nothing")
}

// E3: neither one leg nor the mean of two angles gives the alignment; the
// difference of the two ground velocities does.
func TestE3ReciprocalLegs(t *testing.T) {
	const v, k = 6.0, 0.2
	current := groundVelocity(75, k*v)
	ground := func(psi, v float64) Velocity {
		g := groundVelocity(psi, v)
		return Velocity{g.East + current.East, g.North + current.North}
	}
	out, back := ground(30, v), ground(210, v)
	require.InDelta(t, 37.0629, out.Course(), point)
	require.InDelta(t, 6.9009, out.Speed(), point)
	require.InDelta(t, 200.6465, back.Course(), point)
	require.InDelta(t, 5.2209, back.Speed(), point)
	naive := (wrap180(30-out.Course()) + wrap180(210-back.Course())) / 2
	require.InDelta(t, 1.1453, naive, point)
	require.InDelta(t, 0, alignmentOf(run{Compass: 30, Ground: out}, run{Compass: 210, Ground: back}), point)
	for _, speed := range []float64{1, 3, 6, 9} { // any k, and V1 ≠ V2
		require.InDelta(t, 0, alignmentOf(run{Compass: 30, Ground: out}, run{Compass: 210, Ground: ground(210, speed)}), point)
	}
	// Headings off by ε with one speed: exact; with 0.8 of it, wrong by 0.557.
	require.InDelta(t, 0, alignmentOf(run{Compass: 30, Ground: ground(30, v)}, run{Compass: 220, Ground: ground(220, v)}), point)
	off := alignmentOf(run{Compass: 30, Ground: ground(30, v)}, run{Compass: 220, Ground: ground(220, 0.8*v)})
	require.InDelta(t, 0.557, math.Abs(off), 0.06)
}

func hidden() (runs []run) {
	c := Coefficients{0, 8, 0, 0, 0}
	current := groundVelocity(200, 0.5)
	for i := range 8 {
		theta := float64(45 * i)
		g := groundVelocity(theta+c.At(theta), 6)
		runs = append(runs, run{Compass: theta, Ground: Velocity{g.East + current.East, g.North + current.North}})
	}
	return runs
}

// E4: reciprocal pairs hide B and C together with the current; the joint fit
// finds them.
func TestE4PairsHideBAndC(t *testing.T) {
	runs := hidden()
	for i := range 4 {
		require.InDelta(t, 0, alignmentOf(runs[i], runs[i+4]), point, "the naive pair mean sees nothing")
	}
	j, ok := fitJoint(runs)
	require.True(t, ok)
	require.InDelta(t, 6, j.Speed, 1e-6)
	require.InDelta(t, -0.171010, j.Current.East, 1e-6)
	require.InDelta(t, -0.469846, j.Current.North, 1e-6)
	for i, want := range [5]float64{0, 8, 0, 0, 0} {
		require.InDelta(t, want, j.Coefficients[i], 1e-6)
	}
	require.Equal(t, Outside, deviationVerdict(j.Table(readings(runs)), 5))
	var seen []Seen
	for _, r := range runs {
		seen = append(seen, Seen{r.Compass, wrap180(r.Ground.Course() - r.Compass)})
	}
	naive, _, _ := FitSeen(seen)
	for i, want := range [5]float64{.113, 12.433, -1.612, .461, -.237} {
		require.InDelta(t, want, naive.Coefficients[i], 1e-3, "least squares of course less heading takes current for B and C")
	}
}

func readings(runs []run) (all []float64) {
	for _, r := range runs {
		all = append(all, r.Compass)
	}
	return all
}

// noisyLegs are the legs of E4 and E4b.
func noisyLegs(seed uint64, n int, c Coefficients) (runs []run) {
	r := simulate.Seeded(seed)
	current := groundVelocity(200, 0.5)
	for i := range n {
		theta := float64(45 * (i % 8))
		v := 6 + .05*r.Normal()
		g := groundVelocity(theta+c.At(theta), v)
		g.East += current.East + .05*r.Normal()
		g.North += current.North + .05*r.Normal()
		runs = append(runs, run{Compass: theta + .3*r.Normal(), Ground: g})
	}
	return runs
}

func TestE4Noisy(t *testing.T) {
	runs := noisyLegs(4, 8, Coefficients{0, 8, 0, 0, 0})
	require.InDelta(t, -0.6406718523, runs[0].Compass, 1e-9)
	require.InDelta(t, -0.2698684582, runs[0].Ground.East, 1e-9)
	require.InDelta(t, 5.5287646606, runs[0].Ground.North, 1e-9)
	j, ok := fitJoint(runs)
	require.True(t, ok)
	require.InDelta(t, 6.00613, j.Speed, point)
	require.InDelta(t, -0.14952, j.Current.East, point)
	require.InDelta(t, -0.52332, j.Current.North, point)
	coefficients(t, [5]float64{-0.40038, 7.23216, -0.16292, 0.44845, -0.01847}, j.Coefficients)
	doubts(t, [5]float64{.400, .984, .982, .561, .561}, j.U)
	require.InDelta(t, 0.0760, j.AlongSpread, point)
	require.InDelta(t, 0.0367, j.CrossSpread, point)
	require.InDelta(t, 1.0, j.Leeway, 0.002)
	table := j.Table(readings(runs))
	worst := worst(table)
	require.InDelta(t, 285, worst.Compass, 0)
	require.InDelta(t, -7.6365, worst.Deviation, point)
	doubt(t, 1.084, worst.U-j.Leeway)
	doubt(t, 2.084, worst.U)
	doubt(t, 2.604, worst.Family)
	require.Equal(t, Outside, deviationVerdict(table, 5))

	short, ok := fitJoint(runs[:6])
	require.True(t, ok)
	for i, want := range [5]float64{-.10, 6.85, .27, .14, -.32} {
		require.InDelta(t, want, short.Coefficients[i], 0.006) // given to two places
	}
	doubts(t, [5]float64{3.65, 2.15, 2.24, 4.09, 4.22}, short.U)
	require.Equal(t, []float64{270, 315}, missingHeadings(readings(runs[:6])))
	require.Empty(t, missingHeadings(readings(runs)))
}

func TestE4bGoodCompass(t *testing.T) {
	runs := noisyLegs(40, 16, Coefficients{.5, 1, -.7, .4, .2})
	j, ok := fitJoint(runs)
	require.True(t, ok)
	require.InDelta(t, 5.9500, j.Speed, point)
	require.InDelta(t, -.1691, j.Current.East, point)
	require.InDelta(t, -.5083, j.Current.North, point)
	coefficients(t, [5]float64{.3449, .6451, -.3510, .0827, .3253}, j.Coefficients)
	doubts(t, [5]float64{.280, .593, .592, .396, .396}, j.U)
	table := j.Table(readings(runs))
	require.InDelta(t, 165, worst(table).Compass, 0)
	require.InDelta(t, 1.0913, worst(table).Deviation, point)
	doubt(t, 1.749, worst(table).U)
	require.Equal(t, Within, deviationVerdict(table, 5))
}

// turnsOfE6 are slow turns with a satellite compass as reference.
func turnsOfE6() []turnSamples {
	const lag, rate = 0.6, 2.5
	c := Coefficients{1, 3, -2, 1.2, .4}
	r := simulate.Seeded(61)
	var turns []turnSamples
	for _, side := range []float64{1, -1} {
		e := r.Wander(216, .7, .8)
		var turn turnSamples
		for i := range 216 {
			psi := side * rate * float64(i)
			late := psi - side*rate*lag
			theta := late
			for range 8 {
				theta = late - c.At(theta)
			}
			turn = append(turn, turnSample{Wrap360(theta + e[i]), wrap180(psi - (theta + e[i])), side * rate})
		}
		turns = append(turns, turn)
	}
	return turns
}

func TestE6TurnBothWays(t *testing.T) {
	turns := turnsOfE6()
	for i, want := range []turnSample{{359.770325, .229675, 2.5}, {2.164997, .335003, 2.5}} {
		require.InDelta(t, want.Compass, turns[0][i].Compass, 1e-6)
		require.InDelta(t, want.Deviation, turns[0][i].Deviation, 1e-6)
	}
	plain, ok := fitTurns(turns, 6, 0)
	require.True(t, ok)
	for i, want := range []float64{.99965, 2.89288, -1.92829, 1.17856, .50905, .66637} {
		require.InDelta(t, want, plain.solution[i], point)
	}
	l, ok := fitLagged(turns)
	require.True(t, ok)
	coefficients(t, [5]float64{1.0037, 2.8906, -1.9716, 1.1739, .5056}, l.Coefficients)
	require.InDelta(t, .6675, l.Lag.Value, point)
	doubts(t, [5]float64{.184, .275, .253, .253, .251}, l.U)
	doubt(t, .077, l.Lag.U)
	require.InDelta(t, .7016, l.Correlation, point)
	require.Zero(t, l.Leeway)
}

// E6, one way: A is lag and A together, and can't be found.
func TestE6TurnOneWay(t *testing.T) {
	l, ok := fitLagged(turnsOfE6()[:1])
	require.True(t, ok)
	coefficients(t, [5]float64{2.6697, 2.907, -1.942, 1.584, .477}, Coefficients{l.Coefficients[0], round3(l.Coefficients[1]), round3(l.Coefficients[2]), round3(l.Coefficients[3]), round3(l.Coefficients[4])})
	doubt(t, 2.75, l.U[coefA])
	require.True(t, l.WithoutA)
	require.False(t, l.BothWays)
}

func round3(x float64) float64 { return math.Round(x*1000) / 1000 }

// E8: slow wander in a short leg; the naive doubt of white noise misses the
// truth.
func TestE8ShortLeg(t *testing.T) {
	x := simulate.Seeded(8).Wander(60, .97, 2)
	for i := range x {
		x[i]++
	}
	e := meanOf(x, 1)
	require.InDelta(t, -1.68838, e.Value, point)
	require.InDelta(t, .393, e.Independent, 5e-4)
	require.False(t, e.Known)
	require.Equal(t, CantTell, e.verdict(3))
	s := math.Sqrt(squares(around(x, e.Value)) / 59)
	require.InDelta(t, 1.13986, s, point)
	naive := 1.96 * s / math.Sqrt(60)
	require.InDelta(t, .2884, naive, point)
	require.Equal(t, Within, verdictOf(e.Value, naive, 3), "the naive doubt says within")
}

func TestE9Magnet(t *testing.T) {
	p := pulled(1.2, -.8, .25, 4.1, 1.7, .40)
	require.InDelta(t, 3.829, p.Size, 5e-4)
	require.InDelta(t, 65.9, p.T2, 0.05)
	require.InDelta(t, 1.431, p.Least, 1e-3)
	require.InDelta(t, 40.8, p.Toward, 0.05)
	require.Equal(t, Outside, p.Verdict)
	p = pulled(1.2, -.8, .25, 1.8, -.3, .40)
	require.InDelta(t, .781, p.Size, 5e-4)
	require.InDelta(t, 2.74, p.T2, 0.005)
	require.Equal(t, Within, p.Verdict)
	require.False(t, p.Changed)
	p = pulled(1.2, -.8, .25, 1.8, -.3, 1.20)
	require.InDelta(t, 3.720, p.Least, 5e-4)
	require.Equal(t, CantTell, p.Verdict)
	require.Equal(t, Outside, pulled(1.2, -.8, .25, 9, 9, 1.20).Verdict, "a change that size is seen all the same")
}

func TestE10CourseKeeping(t *testing.T) {
	r := simulate.Seeded(10)
	var h []float64
	for i := range 300 {
		h = append(h, Wrap360(359.5+2*math.Sin(2*math.Pi*float64(i)/18)+.3*r.Normal()))
	}
	k := keepingOf(h, 1)
	require.InDelta(t, 359.53197, k.Mean, point)
	require.InDelta(t, 1.41929, k.RMS.Value, point)
	require.InDelta(t, .90372, k.Strength, point)
	require.InDelta(t, 17.987, k.Period, 5e-4)
	require.InDelta(t, 2.007, k.Amplitude, 5e-4)
	m := mean(h)
	require.InDelta(t, 213.132, m, 1e-3, "the naive mean")

	white := simulate.Seeded(100)
	h = nil
	for range 300 {
		h = append(h, Wrap360(.5*white.Normal()))
	}
	auto := autocorrelation(around(h, 0), 100)
	most := 0.0
	for _, a := range auto[2:] {
		most = max(most, a)
	}
	require.InDelta(t, .1104, most, point)
	k = keepingOf(h, 1)
	require.Zero(t, k.Period)
	require.False(t, k.Short)

	short := h[:0:0]
	for i := range 60 {
		short = append(short, 2*math.Sin(2*math.Pi*float64(i)/18))
	}
	require.True(t, keepingOf(short, 1).Short)
	require.Zero(t, keepingOf(short, 1).Period)
}

func TestE10Overshoot(t *testing.T) {
	const omega = 2 * math.Pi / 30
	var h []float64
	for i := range 121 {
		x := float64(i)
		h = append(h, 120-30*math.Exp(-x/8)*(math.Cos(omega*x)+math.Sin(omega*x)/(8*omega)))
	}
	s := overshootOf(h, 1)
	require.InDelta(t, 90, s.From, point)
	require.InDelta(t, 119.9990, s.Final, point)
	require.InDelta(t, 4.6017, s.Past, point)
	require.InDelta(t, 15, s.At, 0)
	require.InDelta(t, 15.34, s.Percent, 0.005)
}

func TestE11Rudder(t *testing.T) {
	r := simulate.Seeded(11)
	var runs [2][]float64
	for i, m := range []float64{-.9, -1.9} {
		runs[i] = r.Wander(120, .8, .6)
		for k := range runs[i] {
			runs[i][k] += m
		}
	}
	first, second := meanOf(runs[0], 1), meanOf(runs[1], 1)
	require.InDelta(t, -1.0904, first.Value, point)
	doubt(t, .3785, first.U)
	require.InDelta(t, -1.9156, second.Value, point)
	doubt(t, .3237, second.U)
	require.InDelta(t, 12, first.Independent, point)
	pair := average(first, second)
	require.InDelta(t, -1.5030, pair.Value, point)
	doubt(t, .2490, pair.U)
	require.Equal(t, Within, pair.verdict(2))
	_, _, reached := stopsOf(append(runs[0], runs[1]...), 1)
	require.False(t, reached)
	port, starboard, reached := stopsOf([]float64{0, -34.8, -35, -35, 0, 33.9, 34, 34, 34, 0}, 1)
	require.True(t, reached)
	require.InDelta(t, -35, port, 0)
	require.InDelta(t, 34, starboard, 0)
	_, _, reached = stopsOf([]float64{0, -35, 0, 34, 34, 34, 0}, 1)
	require.False(t, reached, "not held to port")
}

// E12: leeway that turns with the heading as no current does looks like B and C
// to the fit, which is why the allowance is there.
func TestE12LeewayIsNoCurrent(t *testing.T) {
	var runs []run
	for i := range 8 {
		psi := float64(45 * i)
		g, side := groundVelocity(psi, 6), groundVelocity(psi+90, 0.1*sin(60-psi))
		runs = append(runs, run{Compass: psi, Ground: Velocity{g.East + side.East, g.North + side.North}})
	}
	j, ok := fitJoint(runs)
	require.True(t, ok)
	require.InDelta(t, 6, j.Speed, 1e-3)
	require.InDelta(t, 0, j.Current.Speed(), 0.01)
	require.InDelta(t, .95, math.Hypot(j.Coefficients[coefB], j.Coefficients[coefC]), 0.01)
	require.InDelta(t, 1, j.Leeway, 1e-3)
	for _, h := range j.Table(readings(runs)) {
		require.GreaterOrEqual(t, h.U, j.Leeway)
	}
	slow := j
	slow.Speed = 3
	require.InDelta(t, 2, leewayAllowance*leewaySpeed/slow.Speed, 0)
}
