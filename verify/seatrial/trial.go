package seatrial

import (
	"cmp"
	"fmt"
	"math"
	"slices"
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
	Overshoots []Overshoot    `json:"overshoots"`
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
	Seen   []Seen    `json:"seen"`  // what is on the plot: the fit with its residuals
	Table  []Heading `json:"table"`
	Legs   int       `json:"legs"`
}

// Covers reports whether the deviation on a heading is given: not within a gap of
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

// Check is one value held against its tolerance, or a value alone.
type Check struct {
	Kind      Kind       `json:"kind"`
	Verdict   Verdict    `json:"verdict"` // "": nothing is judged
	Says      string     `json:"says"`
	Value     *Estimate  `json:"value"`
	Tolerance *Tolerance `json:"tolerance"`
	Missing   string     `json:"missing"` // what is missing and how to get it
}

// Kind is what a check checks.
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

// Try makes a trial of a log.
func Try(in Input) Trial {
	p := prepare(in)
	legs := findLegs(&p)
	turns := findTurns(&p)
	f := found{prepared: &p, legs: legs.legs, turns: turns, swings: findSwings(&p, legs.legs, turns)}
	f.lack = lackOfSwing(&f)

	t := Trial{
		Format: format, Advice: Advice, Date: in.Log.Date, Place: p.place, Used: p.used, Variation: p.variation, Field: p.field,
		Legs: f.legs, Dropped: legs.dropped, Rejected: legs.rejected, MoreLeft: legs.moreRejected, Turns: f.turns, Swings: f.swings,
		Notes: p.notes, Log: in.Log, Limits: in.Tolerances, Earlier: in.Earlier,
	}
	add := func(c ...Check) { t.Checks = append(t.Checks, c...) }
	add(deviationCheck(&f))
	alignment, pairs := alignmentCheck(&f)
	t.Pairs = pairs
	add(alignment)
	add(referenceChecks(&f)...)
	add(turnChecks(f.turns)...)
	if was := in.Earlier; was != nil && was.Method != "" {
		magnet, pulled := magnetCheck(&f, was)
		t.Pulled = pulled
		add(magnet)
	}
	helm, carried := helmCheck(&f)
	t.Helm = carried
	add(helm)
	if p.has("helm") {
		stops, rudder := stopsCheck(&p)
		t.Rudder = &rudder
		add(stops)
	}
	if longest := longestLeg(f.legs); longest != nil {
		keeping, kept := keepingCheck(&p, *longest)
		t.Keeping, t.KeepingLeg = &kept, longest.Number
		add(keeping)
	}
	if t.Overshoots = courseChanges(&f); len(t.Overshoots) > 0 {
		add(overshootCheck(in, t.Overshoots, t.Keeping))
	}
	t.Verdict, t.Says, t.Next = conclude(t.Checks, len(t.Pairs) == 0 && f.lack != "")
	return t
}

// found is what a trial's checks are made from: a log made ready, and the legs,
// turns and deviation that were found in it.
type found struct {
	*prepared
	legs   []Leg
	turns  []Turn
	swings []Swing // the first is the one that is judged
	lack   string  // why none of them can be, and what to run; "": one can
}

// has reports whether the log has a source for a role.
func (p *prepared) has(role string) bool {
	return slices.ContainsFunc(p.used, func(u UsedSource) bool { return u.For == role })
}

// noTrueHeading says what is missing before true headings are known, and how to get
// it; "" where nothing is.
func (p *prepared) noTrueHeading() string {
	switch {
	case !p.has("compass"):
		return cmp.Or(p.misnamed("compass", p.in.Heading, sentences.Magnetic, sentences.True),
			"no heading in the log: log the compass's HDG or HDT, with values in them")
	case !p.variation.known():
		return "variation missing: give " + p.in.Words.For(SayVariation) + " (12.6W), or log position and date (RMC)"
	}
	return ""
}

// howToRun is how long and how fast legs are to be run.
const howToRun = "two and a half minutes each, 5 kn or more"

// findSwings finds the deviation in all ways that the log allows, the best first. A
// turn one way is worse than legs with a heading reference: it can't tell A from lag.
// Legs get their residuals.
func findSwings(p *prepared, legs []Leg, turns []Turn) (all []Swing) {
	if p.noTrueHeading() != "" {
		return nil
	}
	byTurns, turned := swingByTurns(turns)
	byReference, referred := swingByReference(legs)
	oneWay := turned && byTurns.Method == ByOneTurn
	if turned && !oneWay {
		all = append(all, byTurns)
	}
	if referred {
		all = append(all, byReference)
	}
	if oneWay {
		all = append(all, byTurns)
	}
	if byLegs, ok := swingByLegs(legs, p.variation.Degrees); ok {
		all = append(all, byLegs)
	}
	return all
}

