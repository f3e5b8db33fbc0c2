package sheet

import (
	"fmt"
	"strconv"
	"strings"
	"time"
)

// Style is how a sheet is written.
type Style struct {
	Language string // of Languages; "" is English
	Dates    Dates  // "" is DatesISO
	Units    Units  // "" is Metric
}

// Dates is how a day is written.
type Dates string

// The ways to write a day: 2026-03-02, 2 Mar 2026, Mar 2, 2026.
const (
	DatesISO   Dates = "iso"
	DatesDay   Dates = "day"
	DatesMonth Dates = "month"
)

// Units is how lengths are written. Sizes of files and cards are decimal in
// both, as they are printed on cards; versions and voltages have no choice.
type Units string

// The units of length.
const (
	Metric Units = "metric"
	Feet   Units = "feet"
)

// Check says what in the style isn't known.
func (s Style) Check() error {
	if _, err := speak(s.Language); err != nil {
		return err
	}
	switch s.Dates {
	case "", DatesISO, DatesDay, DatesMonth:
	default:
		return fmt.Errorf("dates %q; write one of %s, %s, %s", s.Dates, DatesISO, DatesDay, DatesMonth)
	}
	switch s.Units {
	case "", Metric, Feet:
	default:
		return fmt.Errorf("units %q; write one of %s, %s", s.Units, Metric, Feet)
	}
	return nil
}

// speech is a language with a style of dates and units.
type speech struct {
	words
	style Style
}

func (s Style) speech() (speech, error) {
	if err := s.Check(); err != nil {
		return speech{}, err
	}
	w, err := speak(s.Language)
	return speech{w, s}, err
}

// day writes the day of t, and nothing where there is none.
func (w speech) day(t time.Time) string {
	if t.IsZero() {
		return ""
	}
	return w.date(t)
}

// date writes the day of t, where t was.
func (w speech) date(t time.Time) string {
	key := "date.iso"
	switch w.style.Dates {
	case DatesDay:
		key = "date.day"
	case DatesMonth:
		key = "date.month"
	}
	return w.say(key,
		"year", fmt.Sprintf("%04d", t.Year()),
		"month", strings.Fields(w.words["months"])[t.Month()-1],
		"month2", fmt.Sprintf("%02d", t.Month()),
		"day", strconv.Itoa(t.Day()),
		"day2", fmt.Sprintf("%02d", t.Day()))
}

// moment writes t with its offset from UTC, so that it can be read anywhere.
func (w speech) moment(t time.Time) string {
	if t.IsZero() {
		return w.say("card.undated")
	}
	zone := t.Format("-07:00")
	if zone == "+00:00" {
		zone = "UTC"
	}
	return w.date(t) + " " + t.Format("15:04") + " " + zone
}

// near is how far magnetic things are kept from a sensor: common practice, 3 ft.
func (w speech) near() string {
	if w.style.Units == Feet {
		return w.say("near.feet")
	}
	return w.say("near.metric")
}

// size writes n bytes in the decimal unit that cards are sold in.
func (w speech) size(n int64) string {
	const kilo = 1000
	units := []string{"kB", "MB", "GB", "TB"}
	if n < kilo {
		return strconv.FormatInt(n, 10) + " bytes"
	}
	value, unit := float64(n), ""
	for _, unit = range units {
		if value /= kilo; value < kilo-0.05 {
			break
		}
	}
	text := strconv.FormatFloat(value, 'f', 1, 64)
	return strings.Replace(text, ".", w.words["decimal"], 1) + " " + unit
}

// minutes writes a time that a step takes; 0: nobody has said.
func (w speech) minutes(n int) string {
	const hour = 60
	switch {
	case n == 0:
		return w.say("step.minutes.unsaid")
	case n < 2*hour:
		return w.say("minutes", "n", strconv.Itoa(n))
	}
	return w.say("hours", "h", strconv.Itoa(n/hour), "n", strconv.Itoa(n%hour))
}

// numbers joins the numbers of steps: "1, 2 and 6".
func (w speech) numbers(all []int) string {
	text := make([]string, len(all))
	for i, n := range all {
		text[i] = strconv.Itoa(n)
	}
	return w.and(text)
}

// and joins texts as a sentence does.
func (w speech) and(all []string) string {
	if len(all) < 2 {
		return strings.Join(all, "")
	}
	return w.say("and", "some", strings.Join(all[:len(all)-1], ", "), "last", all[len(all)-1])
}
