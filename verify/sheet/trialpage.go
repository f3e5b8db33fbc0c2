package sheet

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"cardwright/manifest"
	"cardwright/verify/seatrial"
	"cardwright/verify/seatrial/plot"
)

// TrialInput is what the page of a sea trial is made from.
type TrialInput struct {
	Shop       *manifest.Shop   // nil: none
	Vessel     *manifest.Vessel // nil: not named
	Trial      seatrial.Trial
	Digests    []Fact // the logs, each with the SHA-256 of its bytes
	When       time.Time
	Technician string
	Dates      Dates
}

// MakeTrial makes the page of a sea trial, in English: what was found, what it
// means, what to do next, and everything that was thrown away.
func MakeTrial(in TrialInput) (Sheet, error) {
	w, err := Style{Dates: in.Dates}.speech()
	if err != nil {
		return Sheet{}, fmt.Errorf("making the page: %w", err)
	}
	s := Sheet{
		Language: English, Title: "Sea trial: compass and steering", Made: in.When,
		Stamp: Stamp{Kind: stampKinds[in.Trial.Verdict], Word: strings.ToUpper(string(in.Trial.Verdict)), Text: sentence(in.Trial.Says)},
		Foot:  trialFoot(w, in), Facts: trialFacts(w, in), About: trialAbout(w, in),
		By: Blank{ID: "by", Label: w.say("technician"), Value: prose(in.Technician), Wide: true},
	}
	if in.Vessel != nil {
		s.Vessel = vesselName(in.Vessel)
	}
	if s.Sections, err = trialSections(in.Trial); err != nil {
		return Sheet{}, err
	}
	s.Sections = append(s.Sections, Section{ID: "trial-shop", Title: w.say("shop.block"), Blocks: []Block{Facts(s.Facts)}})
	return s, nil
}

// stampKinds give each verdict its symbol.
var stampKinds = map[seatrial.Verdict]string{
	seatrial.Within: StampGood, seatrial.Outside: StampNone, seatrial.CantTell: StampRead,
}

func trialFoot(w speech, in TrialInput) string {
	parts := []string{"sea trial"}
	if in.Vessel != nil {
		parts = []string{name(in.Vessel.Name), "sea trial"}
	}
	if !in.Trial.Date.IsZero() {
		parts = append(parts, "log of "+w.day(in.Trial.Date))
	}
	if len(in.Digests) > 0 {
		parts = append(parts, "log "+short(in.Digests[0].Value))
	}
	return strings.Join(parts, " · ")
}

// trialAbout says in a line where she lies, who works and of which day it is.
func trialAbout(w speech, in TrialInput) string {
	var parts []string
	if v := in.Vessel; v != nil {
		parts = append(parts, identity(w, v), prose(v.Berth))
	}
	if in.Shop != nil {
		parts = append(parts, prose(in.Shop.Name))
	}
	if day := w.day(in.Trial.Date); day != "" {
		parts = append(parts, "log of "+day)
	}
	return strings.Join(notEmpty(parts...), " · ")
}

func trialFacts(w speech, in TrialInput) []Fact {
	var all []Fact
	if v := in.Vessel; v != nil {
		all = filled(
			Fact{Label: w.say("vessel"), Value: name(v.Name) + " (" + name(v.ID) + ")"},
			Fact{Label: w.say("identity"), Value: identity(w, v)},
			Fact{Label: w.say("berth"), Value: prose(v.Berth)},
		)
	}
	if in.Shop != nil {
		all = append(all, Fact{Label: w.say("shop"), Value: prose(in.Shop.Name)})
	}
	all = append(all, filled(Fact{Label: "day of the log", Value: w.day(in.Trial.Date)})...)
	if p := in.Trial.Place; p != nil {
		all = append(all, Fact{Label: "place", Value: seatrial.Position(*p)})
	}
	for _, d := range in.Digests {
		all = append(all, Fact{Label: name(d.Label), Value: grouped(d.Value, 8, " "), Exact: true})
	}
	return all
}

// trialSections are the parts of a trial's page, which can also end an install
// order.
func trialSections(t seatrial.Trial) ([]Section, error) {
	all := []Section{trialNext(t), trialChecks(t)}
	for i, s := range t.Swings {
		section, err := trialSwing(t, s, i)
		if err != nil {
			return nil, fmt.Errorf("making the page: %w", err)
		}
		all = append(all, section)
	}
	if len(t.Legs) > 0 {
		all = append(all, trialLegs(t))
	}
	return append(all, trialUsed(t), trialLeft(t)), nil
}

