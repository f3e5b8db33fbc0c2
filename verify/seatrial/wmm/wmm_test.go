package wmm

import (
	"fmt"
	"math"
	"os"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// TestPublishedValues: the 100 test values that NOAA publishes with the model
// (WMM2025_TestValues, public domain).
func TestPublishedValues(t *testing.T) {
	text, err := os.ReadFile("testdata/WMM2025_TEST_VALUES.txt")
	require.NoError(t, err)
	n := 0
	for line := range strings.Lines(string(text)) {
		if strings.HasPrefix(line, "#") || strings.TrimSpace(line) == "" {
			continue
		}
		v := numbers(t, line)
		f := fieldAt(v[2], v[3], v[1], v[0])
		require.InDelta(t, 0, math.Remainder(f.variation()-v[4], 360), 0.005, line) // printed to two places
		require.InDelta(t, v[6], f.horizontal(), 0.01, line)
		require.InDelta(t, v[7], f.North, 0.01, line)
		require.InDelta(t, v[8], f.East, 0.01, line)
		require.InDelta(t, v[9], f.Down, 0.01, line)
		n++
	}
	require.Equal(t, 100, n)
}

func numbers(t *testing.T, line string) []float64 {
	var all []float64
	for word := range strings.FieldsSeq(line) {
		var f float64
		_, err := fmt.Sscan(word, &f)
		require.NoError(t, err)
		all = append(all, f)
	}
	return all
}

func TestWhereTheModelIsNotUsed(t *testing.T) {
	good := time.Date(2026, 6, 1, 0, 0, 0, 0, time.UTC)
	_, err := Variation(50, -4, good)
	require.NoError(t, err)
	for name, c := range map[string]struct {
		lat, lon float64
		at       time.Time
		want     error
	}{
		"before 2025":        {50, -4, time.Date(2024, 12, 31, 23, 59, 59, 0, time.UTC), errYear},
		"from 2030 on":       {50, -4, time.Date(2030, 1, 1, 0, 0, 0, 0, time.UTC), errYear},
		"near a pole":        {86.2, 140, good, errField}, // the magnetic north pole of these years
		"no such latitude":   {91, 0, good, errPlace},
		"not a number":       {math.NaN(), 0, good, errPlace},
		"the southern pole":  {-63.8, 136, good, errField},
		"infinite longitude": {0, math.Inf(1), good, errPlace},
	} {
		_, err := Variation(c.lat, c.lon, c.at)
		require.ErrorIs(t, err, c.want, name)
	}
}
