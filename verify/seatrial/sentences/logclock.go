package sentences

import "math"

// GapSeconds is how long a log may be silent before that counts as a gap.
const GapSeconds = 5

// Bounds of the clock.
const (
	jitter     = 2     // seconds that a clock may run back: stamps of two sources
	apart      = 3600  // seconds put between the two sides of a jump
	mostWaits  = 20000 // values that wait for their time
	mostOthers = 40    // times that others give while the clock is silent, before one of them takes over
)

// waiting is a value whose time isn't known yet: in a bare log, values stand
// between the sentences that tell the time.
type waiting struct {
	source uint16 // in the log's list
	place  int32
}

// clock makes the log's line of time, which never runs back.
type clock struct {
	log     *Log
	counts  *Counts
	shifts  []shift
	by      float64 // how far the line is ahead of what the clock says
	now     float64 // NaN before the first time
	step    float64 // between the last two times
	waits   []waiting
	source  string // whose times are taken
	others  int    // times that others gave meanwhile
	stamped bool
}

// timeOfDay takes the time that a sentence of a source gives, in a log without stamps:
// seconds of the day. One source is the clock; another takes over where it falls
// silent.
func (c *clock) timeOfDay(source string, seconds float64) {
	if c.stamped {
		return
	}
	switch {
	case c.source == "":
		c.source = source
	case c.source == source:
		c.others = 0
	default:
		if c.others++; c.others < mostOthers {
			return
		}
		c.source, c.others = source, 0
	}
	c.set(seconds)
}

// stamp takes the time before a sentence.
func (c *clock) stamp(seconds float64) {
	if !c.stamped {
		c.stamped, c.source = true, "the stamps before the sentences"
		c.dropWaiting()
		c.now, c.by = math.NaN(), 0
	}
	c.set(seconds)
}

func (c *clock) set(seconds float64) {
	next := seconds + c.by
	if math.IsNaN(c.now) {
		c.dropWaiting()
		c.now = next
		return
	}
	step := next - c.now
	if step < -day/2 && seconds < day { // midnight, of a clock that tells no day
		c.by += day
		step += day
	}
	switch {
	case step < -jitter:
		c.jump(seconds)
		return
	case step <= 0: // the same moment, or jitter of stamps
		return
	case step > GapSeconds:
		c.counts.Gaps++
		c.counts.GapSeconds += step
		c.dropWaiting()
	default:
		c.spread(step)
		c.step = step
	}
	c.now += step
}

// jump goes on far behind what was, so that nothing crosses it.
func (c *clock) jump(seconds float64) {
	c.counts.Jumps++
	c.dropWaiting()
	c.now += apart
	c.by = c.now - seconds
	c.shifts = append(c.shifts, shift{c.now, c.by})
	if len(c.shifts) > mostShifts { // a clock that runs back all the time is none
		c.shifts = c.shifts[:mostShifts]
	}
}

const mostShifts = 1000

// spread gives the values that wait their times, evenly.
func (c *clock) spread(step float64) {
	n := float64(len(c.waits) + 1)
	for i, w := range c.waits {
		c.log.Sources[w.source].Samples[w.place].T = c.now + step*float64(i+1)/n
	}
	c.waits = c.waits[:0]
}

// dropWaiting leaves the values that wait without a time.
func (c *clock) dropWaiting() {
	c.counts.Untimed += len(c.waits)
	c.waits = c.waits[:0]
}

// wait notes a value that is to get its time.
func (c *clock) wait(s *Source) {
	if len(c.waits) == mostWaits {
		c.dropWaiting()
	}
	c.waits = append(c.waits, waiting{s.place, int32(len(s.Samples) - 1)})
}

// end gives the last values the pace of those before.
func (c *clock) end() {
	if !math.IsNaN(c.now) && c.step > 0 {
		c.spread(c.step)
	}
	c.dropWaiting()
}
