package main

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
)

// A correction that was dated by a clock which ran ahead would count for good.
func TestACorrectionCountsAfterOneFromAClockThatRanAhead(t *testing.T) {
	now := time.Date(2026, 3, 2, 12, 0, 0, 0, time.UTC)
	assert.Equal(t, now, after(now, now.AddDate(0, 0, -1)))
	for _, before := range []time.Time{now, now.AddDate(4, 0, 0)} {
		assert.True(t, after(now, before).After(before))
	}
}
