package main

import (
	"fmt"
	"io"
	"slices"
	"strings"

	"cardwright/media"
	"cardwright/verify"
	"cardwright/verify/visible"
)

// verdictLines are the conclusion, by a symbol and a word.
var verdictLines = map[verify.Verdict]string{
	verify.Good:      "✓ GOOD",
	verify.Bad:       "✗ BAD",
	verify.Unchecked: "? UNCHECKED",
}

// conclusion is the verdict in a sentence.
func conclusion(r verify.Report) string {
	switch {
	case r.RightFilesOnly():
		return "Right files, wrong file system: do not use this card as it is."
	case r.Verdict == verify.Bad && r.Card > 0 && r.Counts.Files > 0 && r.Counts.FilesMatching == 0 && !slices.ContainsFunc(r.Brings, func(b verify.Bring) bool { return b.Whole }):
		return "Nothing that the vessel needs is right on it: do not use this card."
	case r.Verdict == verify.Bad:
		return "Do not use this card."
	case r.Verdict == verify.Unchecked:
		return "It could not be proven; do not rely on it."
	case len(r.Findings) > 0 && r.Findings[0].Severity == verify.Warn:
		return "It holds everything that was expected; read the warnings below."
	}
	return "It holds exactly what was expected."
}

// shownReport is a report as a person reads it.
type shownReport struct {
	verify.Report
	title string
	whose string // whose card it is, where it's another's; "": it isn't, or that isn't known
	all   bool   // also what follows from another finding, and every one of many alike
}

// writeReport writes a report for a person: the verdict, what to do, then the
// findings from worst to least, then every count.
func writeReport(w io.Writer, r shownReport) {
	fmt.Fprintln(w, headed(verdictLines[r.Verdict], r.title))
	if r.Verdict != verify.Bad && r.OrderOutdated() {
		fmt.Fprintln(w, wrapped("The order ON THIS CARD names a folder that isn't there: use the one written now.", ""))
	}
	if r.whose != "" {
		fmt.Fprintln(w, wrapped(r.whose, ""))
	}
	fmt.Fprintln(w, conclusion(r.Report))
	if r.Verdict != verify.Good && len(r.Findings) > 0 {
		writeWhatToDo(w, r.Report)
	}
	if r.all || r.whose == "" || slices.ContainsFunc(r.Brings, func(b verify.Bring) bool { return b.Whole }) {
		writeBrings(w, r.Report)
	}
	writeFindings(w, r.Findings, r.all)
	writeCounts(w, r.Report)
}

// writeWhatToDo gives the worst finding's advice, and how to get a good card.
func writeWhatToDo(w io.Writer, r verify.Report) {
	const indent = "            "
	lead := leading(r.Findings)
	text := lead.Advice
	if path := lead.Path; path != "" && !ofAnother(lead) {
		fmt.Fprintf(w, "What to do about %s:\n%s", visible.Visible(path), indent)
	} else {
		fmt.Fprint(w, "What to do: ")
	}
	fmt.Fprintln(w, advice(text, indent))
	if command := r.RepairCommand(); command != "" && !strings.Contains(text, "NEWCARD") {
		text = "For a good card, put another one in: " + command
		fmt.Fprintf(w, "%s%s\n", indent, advice(text, indent))
	}
	switch {
	case strings.Contains(text, "NEWCARD2"):
		fmt.Fprintln(w, indent+wrapped("NEWCARD1 and so on are the drives of the other cards: cardwright readers lists them.", indent))
	case strings.Contains(text, "NEWCARD"):
		fmt.Fprintln(w, indent+wrapped("NEWCARD is the drive of the other card: cardwright readers lists it.", indent))
	}
}

// writeBrings writes which steps the card can do.
func writeBrings(w io.Writer, r verify.Report) {
	for i, b := range r.Brings {
		if i == 0 {
			fmt.Fprintln(w)
		}
		fmt.Fprintf(w, "  %s\n", wrapped(brings(b, r.Card), "    "))
	}
}

func brings(b verify.Bring, card int) string {
	step := fmt.Sprintf("step %d, %s %s → %s: ", b.Step, b.Device, b.From, b.To)
	switch {
	case b.Whole:
		return "✓ " + step + "its files are complete in /" + b.Folder
	case b.Card != card:
		return fmt.Sprintf("✗ %sits files belong on card %d", step, b.Card)
	case len(b.Missing) > 1:
		return fmt.Sprintf("✗ %smissing or wrong: %s, and %d more", step, b.Missing[0], len(b.Missing)-1)
	}
	return "✗ " + step + "missing or wrong: " + strings.Join(b.Missing, "")
}

// leading is the finding to lead with: the worst that follows from no other, or, where
// all that stop the card follow from another, that one.
func leading(findings []verify.Finding) verify.Finding {
	for _, f := range findings {
		if f.Because == "" && (f.Severity == verify.Stop || followingFrom(findings, f.Kind) > 0) {
			return f
		}
	}
	return findings[0]
}

// ofAnother is true of a finding that says whose card it is: its place, the record,
// is not what has to be repaired.
func ofAnother(f verify.Finding) bool {
	return f.Path == media.RecordPath && (f.Kind == verify.OtherVessel || f.Kind == verify.OtherPlan || f.Kind == verify.WayBackCard || f.Kind == verify.OtherCard)
}

