package manifest

import (
	"cmp"
	"encoding/json"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"cardwright/manifest/problem"
)

// MaxMistakes is the most mistakes that are kept of one shop folder, and
// ShownMistakes the most that Error spells out.
const (
	MaxMistakes   = 1000
	ShownMistakes = 40
)

// Mistake is one thing in the shop's files that a person has to put right. Values
// from the file are in Found quoted and shortened; Expected is what is allowed
// there, Advice what to write instead.
type Mistake struct {
	At   Pos
	What string // the mistake in a few words, such as "unknown key"
	problem.Problem
}

// MarshalJSON keeps the keys that mistakes have always had.
func (m Mistake) MarshalJSON() ([]byte, error) {
	return json.Marshal(struct {
		At       Pos    `json:"at"`
		What     string `json:"what"`
		Found    string `json:"found"`
		Expected string `json:"expected"`
		Hint     string `json:"hint"`
	}{m.At, m.What, m.Found, m.Expected, m.Advice})
}

// String writes the mistake as one block of lines, without a line end.
func (m Mistake) String() string {
	var b strings.Builder
	fmt.Fprintf(&b, "%s: %s\n  found:    %s\n  expected: %s", m.At, m.What, m.Found, m.Expected)
	if m.Advice != "" {
		fmt.Fprintf(&b, "\n  try:      %s", m.Advice)
	}
	return b.String()
}

// Mistakes is every mistake of a shop folder, by file and line. It is the
// error that Load returns for files that could be read but not accepted. Its
// JSON form is the list of its mistakes.
type Mistakes []Mistake

// Error says how many mistakes there are and then what and where they are,
// a block of lines for each.
func (ms Mistakes) Error() string {
	files := map[string]bool{}
	for _, m := range ms {
		files[m.At.File] = true
	}
	var b strings.Builder
	fmt.Fprintf(&b, "%s in %s of the shop folder", atLeast(len(ms), "mistake"), count(len(files), "file"))
	for _, m := range ms[:min(len(ms), ShownMistakes)] {
		b.WriteString("\n\n" + m.String())
	}
	if more := len(ms) - ShownMistakes; more > 0 {
		fmt.Fprintf(&b, "\n\nand %d more", more)
	}
	return b.String()
}

func count(n int, thing string) string {
	if n == 1 {
		return "1 " + thing
	}
	return fmt.Sprintf("%d %ss", n, thing)
}

// atLeast is count, where mistakes beyond MaxMistakes weren't counted.
func atLeast(n int, thing string) string {
	if n >= MaxMistakes {
		return "at least " + count(n, thing)
	}
	return count(n, thing)
}

// collector gathers mistakes, up to MaxMistakes.
type collector struct{ all Mistakes }

func (c *collector) add(m Mistake) {
	if len(c.all) < MaxMistakes {
		c.all = append(c.all, m)
	}
}

func (c *collector) sorted() Mistakes {
	slices.SortStableFunc(c.all, func(a, b Mistake) int {
		return cmp.Or(
			cmp.Compare(a.At.File, b.At.File),
			cmp.Compare(a.At.Line, b.At.Line),
			cmp.Compare(a.At.Column, b.At.Column),
		)
	})
	return c.all
}

// maxQuoted is how many characters of a value a message repeats.
const maxQuoted = 60

// quote shows text from a file so that it can do nothing to a terminal.
func quote(s string) string {
	if r := []rune(s); len(r) > maxQuoted {
		return strconv.Quote(string(r[:maxQuoted])) + "…"
	}
	return strconv.Quote(s)
}
