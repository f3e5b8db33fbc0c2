package seatrial

import (
	"fmt"
	"math"
	"slices"
	"time"
)

// magnetCheck compares B and C with those of an earlier trial; pulled is nil where
// they can't be compared.
func magnetCheck(f *found, was *Earlier) (Check, *Pulled) {
	i := slices.IndexFunc(f.swings, func(s Swing) bool { return s.Method == was.Method })
	if why := whyNotCompared(f, was, i >= 0); why != "" {
		return Check{Kind: OfMagnet, Says: "B and C aren't compared with those of " + was.From + ": " + why}, nil
	}
	c := Check{Kind: OfMagnet}
	larger := func(se [5]float64) float64 { return max(se[coefB], se[coefC]) }
	fit := f.swings[i].Fit
	p := pulled(was.Coef[coefB], was.Coef[coefC], larger(was.SE), fit.Coefficients[coefB], fit.Coefficients[coefC], larger(fit.SE))
	c.Verdict = p.Verdict
	seen := fmt.Sprintf("a change under %.1f° would not be seen", p.Least)
	switch p.Verdict {
	case Outside:
		c.Says = fmt.Sprintf("B and C changed by %.1f° since %s (T² %.1f; over 9.21 is a change): look for something magnetic that came, went or moved near the sensor, and pulls toward %s; %s",
			p.Size, was.From, p.T2, bearing(p.Toward), seen)
		c.Missing = "look for something magnetic near the sensor, toward " + bearing(p.Toward)
	case Within:
		c.Says = fmt.Sprintf("no change of B and C seen since %s (%.1f°, T² %.1f; over 9.21 is a change); %s", was.From, p.Size, p.T2, seen)
	default:
		c.Says = fmt.Sprintf("can't tell whether B and C changed since %s: %s, which is more than %d°", was.From, seen, magnetTolerance)
		c.Missing = "the doubt of B and C is too wide to see a change: run each heading twice, " + howToRun
	}
	return c, &p
}

// whyNotCompared says why B and C can't be compared with an earlier trial's; "" where
// they can. swung tells that there is a swing by the same method.
func whyNotCompared(f *found, was *Earlier, swung bool) string {
	sensor := sensorOf(f.used)
	switch {
	case f.in.SetUpAnew:
		return "the compass was set up anew since"
	case was.Unalike != "":
		return was.Unalike
	case was.Place == nil || f.place == nil:
		return "the logs don't show that both were run in the same waters"
	case miles(*was.Place, *f.place) > sameWaters:
		return fmt.Sprintf("they were run %.0f NM apart, and B changes with the magnetic latitude", miles(*was.Place, *f.place))
	case was.Sensor != "" && was.Sensor != sensor:
		return fmt.Sprintf("that was another sensor (%s, now %s)", was.Sensor, sensor)
	case !swung:
		return fmt.Sprintf("that swing was by %s, and this log has none of that kind", was.Method)
	}
	return ""
}

// Earlier is an earlier trial.
type Earlier struct {
	From    string       `json:"from"` // the ledger's, or a log's name
	At      time.Time    `json:"at"`
	Method  Method       `json:"method"` // "": no swing
	Coef    Coefficients `json:"coefficients"`
	SE      [5]float64   `json:"standard_errors"`
	Place   *[2]float64  `json:"place"`
	Sensor  string       `json:"sensor"` // device and source
	RMS     *Estimate    `json:"rms"`
	Period  float64      `json:"period"`
	Helm    *Estimate    `json:"helm"`
	Unalike string       `json:"unalike"` // why B and C aren't compared, where the caller knows
}

// Kept is what a later trial is compared with.
func (t Trial) Kept(from string, at time.Time) Earlier {
	e := Earlier{From: from, At: at, Place: t.Place, Sensor: t.Sensor(), Helm: t.Helm}
	if len(t.Swings) > 0 {
		s := t.Swings[0]
		e.Method, e.Coef, e.SE = s.Method, s.Fit.Coefficients, s.Fit.SE
	}
	if k := t.Keeping; k != nil {
		e.RMS, e.Period = &k.RMS, k.Period
	}
	return e
}

// before says what a value was in the earlier trial; "" where there is none.
func before(was *Earlier, of func(*Earlier) *Estimate) string {
	if was == nil || of(was) == nil {
		return ""
	}
	e := of(was)
	if !e.Known {
		return fmt.Sprintf("; before (%s) %.1f°", was.From, e.Value)
	}
	return fmt.Sprintf("; before (%s) %.1f° ± %.1f°", was.From, e.Value, e.U)
}

// chi99 is chi-squared with two degrees of freedom at 99 % (tables).
const chi99 = 9.210340371976182

// magnetTolerance is the change of B and C, in degrees, that has to be seen for
// "no change" to mean anything (common practice, no source).
const magnetTolerance = 3

// Pulled is what became of B and C since an earlier record.
type Pulled struct {
	B       float64 `json:"b"` // change, degrees
	C       float64 `json:"c"`
	Size    float64 `json:"size"`
	T2      float64 `json:"t2"`      // of χ² with two degrees of freedom
	Least   float64 `json:"least"`   // least change that would have been seen, degrees
	Changed bool    `json:"changed"` // at 99 %
	Toward  float64 `json:"toward"`  // degrees from the bow, to starboard positive: where the north end is drawn
	Verdict Verdict `json:"verdict"`
}

// pulled compares B and C with those of an earlier record; se are the standard
// errors of one of them, the larger.
func pulled(beforeB, beforeC, beforeSE, b, c, se float64) Pulled {
	v := beforeSE*beforeSE + se*se
	p := Pulled{B: b - beforeB, C: c - beforeC, Least: math.Sqrt(chi99 * v)}
	p.Size = math.Hypot(p.B, p.C)
	p.Toward = wrap180(math.Atan2(p.C, p.B) * radian)
	switch {
	case v > 0:
		p.T2 = p.Size * p.Size / v
	case p.Size > 0:
		p.T2 = math.MaxFloat64
	}
	p.Changed = p.T2 > chi99
	switch {
	case p.Changed:
		p.Verdict = Outside
	case p.Least > magnetTolerance:
		p.Verdict = CantTell
	default:
		p.Verdict = Within
	}
	return p
}
