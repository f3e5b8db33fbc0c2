package version

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func TestParseRange(t *testing.T) {
	for text, want := range map[string]Range{
		"":                nil,
		"  ":              nil,
		">= 4.3":          {{AtLeast, "4.3"}},
		">=4.3":           {{AtLeast, "4.3"}},
		"> 4.3":           {{After, "4.3"}},
		"<= v4.3":         {{AtMost, "4.3"}},
		"< 5":             {{Before, "5"}},
		"= 4.0-12":        {{Exactly, "4.0-12"}},
		" >= 4.3 , < 5  ": {{AtLeast, "4.3"}, {Before, "5"}},
	} {
		got, err := ParseRange(text)
		require.NoError(t, err, text)
		assert.Equal(t, want, got, text)
	}
	for text, says := range map[string]string{
		"4.3": "is not a bound", "== 4.3": "does not begin with a digit", "=> 4.3": "does not begin with a digit", ">=": "empty version",
		"!= 4.3": "is not a bound", ">= 4.3,": "is not a bound", ",": "is not a bound", ">= unknown": "does not begin with a digit", ">= 4.3 < 5": "' '",
		">= 4.3 || < 2": "' '", strings.Repeat("> 1,", maxBounds) + "> 1": "more than 16 bounds", "\x1b[2J": `"\x1b[2J"`,
	} {
		_, err := ParseRange(text)
		require.Error(t, err, text)
		assert.ErrorContains(t, err, says)
	}
}

func TestRangeAllows(t *testing.T) {
	for _, c := range []struct {
		bounds  string
		v       V
		allowed bool
	}{
		{"", "4.3", true},
		{"", Unknown, true},
		{">= 4.3", "4.3", true},
		{">= 4.3", "4.10", true},
		{">= 4.3", "4.3~rc1", false},
		{">= 4.3", Unknown, false},
		{">= 4.3", "", false},
		{"< 5", Unknown, false},
		{"> 4.3", "4.3", false},
		{"> 4.3", "4.3.0", true},
		{"<= 4.3", "4.3", true},
		{"<= 4.3", "4.3.0", false},
		{"< 5", "5", false},
		{"< 5", "5~rc1", true},
		{"= 1.1", "1.01", true},
		{"= 1.1", "1.1.0", false},
		{">= 4.3, < 5", "4.9", true},
		{">= 4.3, < 5", "5.0", false},
		{">= 4.3, < 5", "4.2", false},
	} {
		r, err := ParseRange(c.bounds)
		require.NoError(t, err)
		assert.Equal(t, c.allowed, r.Allows(c.v), "%q, %s", c.bounds, c.v)
	}
}

func TestRangeRoundTrip(t *testing.T) {
	ops := []Op{AtLeast, After, AtMost, Before, Exactly}
	rapid.Check(t, func(t *rapid.T) {
		var r Range
		for range rapid.IntRange(0, maxBounds).Draw(t, "bounds") {
			r = append(r, Bound{rapid.SampledFrom(ops).Draw(t, "op"), version().Draw(t, "version")})
		}
		text, err := r.MarshalText()
		require.NoError(t, err)
		var again Range
		require.NoError(t, again.UnmarshalText(text))
		assert.Equal(t, r, again)
		v := version().Draw(t, "v")
		assert.Equal(t, r.Allows(v), again.Allows(v))
	})
}

// A range without an upper bound that allows a version allows every later
// one: raising a device never leaves it.
func TestRangeWithoutUpperIsNeverLeftByRaising(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var r Range
		for range rapid.IntRange(1, 3).Draw(t, "bounds") {
			r = append(r, Bound{rapid.SampledFrom([]Op{AtLeast, After}).Draw(t, "op"), version().Draw(t, "version")})
		}
		a, b := version().Draw(t, "a"), version().Draw(t, "b")
		if r.Allows(a) && Compare(b, a) >= 0 {
			assert.True(t, r.Allows(b))
		}
	})
}

func FuzzParseRange(f *testing.F) {
	for _, s := range []string{"", ">= 4.3, < 5", "= 4.0-12", "> v1", "=> 4", ",,,"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		r, err := ParseRange(s)
		if err != nil {
			assert.Nil(t, r)
			return
		}
		assert.LessOrEqual(t, len(r), maxBounds)
		again, err := ParseRange(r.String())
		require.NoError(t, err)
		assert.Equal(t, r, again)
	})
}
