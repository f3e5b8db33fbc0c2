// Package sentences reads logs of NMEA 0183 sentences. An empty field is a value
// of its own, void data is none, and whatever isn't used is counted. Captures of
// NMEA 2000 go through package nmea2000. A log of any length takes bounded memory.
// What the values mean for a compass is package seatrial's.
package sentences

import (
	"math"
	"slices"
	"time"
)

// Quantity is what a source tells.
type Quantity string

// The quantities.
const (
	Magnetic Quantity = "magnetic heading" // A degrees; B the deviation field, NaN where it is empty
	True     Quantity = "true heading"     // A degrees
	Ground   Quantity = "ground velocity"  // A course, degrees; B speed, knots
	Place    Quantity = "position"         // A latitude, B longitude, degrees
	Rate     Quantity = "rate of turn"     // A degrees a second, to starboard positive
	Rudder   Quantity = "rudder angle"     // A degrees, to starboard positive; B the port rudder's, NaN where there is one
)

// Sample is one value with its time: seconds on the log's own line of time, see
// Log.Clock.
type Sample struct {
	T    float64
	A, B float32
}

// Source is one talker's sentences of one kind.
type Source struct {
	Name     string   `json:"name"` // talker and sentence: HCHDG; on NMEA 2000 the PGN and the address
	Quantity Quantity `json:"quantity"`
	Count    int      `json:"count"` // sentences
	Void     int      `json:"void"`  // that say themselves that their data is not valid
	Empty    int      `json:"empty"` // whose value is empty
	Bad      int      `json:"bad"`   // whose value is none: no number, out of range, without its direction
	Variation
	Samples []Sample `json:"-"`

	place uint16 // in the log's list
}

// Variation is what a source said of the magnetic variation, degrees, east
// positive.
type Variation struct {
	Times int     `json:"variation_times"`
	Sum   float64 `json:"-"`
	Least float64 `json:"variation_least"`
	Most  float64 `json:"variation_most"`
}

func (v *Variation) add(x float64) {
	if v.Times == 0 {
		v.Least, v.Most = x, x
	}
	v.Times++
	v.Sum += x
	v.Least, v.Most = min(v.Least, x), max(v.Most, x)
}

// Mean of what was said.
func (v Variation) Mean() float64 { return v.Sum / float64(max(v.Times, 1)) }

// Counts are what was read and what was left out. Nothing is left out without
// being counted.
type Counts struct {
	Lines       int     `json:"lines"`
	Sentences   int     `json:"sentences"`    // with a right checksum, or taken without one
	Comments    int     `json:"comments"`     // and empty lines
	Other       int     `json:"other"`        // sentences of kinds that aren't needed
	Nothing     int     `json:"no_sentence"`  // lines without one
	Wrong       int     `json:"checksum_bad"` // sentences whose checksum is wrong
	Without     int     `json:"checksum_none"`
	Cut         int     `json:"cut"`      // sentences that another one begins in
	Long        int     `json:"too_long"` // lines longer than maxLine
	Gaps        int     `json:"gaps"`     // of more than GapSeconds
	GapSeconds  float64 `json:"gap_seconds"`
	Jumps       int     `json:"clock_jumps"` // back, or to another day
	Untimed     int     `json:"untimed"`     // values for which no time is known
	Stamps      int     `json:"stamps_bad"`  // stamps before sentences that can't be read
	LeftOut     int     `json:"left_out"`    // values beyond maxSamples and maxSources
	WithoutUsed bool    `json:"checksum_none_used"`
}

// Log is what was read.
type Log struct {
	Counts  Counts    `json:"counts"`
	Sources []*Source `json:"sources"`
	Clock   string    `json:"clock"` // what the times were taken from
	Date    time.Time `json:"date"`  // of the first value, UTC; zero: the log has no date
	Files   []string  `json:"files"`
	shifts  []shift
}

// addSource adds a source without values.
func (l *Log) addSource(name string, q Quantity) *Source {
	s := &Source{Name: name, Quantity: q, place: uint16(len(l.Sources))} // maxSources bounds them
	l.Sources = append(l.Sources, s)
	return s
}

// shift says by how much the log's line of time is ahead of the clock from a
// moment on: it never runs back.
type shift struct{ from, by float64 }

// Of gives the sources of a quantity that have values, the one with the most
// first.
func (l *Log) Of(q Quantity) (all []*Source) {
	for _, s := range l.Sources {
		if s.Quantity == q && len(s.Samples) > 0 {
			all = append(all, s)
		}
	}
	slices.SortStableFunc(all, func(a, b *Source) int { return len(b.Samples) - len(a.Samples) })
	return all
}

// TimeOfDay is a moment of the log's line of time as seconds since midnight UTC.
func (l *Log) TimeOfDay(t float64) float64 {
	by := 0.0
	for _, s := range l.shifts {
		if s.from <= t {
			by = s.by
		}
	}
	return math.Mod(math.Mod(t-by, day)+day, day)
}

const day = 86400
