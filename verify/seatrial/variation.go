package seatrial

import (
	"fmt"
	"math"
	"time"

	"cardwright/verify/seatrial/sentences"
	"cardwright/verify/seatrial/wmm"
)

// UsedVariation is the variation and where it came from.
type UsedVariation struct {
	Degrees float64 `json:"degrees"` // east positive
	From    string  `json:"from"`    // "": there is none
	Needed  bool    `json:"needed"`
}

// known reports whether true headings can be made.
func (v UsedVariation) known() bool { return v.From != "" || !v.Needed }

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
		p.note("no variation: the sentences have none, none was given%s", map[bool]string{true: ", and " + model, false: ", and the World Magnetic Model needs position and date"}[model != ""])
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
