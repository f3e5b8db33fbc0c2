// Package seatrial turns a log of a boat's own sentences into values with their
// doubt: how the compass stands to the course over ground, its deviation, how
// the course is kept. It is advice for a technician, no substitute for a
// licensed compass adjuster or the maker's own procedure.
//
// Everything here is a value made from values; the package reads and prints
// nothing.
package seatrial

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"cardwright/manifest/problem"
	"cardwright/verify/seatrial/sentences"
	"cardwright/verify/seatrial/wmm"
)

// Input is what a trial is made from.
type Input struct {
	Log        *sentences.Log
	Tolerances Tolerances
	Variation  *float64 // given, degrees, east positive; nil: from the log or the model
	// Names of sources to be used, as HCHDG; "": chosen, and told.
	Heading, Reference, Course, Helm string
	// BareReading leaves the deviation field of HDG out.
	BareReading bool
	// Pilot says that the pilot steered the legs: only then is course keeping
	// judged.
	Pilot   bool
	Earlier *Earlier // of the ledger, or of another log; nil: none
	// SetUpAnew says that the compass was set up anew since the earlier trial.
	SetUpAnew bool
	Words     problem.Words // for Acts, in what is asked for
}

// What a trial asks for, where nobody said it. %s in the words for one stands for
// what is noted beside it.
const (
	SayVariation  problem.Act = "the variation given"
	TakeHeading   problem.Act = "naming the heading" // the source, and so below
	TakeReference problem.Act = "naming the reference"
	TakeCourse    problem.Act = "naming the course"
	TakeRudder    problem.Act = "naming the rudder"
	SayPilot      problem.Act = "so"
)

// Acts is the closed list of them.
var Acts = []problem.Act{SayVariation, TakeHeading, TakeReference, TakeCourse, TakeRudder, SayPilot}

// UsedSource is a source as the page tells it.
type UsedSource struct {
	For   string `json:"for"` // compass, reference, ground, helm, position
	Name  string `json:"name"`
	Count int    `json:"count"`
	// Others told the same and were not used.
	Others []string `json:"others,omitempty"`
}

// UsedVariation is the variation and where it came from.
type UsedVariation struct {
	Degrees float64 `json:"degrees"` // east positive
	From    string  `json:"from"`    // "": there is none
	Needed  bool    `json:"needed"`
}

// known tells whether true headings can be made.
func (v UsedVariation) known() bool { return v.From != "" || !v.Needed }

// epoch is one second of the log.
type epoch struct {
	t                   int64
	compass             float32 // NaN: none in this second
	east, north         float32 // ground velocity; NaN: none
	reference, atRef    float32 // true heading by the reference, and the compass at that moment
	helm, helmOtherSide float32
}

var nan32 = float32(math.NaN())

// prepared is a log made ready: sources chosen, values by the second.
type prepared struct {
	in        Input
	epochs    []epoch
	used      []UsedSource
	variation UsedVariation
	field     string // what became of the deviation field of HDG
	place     *[2]float64
	notes     []string
	magnetic  bool
	twoHelms  bool
}

// referenceTalkers are those of compasses that need no variation: gyro
// compasses and satellites (NMEA 0183, talker identifiers).
var referenceTalkers = []string{"HE", "HN", "GP", "GN", "GL", "GA", "GB"}

// prepare chooses sources and sorts their values by the second.
func prepare(in Input) prepared {
	p := prepared{in: in}
	compass := p.chooseSource("compass", in.Heading, sentences.Magnetic, func(*sentences.Source) bool { return true })
	p.magnetic = compass != nil
	isReference := func(s *sentences.Source) bool {
		return slices.Contains(referenceTalkers, s.Name[:2]) || strings.HasPrefix(s.Name, "N2K") && s.Name == in.Reference
	}
	var reference *sentences.Source
	if compass == nil {
		compass = p.chooseSource("compass", in.Heading, sentences.True, func(s *sentences.Source) bool { return s.Name != in.Reference })
	}
	if compass != nil {
		reference = p.chooseSource("reference", in.Reference, sentences.True, func(s *sentences.Source) bool { return s != compass && isReference(s) })
	}
	p.noteOtherHeadings(compass, reference)
	ground := p.chooseSource("ground", in.Course, sentences.Ground, func(*sentences.Source) bool { return true })
	helm := p.chooseSource("helm", in.Helm, sentences.Rudder, func(*sentences.Source) bool { return true })
	p.findPosition()
	p.findVariation(compass)
	p.fillEpochs(compass, reference, ground, helm)
	p.noteAbsent()
	return p
}

// noteOtherHeadings names true headings that were not taken as a reference: most
// displays make them from the very compass that is on trial.
func (p *prepared) noteOtherHeadings(used ...*sentences.Source) {
	for _, s := range p.in.Log.Of(sentences.True) {
		told := slices.ContainsFunc(p.used, func(u UsedSource) bool { return slices.Contains(u.Others, s.Name) })
		if !slices.Contains(used, s) && !told {
			p.note("%s tells a true heading too; it was not used, since it may be made from the compass (%s takes it, where it is a satellite or gyro compass)", s.Name, p.in.Words.For(TakeReference, s.Name))
		}
	}
}

// preferred is which sentence is taken where one talker sends several.
var preferred = []string{"HDG", "HDM", "HDT", "THS", "RMC", "VTG"}

func preferenceOf(name string) int {
	if len(name) < 5 {
		return len(preferred)
	}
	if i := slices.Index(preferred, name[2:5]); i >= 0 {
		return i
	}
	return len(preferred)
}

