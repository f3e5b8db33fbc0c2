package seatrial

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"cardwright/manifest/problem"
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

func TestSixLegsCantTell(t *testing.T) {
	trial := try(sail(t, boat(), simulate.Legs(180, simulate.Points(1)[:6]...)))
	require.Equal(t, CantTell, trial.Verdict)
	c := checkOf(t, trial, OfDeviation)
	require.Equal(t, CantTell, c.Verdict)
	require.Contains(t, c.Missing, "headings 270 and 315 missing: run them")
	require.Equal(t, []string{c.Missing}, trial.Next)
	for _, h := range trial.Swings[0].Table {
		require.Equal(t, h.Compass <= 225 || h.Compass == 0, h.Covered, "%v: no deviation is given across a gap of more than 60°", h.Compass)
	}
}

// E3, by its log: one leg tells no alignment, its reciprocal does.
func TestOneLegTellsNoAlignment(t *testing.T) {
	b := boat()
	b.Deviation, b.Variation, b.SpeedNoise, b.HeadNoise = [5]float64{}, 0, 0.02, 0.2
	b.Current = [2]float64{1.2 * sin(75), 1.2 * cos(75)}
	one := try(sail(t, b, simulate.Legs(180, 30)))
	require.Len(t, one.Legs, 1)
	require.InDelta(t, 7.06, one.Legs[0].Difference.Value, 0.2, "the naive value")
	c := checkOf(t, one, OfAlignment)
	require.Equal(t, CantTell, c.Verdict)
	require.Contains(t, c.Missing, "no reciprocal run; leg 1 was on 030: run 210 too")

	both := try(sail(t, b, simulate.Legs(180, 30, 210)))
	c = checkOf(t, both, OfAlignment)
	require.Equal(t, Within, c.Verdict, c.Says)
	require.InDelta(t, 0, c.Value.Value, 0.15)
	require.Contains(t, c.Says, "B and C drop out of it")
	require.Equal(t, CantTell, both.Verdict, "a pair can't say that a compass is right")
}

func TestSlowLegs(t *testing.T) {
	b := boat()
	b.Speed = 3.5
	trial := try(sail(t, b, simulate.Legs(180, simulate.Points(1)...)))
	require.Contains(t, checkOf(t, trial, OfDeviation).Missing, "at 5 kn or more")
	require.Equal(t, CantTell, trial.Verdict)

	b.Speed, b.Current = 5.5, [2]float64{1.5, 0} // the legs against the current are slower than 5 kn: their mean isn't
	trial = try(sail(t, b, simulate.Legs(180, simulate.Points(2)...)))
	require.Equal(t, Within, checkOf(t, trial, OfDeviation).Verdict, trial.Says)
}

// lines of one sentence of each kind a second.
func lines(n int, each func(i int) string) string {
	var out strings.Builder
	for i := range n {
		at := testStart.Add(time.Duration(i) * time.Second)
		for body := range strings.SplitSeq(each(i), "\n") {
			var sum byte
			for k := range len(body) {
				sum ^= body[k]
			}
			out.WriteString(at.Format("2006-01-02T15:04:05Z") + " $" + body + "*" + hex(sum) + "\n")
		}
	}
	return out.String()
}

func hex(b byte) string {
	const digits = "0123456789ABCDEF"
	return string([]byte{digits[b>>4], digits[b&15]})
}

// E2 from its sentences.
func TestE2FromSentences(t *testing.T) {
	a, b := []float64{359.2, 0.6, 358.9, 1.3, 0.4, 359.6}, []float64{1.4, 2.2, 0.9, 3.1, 2.0, 1.6}
	log := readLog(t, lines(120, func(i int) string {
		return fmt.Sprintf("IIHDT,%.1f,T\nGPHDT,%.1f,T", a[i%6], b[i%6])
	}), sentences.Options{})
	trial := Try(Input{Log: log, Tolerances: Usual(), Heading: "IIHDT"})
	c := checkOf(t, trial, OfReference)
	require.Equal(t, Within, c.Verdict, c.Says)
	require.InDelta(t, 1.8667, c.Value.Value, 1e-3)
	doubt(t, 0.1467, c.Value.U)
}

