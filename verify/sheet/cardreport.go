package sheet

import (
	"cmp"
	"fmt"
	"strings"
	"time"

	"cardwright/verify"
	"cardwright/verify/visible"
)

// CardReport is what the page of a judged card is made from. Its own words are in
// the language of the style; the findings, the conclusion and what the card brings
// are in English.
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
	in.Style.Language = cmp.Or(in.Style.Language, English)
	w, err := in.Style.speech()
	if err != nil {
		return Sheet{}, fmt.Errorf("making the report: %w", err)
	}
	r := in.Report
	s := Sheet{
		Language: in.Style.Language, Title: w.say("report.title"), Vessel: prose(in.Vessel), Made: in.When,
		About: strings.Join(notEmpty(name(in.Target), prose(in.Shop), w.moment(in.When)), " · "),
		Stamp: Stamp{Kind: stampOfVerdict[r.Verdict], Word: w.say("report.verdict." + string(r.Verdict)), Text: prose(in.Conclusion)},
		Foot:  strings.Join(notEmpty(w.say("report.foot"), name(in.Target), short(r.Digest)), " · "),
	}
	if len(in.Brings) > 0 {
		brings := Section{ID: "brings", Title: w.say("report.brings")}
		for _, line := range in.Brings {
			brings.Blocks = append(brings.Blocks, Paragraph(prose(line)))
		}
		s.Sections = append(s.Sections, brings)
	}
	if len(r.Findings) > 0 {
		s.Sections = append(s.Sections, findingsSection(w, r.Findings))
	}
	s.Sections = append(s.Sections, countsSection(w, r))
	return s, nil
}

// findingsSection prints each finding: what it is, what was expected next to what
// was found, what it means, what to do.
func findingsSection(w speech, all []verify.Finding) Section {
	s := Section{ID: "findings", Title: w.say("report.findings")}
	if w.style.Language != English {
		s.Blocks = append(s.Blocks, Paragraph(w.say("report.english")))
	}
	for _, f := range all {
		title := w.say("report.severity."+string(f.Severity)) + ": " + visible.Visible(string(f.Kind))
		if f.Path != "" {
			title += ", " + name(f.Path)
		}
		s.Blocks = append(s.Blocks, Heading(title), Facts(filled(
			Fact{w.say("report.means"), prose(f.Meaning), false}, Fact{w.say("report.expected"), prose(f.Expected), false},
			Fact{w.say("report.found"), prose(f.Found), false}, Fact{w.say("report.do"), prose(f.Advice), false},
		)))
	}
	return s
}

func countsSection(w speech, r verify.Report) Section {
	c := r.Counts
	n := func(n int) string { return fmt.Sprint(n) }
	facts := Facts{
		{w.say("report.files"), n(c.Files), false},
		{w.say("report.matching"), n(c.FilesMatching), false},
		{w.say("report.differing"), n(c.FilesDiffering), false},
		{w.say("report.missing"), n(c.FilesMissing), false},
		{w.say("report.unexpected"), n(c.FilesUnexpected), false},
		{w.say("report.unreadable"), n(c.FilesUnreadable), false},
	}
	if c.BytesOfCard > 0 {
		facts = append(facts, Fact{w.say("report.bytes"), w.say("report.bytes.of", "some", w.size(int64(c.BytesRead)), "all", w.size(int64(c.BytesOfCard))), false})
	}
	if c.FindingsLeftOut > 0 {
		facts = append(facts, Fact{w.say("report.left"), n(c.FindingsLeftOut), false})
	}
	if r.Digest != "" {
		facts = append(facts, Fact{w.say("report.digest"), grouped(r.Digest, 8, " "), true})
	}
	return Section{ID: "counts", Title: w.say("report.counts"), Blocks: []Block{facts}}
}
