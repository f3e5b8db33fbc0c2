package export

import (
	"fmt"
	"strings"

	"cardwright/verify/ledger/audit"
)

// overTime is the picture of how the fleet got to where it is: a column of bars
// for each moment, as high as there are devices, the best at the foot.
type overTime struct {
	Says    string // the same in words
	Columns []column
	Most    int
	Last    string // the last day
}

// column is how the fleet stood at one moment.
type column struct {
	Day   string
	X     float64
	Bars  []bar
	Cells []int // devices, in the order of audit.Statuses
}

// bar is how many devices stood in one way.
type bar struct {
	Status  audit.Status
	Sign    string
	N       int
	Y, High float64
	Middle  float64 // of its height; where its sign stands
	Shown   bool    // it is high enough for a sign
}

// The picture's measures, in its own units.
const (
	overWide   = 640.0
	overHigh   = 200.0
	columnWide = 36.0
	signHigh   = 14.0
)

func over(stood []audit.Stood) *overTime {
	o := &overTime{}
	for _, s := range stood {
		o.Most = max(o.Most, devices(s))
	}
	if o.Most == 0 {
		return nil
	}
	for i, s := range stood {
		c := column{Day: day(s.At), X: overWide / float64(len(stood)) * float64(i)}
		foot := overHigh
		for k := len(audit.Statuses) - 1; k >= 0; k-- {
			status := audit.Statuses[k]
			n := s.Counts[status]
			if n == 0 {
				continue
			}
			high := overHigh * float64(n) / float64(o.Most)
			foot -= high
			c.Bars = append(c.Bars, bar{status, signs[status], n, foot, high, foot + high/2 + 4, high >= signHigh})
		}
		for _, status := range audit.Statuses {
			c.Cells = append(c.Cells, s.Counts[status])
		}
		o.Columns = append(o.Columns, c)
	}
	o.Last = day(stood[len(stood)-1].At)
	o.Says = "How the fleet got here. " + told(stood[0]) + ". " + told(stood[len(stood)-1]) + "."
	return o
}

func devices(s audit.Stood) (n int) {
	for _, of := range s.Counts {
		n += of
	}
	return n
}

// told is how a fleet stood, in words.
func told(s audit.Stood) string {
	var parts []string
	for _, status := range audit.Statuses {
		if n := s.Counts[status]; n > 0 {
			parts = append(parts, fmt.Sprintf("%d %s", n, status))
		}
	}
	return fmt.Sprintf("On %s, of %d devices: %s", day(s.At), devices(s), strings.Join(parts, ", "))
}
