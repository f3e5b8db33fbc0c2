package main

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestADayIsWholeWhereClocksChangeAtMidnight uses the IANA time zone
// database: Chile and Egypt put their clocks forward from midnight to one
// o'clock (2026-09-06, 2026-04-24), Egypt back from midnight to eleven in the
// evening (2026-10-30, 0:00).
func TestADayIsWholeWhereClocksChangeAtMidnight(t *testing.T) {
	for _, c := range []struct{ zone, day, first, last string }{
		{"America/Santiago", "2026-09-05", "2026-09-05T00:00:00-04:00", "2026-09-05T23:59:59-04:00"},
		{"America/Santiago", "2026-09-06", "2026-09-06T01:00:00-03:00", "2026-09-06T23:59:59-03:00"},
		{"America/Santiago", "2026-12-31", "2026-12-31T00:00:00-03:00", "2026-12-31T23:59:59-03:00"},
		{"Africa/Cairo", "2026-04-23", "2026-04-23T00:00:00+02:00", "2026-04-23T23:59:59+02:00"},
		{"Africa/Cairo", "2026-04-24", "2026-04-24T01:00:00+03:00", "2026-04-24T23:59:59+03:00"},
		{"Africa/Cairo", "2026-10-29", "2026-10-29T00:00:00+03:00", "2026-10-29T23:59:59+02:00"},
		{"Pacific/Auckland", "2026-09-27", "2026-09-27T00:00:00+12:00", "2026-09-27T23:59:59+13:00"},
	} {
		loc, err := time.LoadLocation(c.zone)
		require.NoError(t, err)
		d, err := time.Parse(time.DateOnly, c.day)
		require.NoError(t, err)
		first := startOfDay(d.Year(), d.Month(), d.Day(), loc)
		assert.Equal(t, c.first, first.Format(time.RFC3339), "%s %s", c.zone, c.day)
		assert.Equal(t, c.last, endOfDay(first).Format(time.RFC3339), "%s %s", c.zone, c.day)
	}
}
