package seatrial

import (
	"fmt"
	"slices"
	"strings"

	"cardwright/manifest/problem"
	"cardwright/verify/seatrial/sentences"
)

// UsedSource is a source as the page tells it.
type UsedSource struct {
	For   string `json:"for"` // compass, reference, ground, helm, position
	Name  string `json:"name"`
	Count int    `json:"count"`
	// Others give the same and were left out.
	Others []string `json:"others,omitempty"`
}

// referenceTalkers are those of compasses that need no variation: gyro
// compasses and satellites (NMEA 0183, talker identifiers).
var referenceTalkers = []string{"HE", "HN", "GP", "GN", "GL", "GA", "GB"}

// preferred is which sentence is taken where one talker sends several.
var preferred = []string{"HDG", "HDM", "HDT", "THS", "RMC", "VTG"}

// noteOtherHeadings names true headings that were not taken as a reference: most
// displays make them from the very compass that is on trial.
func (p *prepared) noteOtherHeadings(used ...*sentences.Source) {
	for _, s := range p.in.Log.Of(sentences.True) {
		told := slices.ContainsFunc(p.used, func(u UsedSource) bool { return slices.Contains(u.Others, s.Name) })
		if !slices.Contains(used, s) && !told {
			p.note("%s gives a true heading too; it was not used, since it may be made from the compass (%s uses it, if it is a satellite or gyro compass)", s.Name, p.in.Words.For(TakeReference, s.Name))
		}
	}
}

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
		p.note("%s: %s was used; %s gives the same and was left out, not mixed with it (%s chooses)", role, u.Name, strings.Join(u.Others, ", "), p.in.Words.For(takeFor[role], "NAME"))
	}
	return all[0]
}

// misnamed says that a source that was named for a role has no values, and which have;
// "" where none was named, or nothing in the log has any.
func (p *prepared) misnamed(role, name string, quantities ...sentences.Quantity) string {
	var have []string
	for _, q := range quantities {
		for _, s := range p.in.Log.Of(q) {
			have = append(have, p.in.Words.For(takeFor[role], s.Name))
		}
	}
	if name == "" || len(have) == 0 {
		return ""
	}
	return fmt.Sprintf("%s has no value in this log: give %s", name, strings.Join(have, " or "))
}

// takeFor is the act that chooses the source of a role.
var takeFor = map[string]problem.Act{"compass": TakeHeading, "reference": TakeReference, "ground": TakeCourse, "helm": TakeRudder}

// noteAbsent names sources that were asked for and aren't in the log.
func (p *prepared) noteAbsent() {
	for _, asked := range []struct{ role, name string }{{"compass", p.in.Heading}, {"reference", p.in.Reference}, {"ground", p.in.Course}, {"helm", p.in.Helm}} {
		if asked.name != "" && !slices.ContainsFunc(p.used, func(u UsedSource) bool { return u.For == asked.role && u.Name == asked.name }) {
			p.note("%s has no value in this log: there is no %s", asked.name, asked.role)
		}
	}
}
