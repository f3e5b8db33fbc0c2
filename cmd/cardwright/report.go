package main

import (
	"fmt"
	"io"

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

var verdictMeans = map[verify.Verdict]string{
	verify.Good:      "it holds exactly what was expected.",
	verify.Bad:       "do not use this card.",
	verify.Unchecked: "it could not be proven; do not rely on it.",
}

// writeReport writes a report for a person: the verdict, what to do, then the
// findings from worst to least, then every count.
func writeReport(w io.Writer, title string, r verify.Report) {
	fmt.Fprintf(w, "%s: %s\n", verdictLines[r.Verdict], wrapped(title, "    "))
	fmt.Fprintf(w, "%s\n", capital(verdictMeans[r.Verdict]))
	for i, f := range r.Findings {
		if i == 0 && f.Severity != verify.Note {
			fmt.Fprintf(w, "What to do: %s\n", wrapped(f.Advice, "            "))
		}
		writeFinding(w, f)
	}
	writeCounts(w, r)
}

func capital(s string) string { return string(s[0]-'a'+'A') + s[1:] }

func writeFinding(w io.Writer, f verify.Finding) {
	where := ""
	if f.Path != "" {
		where = ": " + visible.Visible(f.Path)
	}
	fmt.Fprintf(w, "\n%s %s%s\n", f.Severity, f.Kind, where)
	for _, line := range []struct{ label, text string }{
		{"expected", f.Expected}, {"found   ", f.Found}, {"means   ", f.Meaning}, {"do      ", f.Advice},
	} {
		if line.text != "" {
			fmt.Fprintf(w, "  %s  %s\n", line.label, wrapped(line.text, "            "))
		}
	}
}

func writeCounts(w io.Writer, r verify.Report) {
	c := r.Counts
	fmt.Fprintf(w, "\n%s in %s, %s; matching %d, differing %d, missing %d,\nunexpected %d, unreadable %d.\n",
		counted(c["files"], "file"), counted(c["folders"], "folder"), media.Bytes(int64(c["bytes_of_files"])),
		c["files_matching"], c["files_differing"], c["files_missing"], c["files_unexpected"], c["files_unreadable"])
	if n := c["findings_left_out"]; n > 0 {
		fmt.Fprintf(w, "%s more are not shown.\n", counted(n, "finding"))
	}
	if r.Digest != "" {
		fmt.Fprintf(w, "Card digest %s\n", r.Digest)
	}
}