// E5: variation.
func TestE5Variation(t *testing.T) {
	text := lines(300, func(int) string { return "HCHDG,110.6,,,,\nHEHDT,98.0,T" })
	bare := try(readLog(t, text, sentences.Options{}))
	require.Equal(t, CantTell, bare.Verdict)
	require.Contains(t, bare.Next[0], "variation missing")

	west := -12.6
	given := Try(Input{Log: readLog(t, text, sentences.Options{}), Tolerances: Usual(), Variation: &west})
	c := checkOf(t, given, OfReference)
	require.InDelta(t, 0, c.Value.Value, 1e-3)
	require.Equal(t, Within, c.Verdict)
	require.Equal(t, string(SayVariation), given.Variation.From)

	own := strings.ReplaceAll(text, "HCHDG,110.6,,,,*"+hexOf("HCHDG,110.6,,,,"), "HCHDG,110.6,,,12.6,W*"+hexOf("HCHDG,110.6,,,12.6,W"))
	require.NotEqual(t, text, own)
	said := try(readLog(t, own, sentences.Options{}))
	require.InDelta(t, 0, checkOf(t, said, OfReference).Value.Value, 1e-3)
	require.Equal(t, "HCHDG", said.Variation.From)
	other := -3.0
	told := Try(Input{Log: readLog(t, own, sentences.Options{}), Tolerances: Usual(), Variation: &other})
	require.Contains(t, strings.Join(told.Notes, "\n"), "variations differ: 3.0° W by the variation given was used, HCHDG has 12.6° W")

	b := boat()
	b.NoHDGVar = true
	model := try(sail(t, b, simulate.Legs(180, 30)))
	require.Contains(t, model.Variation.From, "World Magnetic Model 2025 at 50.1")
	b.Start = time.Date(2018, 6, 1, 9, 0, 0, 0, time.UTC)
	old := try(sail(t, b, simulate.Legs(180, 30)))
	require.Empty(t, old.Variation.From)
	require.Contains(t, strings.Join(old.Notes, "\n"), "the model holds from 2025")
}

func hexOf(body string) string {
	var sum byte
	for i := range len(body) {
		sum ^= body[i]
	}
	return hex(sum)
}

// The deviation field of HDG (IEC 61162-1's form): applied, or left out, and told.
func TestDeviationField(t *testing.T) {
	log := readLog(t, lines(300, func(int) string { return "INHDG,180,5,W,10,W\nGPHDT,165.0,T" }), sentences.Options{})
	trial := try(log)
	require.InDelta(t, 0, checkOf(t, trial, OfReference).Value.Value, 1e-3)
	require.Contains(t, trial.Field, "was applied")
	bare := Try(Input{Log: log, Tolerances: Usual(), BareReading: true})
	require.InDelta(t, -5, checkOf(t, bare, OfReference).Value.Value, 1e-3)
	require.Contains(t, bare.Field, "left out")
}

// E6 from its sentences.
func TestE6FromSentences(t *testing.T) {
	b := boat()
	b.Deviation, b.Lag, b.Reference, b.Variation = [5]float64{1, 3, -2, 1.2, .4}, .6, true, -3.2
	b.Stamped = true // a bare log's sentences within a second have no times of their own
	both := try(sail(t, b, []simulate.Move{{Turn: 540, Rate: 2.5}, {Turn: -540, Rate: 2.5}}))
	require.Len(t, both.Turns, 2)
	require.Equal(t, ByTurns, both.Swings[0].Method)
	for i, want := range b.Deviation {
		require.InDelta(t, want, both.Swings[0].Fit.Coefficients[i], 0.35, Letters[i])
	}
	require.InDelta(t, .6, both.Swings[0].Lag.Lag.Value, 0.15)
	require.Equal(t, Within, checkOf(t, both, OfAlignment).Verdict)

	one := try(sail(t, b, []simulate.Move{{Turn: 540, Rate: 2.5}}))
	require.Equal(t, CantTell, one.Verdict)
	require.Contains(t, one.Next[0], "turn the other way too")
}

// E7: a turn with only course over ground tells no coefficient.
func TestE7TurnByCourseOnly(t *testing.T) {
	log := readLog(t, lines(226, func(i int) string {
		psi := 2.4 * float64(i)
		v := groundVelocity(psi, 2)
		c := groundVelocity(70, 0.8)
		g := Velocity{v.East + c.East, v.North + c.North}
		return fmt.Sprintf("HCHDG,%.2f,,,0.0,E\nGPVTG,%.2f,T,,M,%.3f,N,,K,A", Wrap360(psi), g.Course(), g.Speed())
	}), sentences.Options{})
	trial := try(log)
	require.Empty(t, trial.Swings)
	require.Equal(t, CantTell, trial.Verdict)
	for _, c := range trial.Checks {
		require.Contains(t, []Verdict{CantTell, ""}, c.Verdict)
	}
	turn := checkOf(t, trial, OfTurn)
	require.Contains(t, turn.Says, "turned 540.0° (1.50 turns) to starboard, median rate 2.40 °/s, 100 % of the time within 2 to 3 °/s, 24 of 24 sectors")
	require.Contains(t, trial.Says, "no heading reference in the turn: run straight legs on 000")
}

// E11 and the helm of two runs; without rudder sentences nothing is judged.
func TestHelm(t *testing.T) {
	b := boat()
	none := checkOf(t, try(sail(t, b, simulate.Legs(180, 0, 180))), OfHelm)
	require.Equal(t, "no rudder feedback in this log", none.Says)
	require.Empty(t, none.Verdict)
	b.Rudder = -1.5
	c := checkOf(t, try(sail(t, b, simulate.Legs(180, 0, 180))), OfHelm)
	require.Equal(t, Within, c.Verdict)
	require.Contains(t, c.Says, "helm carried 1.5° to port")
}

