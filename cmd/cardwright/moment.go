package main

import (
	"context"
	"fmt"
	"strings"
	"time"

	"cardwright/manifest"
)

// momentForm is a moment with its offset from UTC, as answers write it and flags
// take it.
const momentForm = "2006-01-02 15:04 -07:00"

// wallForm is a moment as a clock on the wall shows it.
const wallForm = "2006-01-02 15:04"

// moments are when clocks at a place show this (a time whose zone doesn't
// matter), the earlier first: none where they are put forward past it, two where
// they are put back.
func moments(wall time.Time, loc *time.Location) []time.Time {
	wall = time.Date(wall.Year(), wall.Month(), wall.Day(), wall.Hour(), wall.Minute(), 0, 0, time.UTC)
	var found []time.Time
	seen := map[int]bool{}
	const day = 24 * time.Hour // offsets are less, and change less often
	for _, near := range []time.Time{wall.Add(-day), wall, wall.Add(day)} {
		_, offset := near.In(loc).Zone()
		t := wall.Add(-time.Duration(offset) * time.Second).In(loc)
		if _, then := t.Zone(); then == offset && !seen[offset] {
			seen[offset] = true
			found = append(found, t)
		}
	}
	if len(found) == 2 && found[1].Before(found[0]) {
		found[0], found[1] = found[1], found[0]
	}
	return found
}

// momentOrEnd is a moment, or the end of a day. A time that clocks here left out
// or showed twice is refused: see sureMoment.
func momentOrEnd(text string) (time.Time, error) {
	if t, err := time.Parse(momentForm, text); err == nil {
		return t.Local(), nil
	}
	if wall, err := time.Parse(wallForm, text); err == nil {
		switch at := moments(wall, time.Local); len(at) {
		case 0:
			return time.Time{}, usage(fmt.Errorf("%s", leftOut(text, wall)))
		case 1:
			return at[0], nil
		default:
			return time.Time{}, usage(fmt.Errorf("%s was shown twice, when clocks were put back: say which, %q or %q", text, at[0].Format(momentForm), at[1].Format(momentForm)))
		}
	}
	d, err := day(text)
	if err != nil {
		return time.Time{}, usage(fmt.Errorf("%q is not a day: expected 2026-03-02, or with a time 2026-03-02 14:30, or with its offset from UTC 2026-03-02 14:30 +01:00", text))
	}
	return endOfDay(d), nil
}

func leftOut(text string, wall time.Time) string {
	before, after := time.Date(wall.Year(), wall.Month(), wall.Day(), wall.Hour()-2, 0, 0, 0, time.Local), time.Date(wall.Year(), wall.Month(), wall.Day(), wall.Hour()+2, 0, 0, 0, time.Local)
	return fmt.Sprintf("no clock here showed %s: they were put forward past it, from %s to %s; say the time that was, or one with its offset",
		text, before.Format("-07:00"), after.Format("-07:00"))
}

// sureMoment asks at a terminal for a time that clocks here left out or showed
// twice, and puts what it is sure to be, with its offset, in its place. Elsewhere
// it is refused.
func (t *terminal) sureMoment(ctx context.Context, flag string, text *string) error {
	wall, err := time.Parse(wallForm, *text)
	if err != nil {
		return nil // a day, a time with its offset, or a mistake, reported where it is used
	}
	at := moments(wall, time.Local)
	a := t.asking(ctx, false, false)
	switch {
	case len(at) == 1:
		return nil
	case a.in == nil:
		_, err := momentOrEnd(*text)
		return fmt.Errorf("%s: %w", flag, err)
	case len(at) == 0:
		*text, err = a.another(leftOut(*text, wall))
		return err
	}
	*text, err = a.which(*text, at)
	return err
}

// another asks for a time instead of one that can't be.
func (a *asking) another(why string) (string, error) {
	a.say("%s", why)
	for {
		answer, err := a.line("Which time was it", "")
		if err != nil {
			return "", err
		}
		if _, err = momentOrEnd(strings.TrimSpace(answer)); err == nil {
			return strings.TrimSpace(answer), nil
		}
		a.say("%s", err.Error())
	}
}

// which asks which of two moments a time is.
func (a *asking) which(text string, at []time.Time) (string, error) {
	a.say("%s was shown twice, when clocks were put back: first (1) at %s, then (2) at %s", text, at[0].Format("-07:00"), at[1].Format("-07:00"))
	for {
		answer, err := a.line("Which of the two, 1 or 2", "")
		if err != nil {
			return "", err
		}
		switch strings.TrimSpace(answer) {
		case "1":
			return at[0].Format(momentForm), nil
		case "2":
			return at[1].Format(momentForm), nil
		}
		a.say("found %q, expected 1 or 2", answer)
	}
}

// day is the beginning of a day where this computer is: the ledger keeps UTC,
// people go by their clock.
func day(text string) (time.Time, error) {
	d, err := manifest.ParseDate(text)
	if err != nil {
		return time.Time{}, usage(fmt.Errorf("%q is not a day: expected year, month and day, as in 2026-03-02", text))
	}
	return startOfDay(d.Year(), d.Month(), d.Day(), time.Local), nil
}

// startOfDay is the first moment of a day. Where clocks are put forward at
// midnight that is one o'clock; time.Date may give eleven in the evening.
func startOfDay(year int, month time.Month, day int, loc *time.Location) time.Time {
	t := time.Date(year, month, day, 0, 0, 0, 0, loc)
	noon := time.Date(year, month, day, 12, 0, 0, 0, loc)
	if t.Day() == noon.Day() {
		return t
	}
	_, before := t.Zone()
	_, after := noon.Zone()
	return t.Add(time.Duration(after-before) * time.Second)
}

// endOfDay is the last second of a day.
func endOfDay(t time.Time) time.Time {
	return startOfDay(t.Year(), t.Month(), t.Day()+1, t.Location()).Add(-time.Second)
}

// pastMoment is when something happened. A day alone means its end, so that it
// comes after what was noted on that day; today means now.
func pastMoment(text string) (time.Time, error) {
	t, err := momentOrEnd(text)
	if err != nil {
		return t, err
	}
	now := time.Now()
	if _, err := time.Parse(time.DateOnly, text); err == nil && t.Format(time.DateOnly) == now.Format(time.DateOnly) {
		t = now
	}
	if t.After(now.Add(time.Minute)) {
		return t, usage(fmt.Errorf("%s is in the future: note work only when it is done", text))
	}
	return t.UTC().Truncate(time.Second), nil
}

// clock and date write a moment as this computer's clock shows it; with its own
// offset from UTC, since summer's is another than winter's.
func clock(t time.Time) string { return t.Local().Format(momentForm) }

func date(t time.Time) string { return t.Local().Format(time.DateOnly) }