func trialNext(t seatrial.Trial) Section {
	s := Section{ID: "trial-next", Title: "What to do next", Blocks: []Block{Caution(t.Advice)}}
	for i, next := range t.Next {
		s.Blocks = append(s.Blocks, Tick{ID: fmt.Sprintf("trial-next-%d", i+1), Text: sentence(next)})
	}
	if len(t.Next) == 0 {
		s.Blocks = append(s.Blocks, Paragraph("Nothing is left to do of this. Trust no heading that you haven't compared with a bearing you know."))
	}
	return s
}

// sentence makes a sentence of a clause.
func sentence(s string) string {
	s = prose(s)
	if s == "" {
		return ""
	}
	s = strings.ToUpper(s[:1]) + s[1:]
	if !strings.HasSuffix(s, ".") {
		s += "."
	}
	return s
}

func trialChecks(t seatrial.Trial) Section {
	table := Table{Head: []string{"check", "verdict", "value", "tolerance", "in words"}}
	for _, c := range t.Checks {
		row := []string{string(c.Kind), orDash(string(c.Verdict)), "–", "–", sentence(c.Says)}
		unit := "°"
		if c.Kind == seatrial.OfOvershoot {
			unit = " %"
		}
		if c.Value != nil {
			row[2] = valueText(*c.Value, unit)
		}
		if c.Tolerance != nil {
			row[3] = fmt.Sprintf("%g%s (%s)", c.Tolerance.Most, unit, c.Tolerance.Source)
		}
		table.Rows = append(table.Rows, Row{Cells: row})
	}
	return Section{ID: "trial-found", Title: "What was found", Blocks: []Block{Paragraph(legend(t)), table}}
}

// meanings are what the verdicts mean.
var meanings = []struct {
	verdict seatrial.Verdict
	text    string
}{
	{seatrial.Within, "Within tolerance: the value and its doubt lie inside, and the doubt is half the tolerance at most."},
	{seatrial.Outside, "Outside: the value lies outside by more than its doubt."},
	{seatrial.CantTell, "Can't tell: the log doesn't prove either."},
}

// legend explains the verdicts that are there, and no others.
func legend(t seatrial.Trial) string {
	var parts []string
	for _, m := range meanings {
		if slices.ContainsFunc(t.Checks, func(c seatrial.Check) bool { return c.Verdict == m.verdict }) {
			parts = append(parts, m.text)
		}
	}
	return strings.Join(append(parts, "± is half of a 95 % interval."), " ")
}

func orDash(s string) string {
	if s == "" {
		return "not judged"
	}
	return s
}

// valueText writes a value, its doubt and what it came from.
func valueText(e seatrial.Estimate, unit string) string {
	doubt := "doubt not known"
	if e.Known {
		doubt = fmt.Sprintf("± %.1f%s", e.U, unit)
	}
	return fmt.Sprintf("%s%s %s; %d %s, %.0f independent", signed(e.Value), unit, doubt, e.Samples, samplesWord(e.Samples), math.Floor(e.Independent))
}

func samplesWord(n int) string {
	if n == 1 {
		return "sample"
	}
	return "samples"
}

// signed writes a value with its sign; 0.0 has none.
func signed(v float64) string {
	if math.Abs(v) < 0.05 {
		return "0.0"
	}
	return strings.Replace(fmt.Sprintf("%+.1f", v), "-", "−", 1)
}

func trialSwing(t seatrial.Trial, s seatrial.Swing, i int) (Section, error) {
	section := Section{ID: fmt.Sprintf("trial-swing-%d", i+1), Title: "Deviation, by " + string(s.Method)}
	for _, text := range swingText(t, s) {
		section.Blocks = append(section.Blocks, Paragraph(text))
	}
	picture, err := plot.Deviation(s, t.Limits.Deviation.Most)
	if err != nil {
		return Section{}, err
	}
	section.Blocks = append(section.Blocks, Picture{
		Says: "Deviation against compass heading: the fitted curve, the band of its doubt (95 %, for one heading), the reading of each leg or each 15° (×), and the tolerance (dashed).",
		PNG:  picture, Text: strip(s.Table, t.Limits.Deviation.Most),
	})
	table := Table{Narrow: true, Head: []string{"heading by compass", "deviation", "± one heading", "± all headings"}}
	for _, h := range s.Table {
		cells := []string{fmt.Sprintf("%03.0f°", h.Compass), "–", "–", "–"}
		if h.Covered {
			cells = []string{cells[0], signed(h.Deviation) + "°", fmt.Sprintf("%.1f°", h.U), fmt.Sprintf("%.1f°", h.Family)}
		}
		table.Rows = append(table.Rows, Row{Cells: cells})
	}
	section.Blocks = append(section.Blocks, table)
	return section, nil
}

