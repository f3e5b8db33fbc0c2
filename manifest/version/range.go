package version

import (
	"fmt"
	"strings"
)

// maxBounds is the most bounds that one range may have.
const maxBounds = 16

// Op is how a bound compares.
type Op string

// The comparisons that a range may hold.
const (
	AtLeast Op = ">="
	After   Op = ">"
	AtMost  Op = "<="
	Before  Op = "<"
	Exactly Op = "="
)

// Bound is one comparison of a range, such as ">= 4.3".
type Bound struct {
	Op Op
	V  V
}

// Range is a set of versions: those that every bound allows. No bound at all
// allows every version.
type Range []Bound

// ParseRange reads bounds joined by commas: ">= 4.3, < 5". Empty text is the
// range that allows every version.
func ParseRange(s string) (Range, error) {
	if strings.TrimSpace(s) == "" {
		return nil, nil
	}
	var r Range
	for part := range strings.SplitSeq(s, ",") {
		if len(r) == maxBounds {
			return nil, fmt.Errorf("more than %d bounds in one range", maxBounds)
		}
		b, err := parseBound(strings.TrimSpace(part))
		if err != nil {
			return nil, err
		}
		r = append(r, b)
	}
	return r, nil
}

func parseBound(s string) (Bound, error) {
	for _, op := range []Op{AtLeast, AtMost, After, Before, Exactly} { // the two-character ones first
		if rest, ok := strings.CutPrefix(s, string(op)); ok {
			v, err := Parse(strings.TrimSpace(rest))
			if err != nil {
				return Bound{}, err
			}
			return Bound{op, v}, nil
		}
	}
	return Bound{}, fmt.Errorf("%q is not a bound; write one of >= > <= < = and a version, as in >= 4.3", s)
}

// Allows reports whether v is in the range. An unknown version is in no range
// that has a bound.
func (r Range) Allows(v V) bool {
	for _, b := range r {
		if v == Unknown || v == "" || !b.allows(Compare(v, b.V)) {
			return false
		}
	}
	return true
}

func (b Bound) allows(c int) bool {
	switch b.Op {
	case AtLeast:
		return c >= 0
	case After:
		return c > 0
	case AtMost:
		return c <= 0
	case Before:
		return c < 0
	default:
		return c == 0
	}
}

// String writes the range as ParseRange reads it.
func (r Range) String() string {
	parts := make([]string, len(r))
	for i, b := range r {
		parts[i] = string(b.Op) + " " + string(b.V)
	}
	return strings.Join(parts, ", ")
}

// MarshalText writes the range as text.
func (r Range) MarshalText() ([]byte, error) { return []byte(r.String()), nil }

// UnmarshalText reads what MarshalText wrote.
func (r *Range) UnmarshalText(text []byte) error {
	parsed, err := ParseRange(string(text))
	*r = parsed
	return err
}
