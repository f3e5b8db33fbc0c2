package seatrial

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"cardwright/verify/seatrial/simulate"
)

const trials = 1000

// legsOf are n legs with the noise of E4, of one trial.
func legsOf(r *simulate.Random, n int, c Coefficients, current Velocity) (runs []run) {
	for i := range n {
		theta := float64(45 * (i % 8))
		g := groundVelocity(theta+c.At(theta), 6+.05*r.Normal())
		g.East += current.East + .05*r.Normal()
		g.North += current.North + .05*r.Normal()
		runs = append(runs, run{Compass: theta + .3*r.Normal(), Ground: g})
	}
	return runs
}

func aCompass(r *simulate.Random, size float64) (c Coefficients) {
	for i := range c {
		c[i] = size * (2*r.Uniform() - 1)
	}
	return c
}

// The 95 % intervals of A to E hold the truth in 93 to 97 of 100 trials, by 8
// legs and by 16; leeway is neither simulated nor allowed for.
func TestIntervalsHoldTheTruth(t *testing.T) {
	for _, legs := range []int{8, 16} {
		r := simulate.Seeded(1900 + uint64(legs))
		var held [5]float64
		for range trials {
			c := aCompass(r, 4)
			j, ok := fitJoint(legsOf(r, legs, c, groundVelocity(360*r.Uniform(), r.Uniform())))
			require.True(t, ok)
			for i := range held {
				if math.Abs(j.Coefficients[i]-c[i]) <= j.U[i] {
					held[i] += 100.0 / trials
				}
			}
		}
		for i, share := range held {
			require.InDelta(t, 95, share, 2, "%s, %d legs", Letters[i], legs)
		}
		t.Logf("%d legs: A to E held in %.1f %%", legs, held)
	}
}

// The same of a turn with a heading reference.
func TestIntervalsOfTurnsHoldTheTruth(t *testing.T) {
	r := simulate.Seeded(1961)
	var held [5]float64
	const some = 300 // each is 432 samples
	for range some {
		c := aCompass(r, 4)
		var turns []turnSamples
		for _, side := range []float64{1, -1} {
			e := r.Wander(216, .7, .8)
			var turn turnSamples
			for i := range 216 {
				psi := side * 2.5 * float64(i)
				theta := psi - side*1.5
				for range 12 {
					theta = psi - side*1.5 - c.At(theta)
				}
				turn = append(turn, turnSample{Wrap360(theta + e[i]), wrap180(psi - (theta + e[i])), side * 2.5})
			}
			turns = append(turns, turn)
		}
		l, ok := fitLagged(turns)
		require.True(t, ok)
		for i := range held {
			if math.Abs(l.Coefficients[i]-c[i]) <= l.U[i] {
				held[i] += 100.0 / some
			}
		}
	}
	for i, share := range held {
		require.InDelta(t, 95, share, 4.5, Letters[i]) // of 300: 2.5 % is one standard error and a half
	}
}

// Where the truth is twice the tolerance no trial says within, and with 16 legs
// nine of ten say outside.
func TestTwiceTheToleranceIsSeen(t *testing.T) {
	for _, legs := range []int{8, 16} {
		r := simulate.Seeded(1700 + uint64(legs))
		outside := 0
		for range trials {
			side := 360 * r.Uniform()
			c := Coefficients{0, 10 * sin(side), 10 * cos(side), 0, 0} // 10° on the worst heading; the tolerance is 5°
			runs := legsOf(r, legs, c, groundVelocity(360*r.Uniform(), r.Uniform()))
			j, ok := fitJoint(runs)
			require.True(t, ok)
			switch deviationVerdict(j.Table(readings(runs)), 5) {
			case Within:
				require.Fail(t, "within, where the truth is twice the tolerance", "%+v", c)
			case Outside:
				outside++
			case CantTell, "":
			}
		}
		t.Logf("%d legs: %d of %d outside", legs, outside, trials)
		if legs == 16 {
			require.GreaterOrEqual(t, outside, trials*90/100)
		}
	}
}

// E4b's compass, noise and 16 legs: within in 95 of 100 trials.
func TestAGoodCompassIsWithin(t *testing.T) {
	within := 0
	for seed := range uint64(trials) {
		runs := noisyLegs(50_000+seed, 16, Coefficients{.5, 1, -.7, .4, .2})
		j, ok := fitJoint(runs)
		require.True(t, ok)
		if deviationVerdict(j.Table(readings(runs)), 5) == Within {
			within++
		}
	}
	t.Logf("%d of %d within", within, trials)
	require.GreaterOrEqual(t, within, trials*95/100)
}

// Whole logs, from their sentences on: a good compass is never outside, one of
// twice the tolerance never within.
func TestWholeLogs(t *testing.T) {
	const some = 12
	for seed := range uint64(some) {
		b := boat()
		b.Seed = 100 + seed
		good := try(sail(t, b, simulate.Legs(150, simulate.Points(2)...)))
		require.Equal(t, Within, checkOf(t, good, OfDeviation).Verdict, good.Says)
		b.Deviation = [5]float64{0, 10 * sin(float64(seed)*30), 10 * cos(float64(seed)*30), 0, 0}
		bad := try(sail(t, b, simulate.Legs(150, simulate.Points(2)...)))
		require.Equal(t, Outside, bad.Verdict, bad.Says)
	}
}
