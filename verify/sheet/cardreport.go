package sheet

import (
	"fmt"
	"strings"
	"time"

	"cardwright/verify"
	"cardwright/verify/visible"
)

// CardReport is what the page of a judged card is made from. Its texts are in
// English, as the findings are.
type CardReport struct {
	Report     verify.Report
	Target     string   // what was judged: a drive, an image, a folder
	Vessel     string   // for which it was judged; "": none was named
	Shop       string   // "": none
	Conclusion string   // the verdict in a sentence
	Brings     []string // what of the vessel's steps it can do
	When       time.Time
	Style      Style
}

// stampOfVerdict gives each verdict its sign.
var stampOfVerdict = map[verify.Verdict]string{verify.Good: StampGood, verify.Bad: StampNone, verify.Unchecked: StampRead}

// MakeReport makes the page of a judged card: the verdict and what to do first,
// then every finding, then what was counted. The only error is a Style that
// Style.Check refuses.
func MakeReport(in CardReport) (Sheet, error) {
	w, err := Style{Dates: in.Style.Dates}.speech()
	if err != nil {
		return Sheet{}, fmt.Errorf("making the report: %w", err)
	}
	r := in.Report
	s := Sheet{
		Language: English, Title: "Card report", Vessel: prose(in.Vessel), Made: in.When,
		About: strings.Join(notEmpty(name(in.Target), prose(in.Shop), w.moment(in.When)), " · "),
		Stamp: Stamp{Kind: stampOfVerdict[r.Verdict], Word: strings.ToUpper(string(r.Verdict)), Text: prose(in.Conclusion)},
		Foot:  strings.Join(notEmpty("card report", name(in.Target), short(r.Digest)), " · "),
	}
	if len(in.Brings) > 0 {
		brings := Section{ID: "brings", Title: "What the card brings"}
		for _, line := range in.Brings {
			brings.Blocks = append(brings.Blocks, Paragraph(prose(line)))
		}
		s.Sections = append(s.Sections, brings)
	}
	if len(r.Findings) > 0 {
		s.Sections = append(s.Sections, findingsSection(r.Findings))
	}
	s.Sections = append(s.Sections, countsSection(w, r))
	return s, nil
}

// findingsSection tells each finding: what it is, what was expected beside what
// was found, what it means, what to do.
func findingsSection(all []verify.Finding) Section {
	s := Section{ID: "findings", Title: "Findings, the worst first"}
	for _, f := range all {
		title := string(f.Severity) + ": " + visible.Visible(string(f.Kind))
		if f.Path != "" {
			title += ", " + name(f.Path)
		}
		s.Blocks = append(s.Blocks, Heading(title), Facts(filled(
			Fact{"Means", prose(f.Meaning), false}, Fact{"Expected", prose(f.Expected), false},
			Fact{"Found", prose(f.Found), false}, Fact{"Do", prose(f.Advice), false},
		)))
	}
	return s
}

func countsSection(w speech, r verify.Report) Section {
	c := r.Counts
	n := func(n int) string { return fmt.Sprint(n) }
	facts := Facts{
		{"Files", n(c.Files), false},
		{"matching", n(c.FilesMatching), false},
		{"differing", n(c.FilesDiffering), false},
		{"missing", n(c.FilesMissing), false},
		{"unexpected", n(c.FilesUnexpected), false},
		{"unreadable", n(c.FilesUnreadable), false},
	}
	if c.BytesOfCard > 0 {
		facts = append(facts, Fact{"Read", w.size(int64(c.BytesRead)) + " of " + w.size(int64(c.BytesOfCard)), false})
	}
	if c.FindingsLeftOut > 0 {
		facts = append(facts, Fact{"Findings not shown", n(c.FindingsLeftOut), false})
	}
	if r.Digest != "" {
		facts = append(facts, Fact{"Card digest", grouped(r.Digest, 8, " "), true})
	}
	return Section{ID: "counts", Title: "What was read", Blocks: []Block{facts}}
}
