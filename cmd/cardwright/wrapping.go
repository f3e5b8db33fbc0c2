package main

import (
	"fmt"
	"os"
	"strings"
	"unicode/utf8"

	"golang.org/x/term"

	"cardwright/verify/visible"
)

// columns is the width that output is written for: that of the terminal, and
// elsewhere the one that is readable anywhere.
var columns = screenColumns(os.Stdout)

// screenColumns is how wide a terminal is; text isn't broken narrower than the
// least, which a phone shows.
func screenColumns(f *os.File) int {
	const anywhere, least = 80, 40
	wide, _, err := term.GetSize(int(f.Fd()))
	if err != nil || wide <= 0 {
		return anywhere
	}
	return max(wide, least)
}

// counted writes a count with its noun: 1 step, 2 steps.
func counted(n int, noun string) string {
	if n == 1 {
		return "1 " + noun
	}
	return fmt.Sprintf("%d %ss", n, noun)
}

// fitted breaks the lines of a text that are too wide for the screen, each
// indented as it begins. A command on a line of its own stays whole, to be
// copied.
func fitted(text string) string {
	parts := strings.Split(text, "\n")
	for i, p := range parts {
		rest := strings.TrimLeft(p, " ")
		command := strings.HasPrefix(p, "  cardwright ")
		if indent := p[:len(p)-len(rest)]; utf8.RuneCountInString(p) > columns && !command {
			parts[i] = indent + wrapped(rest, indent+"  ")
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
