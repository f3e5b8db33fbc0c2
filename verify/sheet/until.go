package sheet

import (
	"fmt"
	"strconv"
	"time"

	"cardwright/manifest/order"
)

// Clock is the time that there is for the work, by the clock on the bulkhead:
// 16:30. What isn't known is "".
type Clock struct {
	Start string // when step 1 begins
	Until string // by when the last step must have reached a safe stop
}

// untilID is the place to write down when the work must be done, from which the
// page works out the last step that can begin.
const untilID = "until"

// aDay in minutes.
const aDay = 24 * 60

// Check says what in the clock is no time.
func (c Clock) Check() error {
	for _, text := range []string{c.Start, c.Until} {
		if _, ok := minuteOf(text); text != "" && !ok {
			return fmt.Errorf("%q is no time of day; write it as 16:30", text)
		}
	}
	if c.Start != "" && c.Until == "" {
		return fmt.Errorf("a start at %s, but no time to be done by: give both", c.Start)
	}
	return nil
}

// minuteOf is a time of day in minutes from midnight.
func minuteOf(text string) (minute int, ok bool) {
	t, err := time.Parse("15:04", text)
	return t.Hour()*60 + t.Minute(), err == nil
}

// timeOfDay writes minutes from midnight; the days before and after have the same
// times.
func timeOfDay(minute int) string {
	minute = (minute%aDay + aDay) % aDay
	return fmt.Sprintf("%02d:%02d", minute/60, minute%60)
}

// beginBy is the latest time at which a step can begin and the work still reach a
// safe stop in time; "" where no time was given, or the catalogue has none for a
// step on the way.
func beginBy(in Input, n int) string {
	until, ok := minuteOf(in.Clock.Until)
	if !ok {
		return ""
	}
	long, least := minutesOf(in.Plan.Steps, n, safeStop(in.Plan, n))
	if least {
		return ""
	}
	return timeOfDay(until - long)
}

// untilWords say how far the work gets by the time that there is.
func untilWords(w speech, in Input) []Block {
	until, timed := minuteOf(in.Clock.Until)
	if !timed {
		return nil
	}
	start, started := minuteOf(in.Clock.Start)
	if !started {
		return []Block{Caution(w.say("until.open", "until", in.Clock.Until))}
	}
	if until <= start {
		until += aDay
	}
	last, end, unsaid := reached(in.Plan, until-start)
	fill := []string{
		"start", in.Clock.Start, "until", in.Clock.Until, "step", strconv.Itoa(last), "next", strconv.Itoa(last + 1),
		"end", timeOfDay(start + end), "by", beginBy(in, last),
	}
	key := "until.last"
	switch {
	case last == len(in.Plan.Steps):
		key = "until.all"
	case last == 0 && unsaid:
		key = "until.unsaid"
	case last == 0:
		key = "until.none"
	case unsaid:
		key = "until.last.unsaid"
	}
	return []Block{Caution(w.say(key, fill...))}
}

// reached is the last step, a safe stop, that so many minutes are enough for, and
// when it ends; 0 where they aren't for any. unsaid: how long what follows takes
// isn't known.
func reached(plan order.Plan, minutes int) (last, end int, unsaid bool) {
	for n := 1; n <= len(plan.Steps); n = last + 1 {
		stop := safeStop(plan, n)
		long, least := minutesOf(plan.Steps, n, stop)
		if least || end+long > minutes {
			return last, end, least
		}
		last, end = stop, end+long
	}
	return last, end, false
}

// ownClock are the places to write the clock into, on a sheet with a day: the order
// on a card is the same whenever it is made.
func ownClock(w speech, in Input) []Block {
	if in.When.IsZero() || len(in.Plan.Steps) == 1 {
		return nil
	}
	return []Block{Blanks{
		{ID: "started", Label: w.say("until.started"), Value: in.Clock.Start},
		{ID: untilID, Label: w.say("until.until"), Value: in.Clock.Until},
	}}
}
