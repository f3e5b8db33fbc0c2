package ledger

import (
	"fmt"
	"math"
)

// Newest is the newest format that this build writes and reads. An event is
// written in the oldest that can hold it, so that older builds read what they
// can.
const (
	Newest      = 6
	trialFormat = 2 // Check.Trial came with it
	seenFormat  = 3 // Statement.Seen came with it
	backFormat  = 5 // Card.WayBack came with it
)

// format is that of an event with this statement.
func (s *Statement) format() int {
	says := s.Entry.Says()
	switch {
	case says != nil && says.ByHand != nil && says.ByHand.Vessel != nil:
		return wordsByHandFrom
	case says != nil && says.Card != nil && says.Card.WayBack:
		return backFormat
	case says != nil && says.life():
		return lifeOfABoatFrom
	case len(s.Seen) > 0:
		return seenFormat
	case says != nil && says.Check != nil && says.Check.Trial != nil:
		return trialFormat
	}
	return Format
}

// Trial is the result of a log under way: a sea trial's values. Degrees, in
// thousandths at most; east, starboard and north positive.
type Trial struct {
	Coefficients []float64 `json:"coefficients,omitempty"` // A to E; none where no deviation was found
	Doubts       []float64 `json:"doubts,omitempty"`       // of each, 95 %
	Errors       []float64 `json:"errors,omitempty"`       // standard errors of each
	Helm         []float64 `json:"helm,omitempty"`         // carried, and its doubt
	Leeway       float64   `json:"leeway,omitempty"`       // allowance on every heading
	Logs         []string  `json:"logs"`                   // SHA-256 of the logs' bytes
	Method       string    `json:"method,omitempty"`       // how the deviation was found
	Period       float64   `json:"period,omitempty"`       // seconds
	Place        []float64 `json:"place,omitempty"`        // latitude, longitude
	RMS          []float64 `json:"rms,omitempty"`          // of the course, and its doubt
	Sensor       string    `json:"sensor,omitempty"`       // the sentences: HCHDG
	Verdict      string    `json:"verdict"`
}

// maxLogs is how many logs one trial may come from.
const maxLogs = 50

// Thousandths rounds a value to what a trial keeps.
func Thousandths(v float64) float64 { return math.Round(v*1000)/1000 + 0 } // + 0: no −0

func (c *checker) trial(at string, t *Trial) {
	if t == nil {
		return
	}
	c.line(at+"method", t.Method)
	c.maybe(at+"sensor", t.Sensor)
	c.word(at+"verdict", t.Verdict)
	c.count(at+"logs", len(t.Logs), maxLogs)
	for i, l := range t.Logs {
		c.hex(fmt.Sprintf("%slogs[%d]", at, i), l, 64)
	}
	for _, list := range []struct {
		name   string
		values []float64
		length int
	}{
		{"coefficients", t.Coefficients, 5},
		{"doubts", t.Doubts, 5},
		{"errors", t.Errors, 5},
		{"helm", t.Helm, 2},
		{"place", t.Place, 2},
		{"rms", t.RMS, 2},
		{"leeway", []float64{t.Leeway}, 1},
		{"period", []float64{t.Period}, 1},
	} {
		c.values(at+list.name, list.values, list.length)
	}
}

// mostDegrees is beyond any angle or period of a trial.
const mostDegrees = 10_000

func (c *checker) values(field string, values []float64, length int) {
	if len(values) != 0 && len(values) != length {
		c.say(field, fmt.Sprintf("%d values", len(values)), fmt.Sprintf("%d, or none", length))
	}
	for _, v := range values {
		if !(math.Abs(v) <= mostDegrees) || v != Thousandths(v) || v == 0 && math.Signbit(v) {
			c.say(field, fmt.Sprint(v), "a value in thousandths")
		}
	}
}