func swingByTurns(turns []Turn) (Swing, bool) {
	var whole []turnSamples
	for _, t := range turns {
		if t.Reference && t.Sectors == sectors {
			whole = append(whole, t.samples)
		}
	}
	l, ok := fitLagged(whole)
	if !ok {
		return Swing{}, false
	}
	s := Swing{Method: ByTurns, Fit: l.Deviation, Lag: &l, Seen: sectorMeans(whole, l)}
	if !l.BothWays {
		s.Method = ByOneTurn
	}
	for _, t := range whole {
		for _, x := range t {
			s.At = append(s.At, x.Compass)
		}
	}
	s.Table = l.Table(s.At)
	return s, true
}

func swingByReference(legs []Leg) (Swing, bool) {
	var seen []Seen
	var at []float64
	for _, l := range legs {
		if l.Reference != nil {
			seen = append(seen, Seen{l.Compass, l.Reference.Value})
			at = append(at, l.Compass)
		}
	}
	d, _, ok := FitSeen(seen)
	if !ok || len(missingHeadings(at)) > 0 {
		return Swing{}, false
	}
	return Swing{Method: ByReference, Fit: d, At: at, Seen: seen, Table: d.Table(at), Legs: len(seen)}, true
}

// swingByLegs sets the residuals of the legs, too.
func swingByLegs(legs []Leg, variation float64) (Swing, bool) {
	runs := make([]run, len(legs))
	for i := range legs {
		runs[i] = legs[i].run(variation)
	}
	j, ok := fitJoint(runs)
	if !ok {
		return Swing{}, false
	}
	at := headingsOfLegs(legs)
	s := Swing{Method: ByLegs, Fit: j.Deviation, Joint: &j, At: at, Table: j.Table(at), Legs: len(runs)}
	for i := range j.Residuals {
		legs[i].Residual = &j.Residuals[i]
		s.Seen = append(s.Seen, Seen{runs[i].Compass, j.Coefficients.At(runs[i].Compass) + j.Residuals[i]})
	}
	return s, true
}

// headingsOfLegs are the mean compass readings of legs.
func headingsOfLegs(legs []Leg) (at []float64) {
	for _, l := range legs {
		at = append(at, l.Compass)
	}
	return at
}

// meanKnots is the mean speed of legs over ground.
func meanKnots(legs []Leg) float64 {
	sum := 0.0
	for _, l := range legs {
		sum += l.Knots
	}
	return sum / float64(max(len(legs), 1))
}

// conclude puts the checks together: outside where one is; within where the
// deviation is, and nothing else that was judged says otherwise. Where legs of a
// swing are still to be run (swingToRun), there are reciprocal ones among them, and
// the alignment asks for none of its own.
func conclude(checks []Check, swingToRun bool) (verdict Verdict, says string, next []string) {
	kinds := map[Verdict][]string{}
	deviation := CantTell
	for _, c := range checks {
		if c.Verdict != "" {
			kinds[c.Verdict] = append(kinds[c.Verdict], string(c.Kind))
		}
		if c.Kind == OfDeviation {
			deviation = c.Verdict
		}
		if c.Missing != "" && c.Verdict != Within && !(c.Kind == OfAlignment && swingToRun) {
			next = appendNew(next, c.Missing)
		}
	}
	outside, within, open := strings.Join(kinds[Outside], ", "), strings.Join(kinds[Within], ", "), strings.Join(kinds[CantTell], ", ")
	switch {
	case outside != "":
		next = appendNew([]string{"look for the cause: something magnetic near the sensor, how it is mounted, the maker's set-up"}, next...)
		return Outside, "outside: " + outside + ". Find the cause before the boat is given back, or call a compass adjuster.", next
	case deviation == Within && open == "":
		return Within, "within tolerance: " + within + ".", next
	case within != "":
		return CantTell, "can't tell for " + open + ". Within tolerance: " + within + ".", next
	case len(next) > 0:
		return CantTell, "can't tell: " + next[0] + ".", next
	}
	return CantTell, "can't tell: the log has too little in it.", next
}

// appendNew appends what isn't in the list yet.
func appendNew(list []string, more ...string) []string {
	for _, s := range more {
		if !slices.Contains(list, s) {
			list = append(list, s)
		}
	}
	return list
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
