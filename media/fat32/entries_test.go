package fat32

import (
	"testing"
	"time"
	"unicode/utf16"

	"github.com/stretchr/testify/assert"
)

func utf16Of(s string) []uint16 { return utf16.Encode([]rune(s)) }

// The specification's date and time fields; the values were computed apart
// from this program.
func TestTimes(t *testing.T) {
	for _, row := range []struct {
		at          time.Time
		date, clock uint16
		hundredths  byte
	}{
		{time.Date(1980, 1, 1, 0, 0, 0, 0, time.UTC), 0x0021, 0, 0},
		{time.Date(2024, 2, 29, 12, 34, 57, 0, time.UTC), 0x585D, 0x645C, 100},
		{time.Date(2024, 2, 29, 12, 34, 56, 990_000_000, time.UTC), 0x585D, 0x645C, 99},
		{time.Date(2024, 2, 29, 13, 34, 57, 250_000_000, time.FixedZone("", 3600)), 0x585D, 0x645C, 125},
		{time.Date(1979, 12, 31, 23, 59, 59, 0, time.UTC), 0x0021, 0, 0},
		{time.Time{}, 0x0021, 0, 0},
		// 127 years on, 23:59:58 and 199 hundredths: the last that can be stored.
		{time.Date(2107, 12, 31, 23, 59, 59, 999_999_999, time.UTC), 0xFF9F, 0xBF7D, 199},
		{time.Date(2108, 1, 1, 0, 0, 0, 0, time.UTC), 0xFF9F, 0xBF7D, 199},
	} {
		date, clock, hundredths := stamp(row.at)
		assert.Equal(t, row.date, date, row.at)
		assert.Equal(t, row.clock, clock, row.at)
		assert.Equal(t, row.hundredths, hundredths, row.at)
	}
}