func swingText(t seatrial.Trial, s seatrial.Swing) []string {
	var parts []string
	for i, letter := range seatrial.Letters {
		parts = append(parts, fmt.Sprintf("%s %s° ± %.1f°", letter, signed(s.Fit.Coefficients[i]), s.Fit.U[i]))
	}
	text := []string{strings.Join(parts, ", ") + ". Deviation is A + B sin θ + C cos θ + D sin 2θ + E cos 2θ on heading θ by compass, east +: true heading = compass + deviation + variation."}
	if j := s.Joint; j != nil {
		minutes := 0.0
		for _, l := range t.Legs {
			minutes += float64(l.Seconds) / 60
		}
		text = append(text, fmt.Sprintf("From %d legs, %.0f minutes. Found with it: %.1f kn through the water, a current of %.1f kn setting %03.0f°.", s.Legs, minutes, j.Speed, j.Current.Speed(), j.Current.Course()),
			fmt.Sprintf("Every heading carries %.1f° more for leeway: in legs, wind that sets the boat sideways by up to 0.1 kn looks like B and C. Only a heading reference removes that.", j.Leeway))
	}
	if l := s.Lag; l != nil {
		if l.BothWays {
			text = append(text, fmt.Sprintf("The compass is %.2f s ± %.2f s behind the reference.", l.Lag.Value, l.Lag.U))
		} else {
			text = append(text, "The turn went one way only: lag and A can't be separated, B to E can.")
		}
	}
	if s.Method == seatrial.ByReference {
		text = append(text, fmt.Sprintf("From %d legs with a heading reference.", s.Legs))
	}
	return append(text, "Headings in a gap of more than 60° are left out. This table is a measurement of that day: it doesn't replace a compass adjuster's.")
}

// strip draws the deviation with characters, a line for each heading.
func strip(table []seatrial.Heading, tolerance float64) []string {
	const half = 22
	most := tolerance
	for _, h := range table {
		if h.Covered {
			most = max(most, math.Abs(h.Deviation)+min(h.U, 2*tolerance))
		}
	}
	most *= 1.05
	place := func(v float64) int { return min(max(half+int(math.Round(v/most*half)), 0), 2*half) }
	lines := []string{fmt.Sprintf("%-5s%*s%*s%*s", "", half-1, "west", 3, "0", half, "east")}
	for _, h := range table {
		row := []rune(strings.Repeat(" ", 2*half+1))
		row[place(-tolerance)], row[half], row[place(tolerance)] = ':', '|', ':'
		if h.Covered {
			for x := place(h.Deviation - h.U); x <= place(h.Deviation+h.U); x++ {
				row[x] = '-'
			}
			row[place(h.Deviation)] = '*'
		}
		lines = append(lines, strings.TrimRight(fmt.Sprintf("%03.0f  %s", h.Compass, string(row)), " "))
	}
	return append(lines, "     * deviation   --- its doubt   : tolerance")
}

func clockText(seconds float64) string {
	s := int(seconds)
	return fmt.Sprintf("%02d:%02d:%02d", s/3600, s/60%60, s%60)
}