// chooseSource takes the source that is named, or else the one with the most values,
// and notes the others.
func (p *prepared) chooseSource(role, name string, q sentences.Quantity, fits func(*sentences.Source) bool) *sentences.Source {
	var all []*sentences.Source
	for _, s := range p.in.Log.Of(q) {
		if fits(s) || s.Name == name {
			all = append(all, s)
		}
	}
	if len(all) == 0 {
		return nil
	}
	slices.SortStableFunc(all, func(a, b *sentences.Source) int {
		if few := len(all[0].Samples) / 2; min(len(a.Samples), len(b.Samples)) < few { // a hundred of one are no match for ten thousand
			return len(b.Samples) - len(a.Samples)
		}
		return preferenceOf(a.Name) - preferenceOf(b.Name)
	})
	if i := slices.IndexFunc(all, func(s *sentences.Source) bool { return s.Name == name }); i >= 0 {
		all[0], all[i] = all[i], all[0]
	} else if name != "" {
		return nil
	}
	u := UsedSource{For: role, Name: all[0].Name, Count: len(all[0].Samples)}
	for _, s := range all[1:] {
		u.Others = append(u.Others, s.Name)
	}
	p.used = append(p.used, u)
	if len(u.Others) > 0 {
		p.note("%s: %s was used; %s told the same and was not used, nor mixed with it (%s chooses)", role, u.Name, strings.Join(u.Others, ", "), p.in.Words.For(takeFor[role], "NAME"))
	}
	return all[0]
}

// takeFor is the act that chooses the source of a role.
var takeFor = map[string]problem.Act{"compass": TakeHeading, "reference": TakeReference, "ground": TakeCourse, "helm": TakeRudder}

func (p *prepared) note(format string, args ...any) {
	p.notes = append(p.notes, fmt.Sprintf(format, args...))
}

// findPosition takes the mean of the positions, which is near enough for variation.
func (p *prepared) findPosition() {
	all := p.in.Log.Of(sentences.Place)
	if len(all) == 0 {
		return
	}
	var lat, east, north float64
	for _, s := range all[0].Samples {
		lat += float64(s.A) / float64(len(all[0].Samples))
		east += sin(float64(s.B))
		north += cos(float64(s.B))
	}
	p.place = &[2]float64{lat, math.Atan2(east, north) * radian}
}

// variationsDiffer is by how much two variations have to differ for a note, degrees.
const variationsDiffer = 0.5

// findVariation takes the variation that was given, or that the compass says, or
// another sentence, or the model, and notes those that differ.
func (p *prepared) findVariation(compass *sentences.Source) {
	type found struct {
		value float64
		from  string
	}
	var all []found
	if p.in.Variation != nil {
		all = append(all, found{*p.in.Variation, p.in.Words.For(SayVariation)})
	}
	add := func(s *sentences.Source) {
		if s.Times == 0 {
			return
		}
		all = append(all, found{s.Variation.Mean(), s.Name})
		if s.Most-s.Least > variationsDiffer {
			p.note("the variation of %s went from %s to %s: its mean was taken", s.Name, East(s.Least), East(s.Most))
		}
	}
	if compass != nil {
		add(compass)
	}
	for _, s := range p.in.Log.Sources {
		if s != compass {
			add(s)
		}
	}
	p.variation.Needed = p.magnetic
	model := ""
	if p.place != nil && !p.in.Log.Date.IsZero() {
		v, err := wmm.Variation(p.place[0], p.place[1], p.in.Log.Date)
		if err != nil {
			model = "the " + wmm.Name + " wasn't used: " + err.Error()
		} else {
			all = append(all, found{v, fmt.Sprintf("%s at %s on %s", wmm.Name, Position(*p.place), p.in.Log.Date.Format(time.DateOnly))})
		}
	}
	if !p.magnetic {
		return
	}
	if len(all) == 0 {
		p.note("no variation: the sentences have none, none was given%s", map[bool]string{true: ", and " + model, false: ", and without position and date the World Magnetic Model can't be asked"}[model != ""])
		return
	}
	p.variation.Degrees, p.variation.From = all[0].value, all[0].from
	for _, f := range all[1:] {
		if math.Abs(wrap180(f.value-all[0].value)) > variationsDiffer {
			p.note("variations differ: %s by %s was used, %s has %s", East(all[0].value), all[0].from, f.from, East(f.value))
		}
	}
}

// East writes an angle with its side: 12.6° W.
func East(v float64) string {
	if v < 0 {
		return fmt.Sprintf("%.1f° W", -v)
	}
	return fmt.Sprintf("%.1f° E", v)
}

// Position writes a position in degrees.
func Position(p [2]float64) string {
	ns, ew := "N", "E"
	if p[0] < 0 {
		ns = "S"
	}
	if p[1] < 0 {
		ew = "W"
	}
	return fmt.Sprintf("%.2f° %s %.2f° %s", math.Abs(p[0]), ns, math.Abs(p[1]), ew)
}

// noteAbsent names sources that were asked for and aren't in the log.
func (p *prepared) noteAbsent() {
	for _, asked := range []struct{ role, name string }{{"compass", p.in.Heading}, {"reference", p.in.Reference}, {"ground", p.in.Course}, {"helm", p.in.Helm}} {
		if asked.name != "" && !slices.ContainsFunc(p.used, func(u UsedSource) bool { return u.For == asked.role && u.Name == asked.name }) {
			p.note("%s isn't in the log with a value: there is no %s", asked.name, asked.role)
		}
	}
}
