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

	"cardwright/manifest/problem"
	"cardwright/verify/seatrial/sentences"
)

// Input is what a trial is made from.
type Input struct {
	Log        *sentences.Log
	Tolerances Tolerances
	Variation  *float64 // given, degrees, east positive; nil: from the log or the model
	// Names of sources to be used, as HCHDG; "": one is chosen, and noted.
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

func (p *prepared) note(format string, args ...any) {
	p.notes = append(p.notes, fmt.Sprintf(format, args...))
}