func trialLegs(t seatrial.Trial) Section {
	s := Section{ID: "trial-legs", Title: "Straight legs", Blocks: []Block{
		Paragraph("Each leg leaves out the first 30 seconds after a turn. Course minus heading includes current and leeway: one leg alone says nothing about the compass."),
	}}
	table := Table{Narrow: true, Head: []string{"leg", "UTC", "s", "heading", "spread", "course", "kn", "course−heading", "indep.", "residual"}}
	for _, l := range t.Legs {
		residual := "–"
		if l.Residual != nil {
			residual = signed(*l.Residual) + "°"
		}
		difference := signed(l.Difference.Value) + "°"
		if l.Difference.Known {
			difference += fmt.Sprintf(" ± %.1f°", l.Difference.U)
		}
		table.Rows = append(table.Rows, Row{Cells: []string{
			fmt.Sprint(l.Number), clockText(l.At), fmt.Sprint(l.Seconds), fmt.Sprintf("%05.1f°", l.Compass), fmt.Sprintf("%.1f°", l.Spread),
			fmt.Sprintf("%05.1f°", l.Course), fmt.Sprintf("%.1f", l.Knots), difference, fmt.Sprintf("%.0f of %d", math.Floor(l.Difference.Independent), l.Difference.Samples), residual,
		}})
	}
	s.Blocks = append(s.Blocks, table)
	return s
}

func trialUsed(t seatrial.Trial) Section {
	s := Section{ID: "trial-used", Title: "What was used"}
	for _, u := range t.Used {
		line := fmt.Sprintf("%s: %s, %d values", u.For, name(u.Name), u.Count)
		if len(u.Others) > 0 {
			line += "; not used: " + names(u.Others)
		}
		s.Blocks = append(s.Blocks, Paragraph(sentence(line)))
	}
	switch v := t.Variation; {
	case !v.Needed:
	case v.From == "":
		s.Blocks = append(s.Blocks, Paragraph("Variation: none."))
	default:
		s.Blocks = append(s.Blocks, Paragraph(sentence(fmt.Sprintf("variation: %s, from %s", seatrial.East(v.Degrees), v.From))))
	}
	if t.Field != "" {
		s.Blocks = append(s.Blocks, Paragraph(sentence(t.Field)))
	}
	if t.Log.Clock != "" {
		s.Blocks = append(s.Blocks, Paragraph(sentence("times from "+t.Log.Clock)))
	}
	for _, n := range t.Notes {
		s.Blocks = append(s.Blocks, Paragraph(sentence(n)))
	}
	return s
}

func trialLeft(t seatrial.Trial) Section {
	c := t.Log.Counts
	s := Section{ID: "trial-left", Title: "What was thrown away, and why"}
	s.Blocks = append(s.Blocks, Paragraph(fmt.Sprintf("Of %d lines %d sentences were read; %d comments and empty lines, %d sentences of kinds that aren't needed, %d lines without a sentence.",
		c.Lines, c.Sentences, c.Comments, c.Other, c.Nothing)))
	without := "left out"
	if c.WithoutUsed {
		without = "taken, as was asked for"
	}
	s.Blocks = append(s.Blocks, Paragraph(fmt.Sprintf("Wrong checksums: %d. Without a checksum: %d, %s. Cut by another sentence: %d. Lines too long: %d. Stamps that can't be read: %d.", c.Wrong, c.Without, without, c.Cut, c.Long, c.Stamps)))
	s.Blocks = append(s.Blocks, Paragraph(fmt.Sprintf("Gaps of more than 5 s: %d (%.0f s). Clock jumps: %d. Values without a time: %d. Left out over the limit: %d.", c.Gaps, c.GapSeconds, c.Jumps, c.Untimed, c.LeftOut)))
	for _, source := range t.Log.Sources {
		if source.Void+source.Empty+source.Bad > 0 {
			s.Blocks = append(s.Blocks, Paragraph(fmt.Sprintf("%s: %d of %d say themselves that they aren't valid, %d are empty, %d can't be read.", name(source.Name), source.Void, source.Count, source.Empty, source.Bad)))
		}
	}
	s.Blocks = append(s.Blocks, Paragraph(fmt.Sprintf("Dropped after turns: %d s.", t.Dropped)))
	for _, r := range t.Rejected {
		s.Blocks = append(s.Blocks, Paragraph(fmt.Sprintf("No leg, at %s for %d s: %s.", clockText(r.At), r.Seconds, r.Why)))
	}
	if t.MoreLeft > 0 {
		s.Blocks = append(s.Blocks, Paragraph(fmt.Sprintf("And %d more like these.", t.MoreLeft)))
	}
	return s
}

// Join ends an install order with the sections of a sea trial.
func Join(order, trial Sheet) Sheet {
	verdict := Section{ID: "trial", Title: trial.Title, Blocks: []Block{Paragraph(trial.Stamp.Word + ". " + trial.Stamp.Text)}}
	order.Sections = append(append(slices.Clip(order.Sections), verdict), trial.Sections...)
	return order
}
