package main

import (
	"fmt"
	"io"
	"math"
	"strings"
	"time"
)

// printRows prints the rows of DEVELOPERS.md's two tables of ledgers, as they stand
// there.
func printRows(w io.Writer, table []ledgerFigures) {
	fmt.Fprintln(w, "\n| events | append, a second | `audit release` ms | bare | ratio | `audit vessel` ms | bare | ratio | `audit fleet` ms | sync s | MB | GB stored |")
	fmt.Fprintln(w, strings.Repeat("| --- ", 12)+"|")
	for i, f := range table {
		printRow(w, rowName(table, i), grouped(f.Appends),
			tableMillis(f.Release.Ours), tableMillis(f.Release.Bare), ratio(f.Release.Times),
			tableMillis(f.Vessel.Ours), tableMillis(f.Vessel.Bare), ratio(f.Vessel.Times),
			tableMillis(f.Fleet), tableSeconds(f.Sync), fmt.Sprint(f.peak>>20), fmt.Sprintf("%.2f", float64(f.Bytes)/1e9))
	}
	printRow(w, "limit at 10⁶", grouped(leastAppends), fmt.Sprint(mostAnswer.Milliseconds()), "", fmt.Sprint(mostTimes),
		fmt.Sprint(mostAnswer.Milliseconds()), "", fmt.Sprint(mostTimes), grouped(float64(mostFleet.Milliseconds())),
		fmt.Sprint(mostSync.Seconds()), fmt.Sprint(mostMemory>>20), "")

	fmt.Fprintln(w, "\n| events | `audit vessel` ms without looking | with | `audit fleet` ms without | with | a first answer s | check s | of it the engine's own | signatures s | ratio without the engine's own |")
	fmt.Fprintln(w, strings.Repeat("| --- ", 10)+"|")
	for i, f := range table {
		printRow(w, rowName(table, i), tableMillis(f.FreeVessel.Ours), tableMillis(f.Vessel.Ours), tableMillis(f.FreeFleet), tableMillis(f.Fleet),
			tableSeconds(f.First), tableSeconds(f.Check), tableSeconds(f.Integrity), tableSeconds(f.Signatures), ratio(f.checkTimes()))
	}
	printRow(w, "limit at 10⁶", "", "", "", "", "", "", "", "", fmt.Sprint(mostCheck))
}

func printRow(w io.Writer, cells ...string) {
	fmt.Fprintf(w, "| %s |\n", strings.Join(cells, " | "))
}

// rowName names a size, with its engine where that is another than the row's before.
func rowName(table []ledgerFigures, i int) string {
	power := int(math.Round(math.Log10(float64(table[i].Events))))
	name := "10" + string([]rune("⁰¹²³⁴⁵⁶⁷⁸⁹")[power])
	if math.Abs(float64(table[i].Events)/math.Pow10(power)-1) > 0.05 {
		name = grouped(float64(table[i].Events))
	}
	if i == 0 || table[i-1].Engine != table[i].Engine {
		name = table[i].Engine + " " + name
	}
	return name
}

func ratio(r float64) string { return fmt.Sprintf("%.2f", r) }

func tableMillis(d time.Duration) string { return short(float64(d.Microseconds()) / 1000) }

func tableSeconds(d time.Duration) string {
	if d == 0 {
		return "" // not measured
	}
	return short(d.Seconds())
}

func short(n float64) string {
	if n < 10 {
		return fmt.Sprintf("%.1f", n)
	}
	return grouped(n)
}

// grouped writes a number with a comma before every three digits.
func grouped(n float64) string {
	s := fmt.Sprintf("%.0f", n)
	for at := len(s) - 3; at > 0; at -= 3 {
		s = s[:at] + "," + s[at:]
	}
	return s
}
