package store

import (
	"fmt"
	"time"

	"cardwright/verify/ledger"
)

// How far clocks may differ before that is reported. A laptop that travels is set
// to another zone by its day at most; what is stored is in UTC.
const (
	clockAhead = 24 * time.Hour // after now
	clockBack  = time.Hour      // before the event that the same writer wrote earlier
)

// clocks looks whether the times of events can be right. A wrong clock breaks
// no chain, but a reading from next year counts as the last one until then.
type clocks struct {
	now    time.Time
	before map[string]time.Time // when the last event of each chain was written
	ahead  int
	back   int
	first  [2]string // what to say of the first of each
}

func newClocks() *clocks { return &clocks{now: time.Now(), before: map[string]time.Time{}} }

// see takes the events of a chain in its order.
func (c *clocks) see(e *ledger.Event) {
	s := &e.Statement
	if s.Entry.At.Sub(c.now) > clockAhead || s.Written.Sub(c.now) > clockAhead {
		c.ahead++
		if c.ahead == 1 {
			c.first[0] = fmt.Sprintf("%s, by %s, of %s", e.ID.Short(), s.Technician, s.Entry.At.Format("2006-01-02"))
		}
	}
	last := c.before[s.Chain]
	if by := last.Sub(s.Written); by > clockBack {
		c.back++
		if c.back == 1 {
			c.first[1] = fmt.Sprintf("before event %d of chain %s, by %s, it went back from %s to %s", s.Seq, s.Chain[:8], s.Technician,
				last.Format("2006-01-02 15:04"), s.Written.Format("2006-01-02 15:04"))
		}
	}
	c.before[s.Chain] = s.Written
}

// notes says what a person should look at.
func (c *clocks) notes() []string {
	var list []string
	if c.ahead > 0 {
		list = append(list, fmt.Sprintf("%d events are dated in the future (the first is %s): a clock was wrong; correct them, or they count as the newest until then", c.ahead, c.first[0]))
	}
	if c.back > 0 {
		list = append(list, fmt.Sprintf("a writer's clock went back %d times (%s): the order within the chain holds, the times may not", c.back, c.first[1]))
	}
	return list
}
