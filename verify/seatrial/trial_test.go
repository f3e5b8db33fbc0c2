package seatrial

import (
	"bytes"
	"context"
	"math"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"cardwright/verify/seatrial/sentences"
	"cardwright/verify/seatrial/simulate"
)

var testStart = time.Date(2026, 6, 13, 9, 0, 0, 0, time.UTC)

// boat is one that the tests change; her compass is good.
func boat() simulate.Boat {
	return simulate.Boat{
		Deviation: [5]float64{.5, 1, -.7, .4, .2}, Variation: -3.2, Speed: 6, Current: [2]float64{-.17, -.47},
		Latitude: 50.1, Longitude: -4.2, Start: testStart, Seed: 7,
		HeadNoise: 0.6, HeadMemory: 0.8, SpeedNoise: 0.1, Rudder: math.NaN(),
	}
}

func sail(t *testing.T, b simulate.Boat, moves []simulate.Move) *sentences.Log {
	t.Helper()
	var out bytes.Buffer
	require.NoError(t, b.Write(&out, moves))
	return readLog(t, out.String(), sentences.Options{})
}

func readLog(t *testing.T, text string, o sentences.Options) *sentences.Log {
	t.Helper()
	r := sentences.NewReader(o)
	require.NoError(t, r.Read(context.Background(), "test.log", strings.NewReader(text)))
	return r.Log()
}

func try(log *sentences.Log) Trial { return Try(Input{Log: log, Tolerances: Usual()}) }

func checkOf(t *testing.T, trial Trial, k Kind) Check {
	t.Helper()
	for _, c := range trial.Checks {
		if c.Kind == k {
			return c
		}
	}
	require.Failf(t, "no check", "of %s in %+v", k, trial.Checks)
	return Check{}
}

func TestSixteenLegsOfAGoodCompass(t *testing.T) {
	trial := try(sail(t, boat(), simulate.Legs(180, simulate.Points(2)...)))
	require.Len(t, trial.Legs, 16)
	require.Equal(t, Within, trial.Verdict, trial.Says)
	s := trial.Swings[0]
	require.Equal(t, ByLegs, s.Method)
	for i, want := range boat().Deviation {
		require.InDelta(t, want, s.Fit.Coefficients[i], s.Fit.U[i]*1.5+0.1, Letters[i])
	}
	require.InDelta(t, 6, s.Joint.Speed, 0.05)
	require.InDelta(t, -.17, s.Joint.Current.East, 0.05)
	require.InDelta(t, -.47, s.Joint.Current.North, 0.05)
	require.Equal(t, "HCHDG", trial.Sensor())
	require.Len(t, trial.Pairs, 8)
}
