package seatrial

import (
	"fmt"
	"math"
	"strings"
	"time"

	"cardwright/verify/seatrial/sentences"
)

// format is the version of a trial's JSON form.
const format = 1

// Advice stands on every output.
const Advice = "Advice for a technician. It is no substitute for a licensed compass adjuster or the maker's own procedure, which come first, and local rules before both."

// Trial is what a log tells.
type Trial struct {
	Format     int            `json:"format"`
	Advice     string         `json:"advice"`
	Verdict    Verdict        `json:"verdict"`
	Says       string         `json:"says"` // the verdict in a sentence
	Date       time.Time      `json:"date"` // of the log, UTC; zero: it has none
	Place      *[2]float64    `json:"place"`
	Checks     []Check        `json:"checks"`
	Used       []UsedSource   `json:"used"`
	Variation  UsedVariation  `json:"variation"`
	Field      string         `json:"deviation_field"`
	Legs       []Leg          `json:"legs"`
	Dropped    int            `json:"seconds_dropped"` // after turns
	Rejected   []Rejected     `json:"rejected"`
	MoreLeft   int            `json:"more_rejected"`
	Pairs      []Pair         `json:"pairs"`
	Swings     []Swing        `json:"swings"` // the first is the one that is judged
	Turns      []Turn         `json:"turns"`
	Keeping    *Keeping       `json:"keeping"`
	KeepingLeg int            `json:"keeping_leg"`
	Swung      []Swung        `json:"overshoots"`
	Helm       *Estimate      `json:"helm"`
	Rudder     *Rudder        `json:"rudder"`
	Pulled     *Pulled        `json:"pulled"`
	Earlier    *Earlier       `json:"earlier"`
	Notes      []string       `json:"notes"`
	Log        *sentences.Log `json:"log"`
	Limits     Tolerances     `json:"tolerances"`
	Next       []string       `json:"next"` // what to do, the most useful first
}

// Method is how deviation was found.
type Method string

// The methods. Records of different ones aren't compared.
const (
	ByTurns     Method = "turns both ways with a heading reference"
	ByOneTurn   Method = "turn one way with a heading reference"
	ByReference Method = "straight legs with a heading reference"
	ByLegs      Method = "straight legs by course and speed over ground"
)

// Swing is one way in which deviation was found.
type Swing struct {
	Method Method    `json:"method"`
	Fit    Deviation `json:"fit"`
	Joint  *Joint    `json:"joint"` // by legs
	Lag    *Lagged   `json:"lag"`   // by turns
	At     []float64 `json:"at"`    // readings
	Seen   []Seen    `json:"seen"`  // what stands on the plot: the fit with its residuals
	Table  []Heading `json:"table"`
	Legs   int       `json:"legs"`
}

// Covers tells whether the deviation on a heading is told: not within a gap of
// more than 60°.
func (s Swing) Covers(theta float64) bool { return covered(theta, s.At) }

// Pair is two reciprocal legs.
type Pair struct {
	Out       int      `json:"out"` // numbers of the legs
	Back      int      `json:"back"`
	Alignment Estimate `json:"alignment"`
}

// Rudder is what the rudder's sentences say.
type Rudder struct {
	Port      float64 `json:"port"`      // stop, degrees; 0: not reached
	Starboard float64 `json:"starboard"` // stop, degrees; 0: not reached
	Stops     bool    `json:"stops"`
	Two       bool    `json:"two"` // there are two rudders, of which the starboard one was used
}

// Check is one judgement, or a value without one.
type Check struct {
	Kind      Kind       `json:"kind"`
	Verdict   Verdict    `json:"verdict"` // "": nothing is judged
	Says      string     `json:"says"`
	Value     *Estimate  `json:"value"`
	Tolerance *Tolerance `json:"tolerance"`
	Missing   string     `json:"missing"` // what is missing and how to get it
}

// Kind is what a check is of.
type Kind string

// The kinds of check, in the order of the page.
const (
	OfDeviation Kind = "deviation"
	OfAlignment Kind = "alignment"
	OfReference Kind = "heading against the reference"
	OfTurn      Kind = "turn"
	OfMagnet    Kind = "change since the earlier record"
	OfHelm      Kind = "helm carried"
	OfStops     Kind = "rudder stops"
	OfKeeping   Kind = "course keeping"
	OfOvershoot Kind = "overshoot"
)

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

// Try makes a trial of a log.
func Try(in Input) Trial {
	p := prepare(in)
	f := findLegs(&p)
	t := Trial{
		Format: format, Advice: Advice, Date: in.Log.Date, Place: p.place, Used: p.used, Variation: p.variation, Field: p.field,
		Legs: f.legs, Dropped: f.dropped, Rejected: f.rejected, MoreLeft: f.left, Turns: findTurns(&p), Log: in.Log, Limits: in.Tolerances,
		Earlier: in.Earlier,
	}
	m := maker{p: &p, t: &t, f: &f}
	m.swings()
	m.deviation()
	m.alignment()
	m.reference()
	m.turns()
	m.magnet()
	m.helm()
	m.keeping()
	m.overshoot()
	t.Notes = p.notes
	m.conclude()
	return t
}

// maker makes the checks of a trial.
type maker struct {
	p *prepared
	f *finder
	t *Trial
}

func (m *maker) check(c Check) { m.t.Checks = append(m.t.Checks, c) }

func (m *maker) has(role string) bool {
	for _, u := range m.p.used {
		if u.For == role {
			return true
		}
	}
	return false
}

