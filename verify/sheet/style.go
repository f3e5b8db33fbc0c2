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

// day writes the day of t, and nothing where there is none.
func (m *maker) day(t time.Time) string {
	if t.IsZero() {
		return ""
	}
	return m.date(t)
}

// date writes the day of t, where t was.
func (m *maker) date(t time.Time) string {
	key := "date.iso"
	switch m.in.Style.Dates {
	case DatesDay:
		key = "date.day"
	case DatesMonth:
		key = "date.month"
	}
	return m.say(key,
		"year", fmt.Sprintf("%04d", t.Year()),
		"month", strings.Fields(m.words["months"])[t.Month()-1],
		"month2", fmt.Sprintf("%02d", t.Month()),
		"day", strconv.Itoa(t.Day()),
		"day2", fmt.Sprintf("%02d", t.Day()))
}

// moment writes t with its offset from UTC, so that it can be read anywhere.
func (m *maker) moment(t time.Time) string {
	if t.IsZero() {
		return m.say("card.undated")
	}
	zone := t.Format("-07:00")
	if zone == "+00:00" {
		zone = "UTC"
	}
	return m.date(t) + " " + t.Format("15:04") + " " + zone
}

// near is how far magnetic things are kept from a sensor: FACTS of practice,
// 3 ft.
func (m *maker) near() string {
	if m.in.Style.Units == Feet {
		return m.say("near.feet")
	}
	return m.say("near.metric")
}

// size writes n bytes in the decimal unit that cards are sold in.
func (m *maker) size(n int64) string {
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
	return strings.Replace(text, ".", m.words["decimal"], 1) + " " + unit
}

// minutes writes a time that a step takes.
func (m *maker) minutes(n int) string {
	const hour = 60
	if n < 2*hour {
		return m.say("minutes", "n", strconv.Itoa(n))
	}
	return m.say("hours", "h", strconv.Itoa(n/hour), "n", strconv.Itoa(n%hour))
}