func TestBeforeAndAfter(t *testing.T) {
	b := boat()
	was := try(sail(t, b, simulate.Legs(150, simulate.Points(2)...))).Kept("before.log", testStart)
	again := func(change func(*Input)) Trial {
		c := b
		c.Seed = 99
		c.Deviation[coefB] += 4
		in := Input{Log: sail(t, c, simulate.Legs(150, simulate.Points(2)...)), Tolerances: Usual(), Earlier: &was}
		if change != nil {
			change(&in)
		}
		return Try(in)
	}
	c := checkOf(t, again(nil), OfMagnet)
	require.Equal(t, Outside, c.Verdict)
	require.Contains(t, c.Says, "look for something magnetic")
	for want, change := range map[string]func(*Input){
		"set up anew":    func(in *Input) { in.SetUpAnew = true },
		"same waters":    func(in *Input) { e := was; e.Place = nil; in.Earlier = &e },
		"NM apart":       func(in *Input) { e := was; e.Place = &[2]float64{60, -4}; in.Earlier = &e },
		"another sensor": func(in *Input) { e := was; e.Sensor = "IIHDG"; in.Earlier = &e },
		"none of that":   func(in *Input) { e := was; e.Method = ByTurns; in.Earlier = &e },
	} {
		c := checkOf(t, again(change), OfMagnet)
		require.Empty(t, c.Verdict, want)
		require.Contains(t, c.Says, want)
	}
}

// Dropouts, a clock that jumps, two talkers: counted, told, never merged.
func TestBrokenLogs(t *testing.T) {
	b := boat()
	b.DropEvery, b.JumpAt, b.JumpBy = 7, 200, -3600
	trial := try(sail(t, b, simulate.Legs(180, simulate.Points(1)...)))
	require.Equal(t, 1, trial.Log.Counts.Jumps)
	require.NotEmpty(t, trial.Legs)

	text := lines(300, func(int) string { return "HCHDG,90.0,,,0.0,E\nIIHDG,170.0,,,0.0,E\nGPVTG,90.0,T,,M,6.0,N,,K,A" })
	two := try(readLog(t, text, sentences.Options{}))
	require.Contains(t, strings.Join(two.Notes, "\n"), "compass: HCHDG was used; IIHDG gives the same and was left out")
	require.InDelta(t, 90, two.Legs[0].Compass, 0.01)
	named := Try(Input{Log: readLog(t, text, sentences.Options{}), Tolerances: Usual(), Heading: "IIHDG"})
	require.InDelta(t, 170, named.Legs[0].Compass, 0.01)
}

// A source that is named and has no values isn't taken for a log without any.
func TestMistypedSources(t *testing.T) {
	b := boat()
	b.Rudder = 1
	log := sail(t, b, simulate.Legs(180, simulate.Points(1)...))
	words := map[problem.Act]string{TakeHeading: "--heading %s", TakeCourse: "--course %s", TakeRudder: "--rudder %s"}
	for _, c := range []struct {
		name func(*Input)
		of   Kind
		says string
	}{
		{func(in *Input) { in.Heading = "XXHDG" }, OfDeviation, "XXHDG has no value in this log: give --heading HCHDG"},
		{func(in *Input) { in.Course = "XXRMC" }, OfDeviation, "XXRMC has no value in this log: give --course GPRMC"},
		{func(in *Input) { in.Helm = "XXRSA" }, OfHelm, "XXRSA has no value in this log: give --rudder ERRSA"},
	} {
		in := Input{Log: log, Tolerances: Usual(), Words: words}
		c.name(&in)
		require.Equal(t, c.says, checkOf(t, Try(in), c.of).Says)
	}
	none := readLog(t, lines(300, func(int) string { return "GPVTG,90.0,T,,M,6.0,N,,K,A" }), sentences.Options{})
	require.Contains(t, Try(Input{Log: none, Tolerances: Usual(), Heading: "XXHDG"}).Says, "no heading in the log")
}

// The words that would say more than a log can.
func TestWordsThatAreNeverSaid(t *testing.T) {
	b := boat()
	b.Reference, b.Rudder = true, 1
	trial := Try(Input{Log: sail(t, b, simulate.Legs(150, simulate.Points(1)...)), Tolerances: Usual(), Pilot: true})
	out, err := json.Marshal(trial)
	require.NoError(t, err)
	for _, word := range []string{"certified", "calibrated", "adjusted", "complies", "safe", "deviation card"} {
		require.NotContains(t, strings.ToLower(string(out)), word)
	}
	require.Contains(t, string(out), "no substitute for a licensed compass adjuster")
}