// unable says what is missing before anything can be told of true headings, and
// how to get it; "" where nothing is.
func (m *maker) unable() string {
	switch {
	case !m.has("compass"):
		return "no heading in the log: log the compass's HDG or HDT, with values in them"
	case !m.p.variation.known():
		return "variation missing: give " + m.p.in.Words.For(SayVariation) + " (12.6W), or log position and date (RMC)"
	}
	return ""
}

// the words for a speed and a length of legs to run.
const howToRun = "two and a half minutes each, 5 kn or more"

// swings finds the deviation in all ways that the log allows, the best first.
func (m *maker) swings() {
	if m.unable() != "" {
		return
	}
	m.byTurns()
	m.byReference()
	m.byLegs()
}

func (m *maker) byTurns() {
	var turns []turned
	for _, t := range m.t.Turns {
		if t.Reference && t.Sectors == sectors {
			turns = append(turns, t.samples)
		}
	}
	l, ok := fitLagged(turns)
	if !ok {
		return
	}
	s := Swing{Method: ByTurns, Fit: l.Deviation, Lag: &l}
	if !l.BothWays {
		s.Method = ByOneTurn
	}
	for _, t := range turns {
		for _, x := range t {
			s.At = append(s.At, x.Compass)
		}
	}
	s.Seen = thinned(turns, l)
	s.Table = l.Table(s.At)
	m.t.Swings = append(m.t.Swings, s)
}

func (m *maker) byReference() {
	var seen []Seen
	var at []float64
	for _, l := range m.t.Legs {
		if l.Reference != nil {
			seen = append(seen, Seen{l.Compass, l.Reference.Value})
			at = append(at, l.Compass)
		}
	}
	d, _, ok := FitSeen(seen)
	if !ok || len(missingHeadings(at)) > 0 {
		return
	}
	m.t.Swings = append(m.t.Swings, Swing{Method: ByReference, Fit: d, At: at, Seen: seen, Table: d.Table(at), Legs: len(seen)})
}

func (m *maker) byLegs() {
	runs, at := m.runs()
	j, ok := fitJoint(runs)
	if !ok {
		return
	}
	s := Swing{Method: ByLegs, Fit: j.Deviation, Joint: &j, At: at, Table: j.Table(at), Legs: len(runs)}
	for i := range j.Residuals {
		m.t.Legs[i].Residual = &j.Residuals[i]
		s.Seen = append(s.Seen, Seen{runs[i].Compass, j.Coefficients.At(runs[i].Compass) + j.Residuals[i]})
	}
	m.t.Swings = append(m.t.Swings, s)
}

func (m *maker) runs() (runs []run, at []float64) {
	for i := range m.t.Legs {
		runs = append(runs, m.t.Legs[i].run(m.p.variation.Degrees))
		at = append(at, m.t.Legs[i].Compass)
	}
	return runs, at
}

// meanKnots of the legs over ground.
func meanKnots(legs []Leg) float64 {
	sum := 0.0
	for _, l := range legs {
		sum += l.Knots
	}
	return sum / float64(max(len(legs), 1))
}

// conclude puts the checks together: outside where one is; within where the
// deviation is, and nothing else that was judged says otherwise.
func (m *maker) conclude() {
	t := m.t
	judged := map[Verdict][]string{}
	deviation := CantTell
	for _, c := range t.Checks {
		if c.Verdict != "" {
			judged[c.Verdict] = append(judged[c.Verdict], string(c.Kind))
		}
		if c.Kind == OfDeviation {
			deviation = c.Verdict
		}
		legsToo := c.Kind == OfAlignment && len(t.Pairs) == 0 && m.lacking() != "" // the legs of a swing have pairs in them
		if c.Missing != "" && c.Verdict != Within && !legsToo {
			t.Next = appendNew(t.Next, c.Missing)
		}
	}
	switch {
	case len(judged[Outside]) > 0:
		t.Verdict = Outside
		t.Says = "outside: " + strings.Join(judged[Outside], ", ") + ". Find the cause before the boat is given back, or call a compass adjuster."
		t.Next = appendNew([]string{"look for the cause: something magnetic near the sensor, how it is mounted, the maker's set-up"}, t.Next...)
	case deviation == Within && len(judged[CantTell]) == 0:
		t.Verdict = Within
		t.Says = "within tolerance: " + strings.Join(judged[Within], ", ") + "."
	case len(judged[Within]) > 0:
		t.Verdict = CantTell
		t.Says = "can't tell of all: " + strings.Join(judged[CantTell], ", ") + ". Within tolerance: " + strings.Join(judged[Within], ", ") + "."
	default:
		t.Verdict = CantTell
		t.Says = "can't tell: " + m.reason()
	}
}

// reason is what is missing first of all.
func (m *maker) reason() string {
	if len(m.t.Next) > 0 {
		return m.t.Next[0] + "."
	}
	return "the log has too little in it."
}

func appendNew(list []string, more ...string) []string {
	for _, s := range more {
		found := false
		for _, have := range list {
			found = found || have == s
		}
		if !found {
			list = append(list, s)
		}
	}
	return list
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

// String writes a value with its doubt: +1.2° ± 0.4°.
func (e Estimate) String() string {
	if !e.Known {
		return fmt.Sprintf("%+.1f°, doubt not known", unsigned(e.Value))
	}
	return fmt.Sprintf("%+.1f° ± %.1f°", unsigned(e.Value), e.U)
}

// unsigned makes +0 of what would be written as −0.0.
func unsigned(v float64) float64 {
	if math.Abs(v) < 0.05 {
		return 0
	}
	return v
}