// mostAlike is how many findings of one cause are shown, if not all are.
const mostAlike = 5

// writeFindings groups findings of one cause: their meaning and advice are
// written once. Unless all are asked for, those that follow from another
// are counted, and of many alike the first are shown.
func writeFindings(w io.Writer, findings []verify.Finding, all bool) {
	shown := findings
	if !all {
		shown = slices.DeleteFunc(slices.Clone(findings), func(f verify.Finding) bool { return f.Because != "" })
	}
	for i := 0; i < len(shown); {
		end := i + 1
		for end < len(shown) && sameCause(shown[i], shown[end]) {
			end++
		}
		writeAlike(w, shown[i:end], all)
		explains := ofAnother(shown[i]) || shown[i].Kind == verify.NothingNeeded || shown[i].Kind == verify.FitsVessel
		if n := followingFrom(findings, shown[i].Kind); explains && n > 0 && !all {
			fmt.Fprintf(w, "    %s from this; --all shows what.\n", follow(n))
		}
		i = end
	}
}

// followingFrom counts the findings that a kind of them explains.
func followingFrom(findings []verify.Finding, k verify.Kind) (n int) {
	for _, f := range findings {
		if f.Because == k {
			n++
		}
	}
	return n
}

func follow(n int) string {
	if n == 1 {
		return "1 more finding follows"
	}
	return fmt.Sprintf("%d more findings follow", n)
}

// writeAlike writes findings of one cause.
func writeAlike(w io.Writer, alike []verify.Finding, all bool) {
	fmt.Fprintf(w, "\n%s %s\n", alike[0].Severity, alike[0].Kind)
	left := 0
	if !all && len(alike) > mostAlike {
		left = len(alike) - mostAlike
	}
	for _, f := range alike[:len(alike)-left] {
		if f.Path != "" {
			fmt.Fprintf(w, "  %s\n", visible.Visible(f.Path))
		}
		writeLabelled(w, "expected", f.Expected)
		writeLabelled(w, "found", f.Found)
	}
	if left > 0 {
		fmt.Fprintf(w, "  and %d more like these; --all shows them\n", left)
	}
	writeLabelled(w, "means", alike[0].Meaning)
	if alike[0].Advice != "" {
		fmt.Fprintf(w, "    %-8s  %s\n", "do", advice(alike[0].Advice, "              "))
	}
}

func sameCause(a, b verify.Finding) bool {
	return a.Kind == b.Kind && a.Severity == b.Severity && a.Meaning == b.Meaning && a.Advice == b.Advice
}

// advice is wrapped, but for a command that it ends with: that gets a line
// of its own, so that it can be taken as it is.
func advice(text, indent string) string {
	words, command, ok := strings.Cut(text, ": cardwright ")
	if !ok {
		return wrapped(text, indent)
	}
	return wrapped(words+":", indent) + "\n" + indent + visible.Visible("cardwright "+command)
}

func writeLabelled(w io.Writer, label, text string) {
	if text != "" {
		fmt.Fprintf(w, "    %-8s  %s\n", label, wrapped(text, "              "))
	}
}

// cardCommands are the commands that advice about a card names: for a vessel,
// with the flags that have the same plan, which has so many cards. NEWCARD is
// another card, or NEWCARD1 and so on.
func cardCommands(target, vessel string, flags []string, cards int) verify.Commands {
	line := func(words ...string) string {
		for _, flag := range flags {
			words = append(words, media.ShellWord(flag))
		}
		return strings.Join(words, " ")
	}
	verifying := func(target string) string { return line("cardwright verify", target, "--for", vessel) }
	this := verifying(media.ShellWord(target))
	return verify.Commands{
		Verify: this, Order: this + " --order install-order.txt", Drive: verifying("DRIVE"),
		Prepare: line("cardwright prepare", vessel) + newCards("--to", cards),
		Repair:  this + newCards("--repair-to", cards),
		WayBack: this + " --way-back",
		Readers: "cardwright readers",
	}
}

// newCards names another card for each of a plan's.
func newCards(flag string, cards int) string {
	if cards < 2 {
		return " " + flag + " NEWCARD"
	}
	all := ""
	for i := range cards {
		all += fmt.Sprintf(" %s NEWCARD%d", flag, i+1)
	}
	return all
}

func writeCounts(w io.Writer, r verify.Report) {
	c := r.Counts
	counts := fmt.Sprintf("%s in %s, %s; matching %d, differing %d, missing %d, unexpected %d, unreadable %d.",
		counted(c.Files, "file"), counted(c.Folders, "folder"), media.Bytes(int64(c.BytesOfFiles)),
		c.FilesMatching, c.FilesDiffering, c.FilesMissing, c.FilesUnexpected, c.FilesUnreadable)
	fmt.Fprintf(w, "\n%s\n", wrapped(counts, ""))
	if c.BytesOfCard > 0 {
		fmt.Fprintln(w, wrapped(fmt.Sprintf("Read %s of the card's %s.", media.Bytes(int64(c.BytesRead)), media.Bytes(int64(c.BytesOfCard))), ""))
	}
	if n := c.FindingsLeftOut; n > 0 {
		fmt.Fprintf(w, "%s more are not shown.\n", counted(n, "finding"))
	}
	if r.Digest != "" {
		fmt.Fprintf(w, "Card digest %s\n", r.Digest)
	}
}
