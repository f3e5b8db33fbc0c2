package main

import (
	"fmt"
	"math"
	"os"
	"strings"
	"unicode/utf8"

	"golang.org/x/term"

	"cardwright/verify/sheet"
	"cardwright/verify/visible"
)

// columns is the width that output is written for: that of the terminal. What
// goes to a file or another program isn't broken.
var columns = screenColumns(os.Stdout)

// unbroken is the width of what is no screen.
const unbroken = math.MaxInt32

// screenColumns is how wide a terminal is: the usual width if it doesn't tell, and
// the least, which a phone shows, if it is narrower.
func screenColumns(f *os.File) int {
	const usual, least = 80, 40
	wide, _, err := term.GetSize(int(f.Fd()))
	switch {
	case err != nil:
		return unbroken
	case wide <= 0:
		return usual
	}
	return max(wide, least)
}

// onPage runs what writes a text that is to be printed, which has the width of a
// page wherever the answer itself goes.
func onPage(write func()) {
	screen := columns
	columns = sheet.Columns
	defer func() { columns = screen }()
	write()
}

// counted writes a count with its noun: 1 step, 2 steps.
func counted(n int, noun string) string {
	if n == 1 {
		return "1 " + noun
	}
	return fmt.Sprintf("%d %ss", n, noun)
}

// fitted breaks the lines of a text that are wider than columns, each indented as
// it begins. A command on a line of its own stays whole, to be copied.
func fitted(columns int, text string) string {
	parts := strings.Split(text, "\n")
	for i, p := range parts {
		rest := strings.TrimLeft(p, " ")
		command := strings.HasPrefix(p, "  cardwright ")
		if indent := p[:len(p)-len(rest)]; utf8.RuneCountInString(p) > columns && !command {
			parts[i] = indent + broken(columns, len(indent), rest, indent+"  ")
		}
	}
	return strings.Join(parts, "\n")
}

// wrapped makes a text safe for a terminal and breaks it between words; the
// lines after the first begin with indent. Words are never cut.
func wrapped(text, indent string) string { return wrappedFrom(len(indent), text, indent) }

// headed is a conclusion and what it is of.
func headed(conclusion, of string) string {
	conclusion += ": "
	return conclusion + wrappedFrom(utf8.RuneCountInString(conclusion), of, "    ")
}

// wrappedAfter is a head, safe already, and behind it what wrapped makes of a text.
func wrappedAfter(head, text, indent string) string {
	return head + wrappedFrom(utf8.RuneCountInString(head), text, indent)
}

// wrappedFrom is wrapped, where the first line begins in column width.
func wrappedFrom(width int, text, indent string) string {
	return broken(columns, width, text, indent)
}

// broken is wrappedFrom for a screen of so many columns.
func broken(columns, width int, text, indent string) string {
	var out strings.Builder
	for i, word := range strings.Fields(visible.Visible(text)) {
		n := utf8.RuneCountInString(word)
		switch {
		case i == 0:
		case width+1+n > columns:
			out.WriteString("\n" + indent)
			width = len(indent)
		default:
			out.WriteByte(' ')
			width++
		}
		out.WriteString(word)
		width += n
	}
	return out.String()
}

// or is a text, or another one where it is "".
func or(text, otherwise string) string {
	if text == "" {
		return otherwise
	}
	return text
}
