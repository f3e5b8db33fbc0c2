package main

import (
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"strings"

	"cardwright/manifest"
	"cardwright/verify/ledger/audit"
	"cardwright/verify/seatrial"
	"cardwright/verify/seatrial/plot"
	"cardwright/verify/visible"
)

// writeSwings writes how A to E of each heading sensor changed over the years.
func writeSwings(w io.Writer, all []audit.Swing) {
	for i, s := range all {
		if i == 0 {
			fmt.Fprintf(w, "\nSea trials (A to E in degrees, ± half of a 95 %% interval, * value, - its doubt):\n")
			fmt.Fprintf(w, "  %s\n", wrapped(seatrial.Advice, "  "))
		}
		if s.Trial == nil {
			fmt.Fprintf(w, "  %s  %s: swung, noted by hand\n", date(s.At), visible.Visible(s.Device))
			continue
		}
		text := fmt.Sprintf("%s  %s: %s", date(s.At), s.Device, s.Trial.Verdict)
		if s.Trial.Method != "" {
			text += ", by " + s.Trial.Method
		}
		fmt.Fprintf(w, "  %s\n", wrapped(text, "    "))
	}
	for _, device := range sensorsOf(all) {
		fmt.Fprintf(w, "  %s:\n", visible.Visible(device))
		writeYears(w, measured(all, device))
	}
}

// sensorsOf are the sensors of which a deviation was found.
func sensorsOf(all []audit.Swing) (some []string) {
	for _, s := range all {
		if len(measured([]audit.Swing{s}, s.Device)) > 0 && !slices.Contains(some, s.Device) {
			some = append(some, s.Device)
		}
	}
	return some
}

// writeYears draws how A to E of one sensor went.
func writeYears(w io.Writer, all []audit.Swing) {
	most := 1.0
	for _, s := range all {
		for i, v := range s.Trial.Coefficients {
			most = max(most, math.Abs(v)+s.Trial.Doubts[i])
		}
	}
	for i, letter := range seatrial.Letters {
		for k, s := range all {
			if k > 0 {
				letter = " "
			}
			fmt.Fprintf(w, "  %s %s %+6.1f ± %4.1f  %s\n", letter, date(s.At), s.Trial.Coefficients[i], s.Trial.Doubts[i], strip(s.Trial.Coefficients[i], s.Trial.Doubts[i], most))
		}
	}
}

// measured are the trials that found a deviation of a sensor.
func measured(all []audit.Swing, device string) (some []audit.Swing) {
	for _, s := range all {
		if s.Device == device && s.Trial != nil && len(s.Trial.Coefficients) == len(seatrial.Letters) && len(s.Trial.Doubts) == len(seatrial.Letters) {
			some = append(some, s)
		}
	}
	return some
}

// strip draws a value with its doubt, from -most to most.
func strip(value, doubt, most float64) string {
	const half = 20
	place := func(v float64) int { return min(max(half+int(math.Round(v/most*half)), 0), 2*half) }
	row := []rune(strings.Repeat(" ", 2*half+1))
	for x := place(value - doubt); x <= place(value+doubt); x++ {
		row[x] = '-'
	}
	row[half] = '|'
	row[place(value)] = '*'
	return strings.TrimRight(string(row), " ")
}

// plotSwings writes the picture that --plot asks for.
func plotSwings(t *terminal, shop *manifest.Shop, path string, all []audit.Swing) error {
	if path == "" {
		return nil
	}
	sensors := sensorsOf(all)
	if len(sensors) > 1 {
		fmt.Fprintf(t.errs, "The picture is of %s; the list has %s too.\n", visible.Visible(sensors[0]), visible.Visible(strings.Join(sensors[1:], ", ")))
	}
	var years []plot.Year
	for _, x := range measured(all, append(sensors, "")[0]) {
		y := plot.Year{At: x.At}
		copy(y.Value[:], x.Trial.Coefficients)
		copy(y.U[:], x.Trial.Doubts)
		years = append(years, y)
	}
	if len(years) == 0 {
		return errors.New("--plot: no sea trial of this vessel is in the ledger with a deviation; note one: cardwright seatrial LOG --for VESSEL --record")
	}
	picture, err := plot.Years(years)
	if err != nil {
		return err
	}
	if err := (page{flag: "plot", path: path, shop: shop}).write(picture); err != nil {
		return fmt.Errorf("writing the picture: %w", err)
	}
	fmt.Fprintf(t.errs, "Picture written to %s\n", path)
	return nil
}
