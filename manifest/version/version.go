// Package version orders release versions and reads ranges of them.
//
// The order is that of Debian Policy 4.6.2 §5.6.12 (epoch, upstream version,
// revision), which general-purpose package tools have used for decades and
// which gives the order that a release list on paper has: 4.9 is before 4.10,
// 4.3~rc1 is before 4.3, and 4.3 is before 4.3.0. A version is text, always:
// two versions that compare as equal (1.01 and 1.1) are still written
// differently, and are shown as written.
package version

import (
	"fmt"
	"strings"
)

// MaxLength is the longest version accepted, in bytes. Real ones have fewer
// than thirty; the bound keeps hostile files from growing tables and pages.
const MaxLength = 64

// V is a version as its maker writes it, without a leading "v".
// The zero value is no version at all.
type V string

// Unknown is what a vessel file says when nobody has read the version off the
// device yet. It is not a version: it orders with nothing.
const Unknown V = "unknown"

// InTable is a version as a table has it: with a v, since spreadsheets take
// 4.10 for a number and 3-1 for a day. Parse takes it off again.
func (v V) InTable() string {
	if v == "" || v == Unknown {
		return string(v)
	}
	return "v" + string(v)
}

// Parse reads a version. A leading "v" or "V" before a digit is dropped.
// It refuses what Debian Policy §5.6.12 refuses: an empty version, one that
// doesn't begin with a digit, and characters other than letters, digits and
// . + - ~ : (a colon only after an epoch of digits).
func Parse(s string) (V, error) {
	t := s
	if len(t) > 1 && (t[0] == 'v' || t[0] == 'V') && isDigit(t[1]) {
		t = t[1:]
	}
	if t == "" {
		return "", fmt.Errorf("empty version")
	}
	if len(t) > MaxLength {
		return "", fmt.Errorf("version of %d characters; at most %d are allowed", len(t), MaxLength)
	}
	epoch, rest, hasEpoch := strings.Cut(t, ":")
	if hasEpoch {
		if epoch == "" || !allDigits(epoch) || len(strings.TrimLeft(epoch, "0")) > 9 {
			return "", fmt.Errorf("version %q: the part before the colon must be a number of up to 9 digits", s)
		}
	} else {
		rest = t
	}
	upstream, revision := splitRevision(rest)
	if upstream == "" || !isDigit(upstream[0]) {
		return "", fmt.Errorf("version %q does not begin with a digit", s)
	}
	if strings.HasSuffix(rest, "-") {
		return "", fmt.Errorf("version %q ends in a hyphen", s)
	}
	for i := 0; i < len(upstream); i++ {
		if c := upstream[i]; !isDigit(c) && !isLetter(c) && !strings.ContainsRune(".+-~:", rune(c)) {
			return "", fmt.Errorf("version %q has the character %q; a version may have letters, digits and . + - ~", s, rune(c))
		}
	}
	for i := 0; i < len(revision); i++ {
		if c := revision[i]; !isDigit(c) && !isLetter(c) && !strings.ContainsRune(".+~", rune(c)) {
			return "", fmt.Errorf("version %q has the character %q after its last hyphen; letters, digits and . + ~ are allowed there", s, rune(c))
		}
	}
	return V(t), nil
}

// Compare returns -1, 0 or +1 as a is before, equal to or after b.
// Both must come from Parse.
func Compare(a, b V) int {
	ea, ra := splitEpoch(string(a))
	eb, rb := splitEpoch(string(b))
	if c := comparePart(ea, eb); c != 0 {
		return c
	}
	ua, va := splitRevision(ra)
	ub, vb := splitRevision(rb)
	if c := comparePart(ua, ub); c != 0 {
		return c
	}
	return comparePart(va, vb)
}

// comparePart compares an upstream version or a revision: in turn a run
// without digits, by weight of its characters, and a run of digits as a number.
func comparePart(a, b string) int {
	for a != "" || b != "" {
		for (a != "" && !isDigit(a[0])) || (b != "" && !isDigit(b[0])) {
			if wa, wb := weight(a), weight(b); wa != wb {
				return sign(wa - wb)
			}
			a, b = a[1:], b[1:]
		}
		var na, nb string
		na, a = leadingNumber(a)
		nb, b = leadingNumber(b)
		if len(na) != len(nb) {
			return sign(len(na) - len(nb))
		}
		if c := strings.Compare(na, nb); c != 0 {
			return c
		}
	}
	return 0
}

// weight is the place of the first character of s in the order of §5.6.12:
// a tilde before the end of the part, the end (or a digit) before letters,
// letters before everything else.
func weight(s string) int {
	switch {
	case s == "" || isDigit(s[0]):
		return 0
	case s[0] == '~':
		return -1
	case isLetter(s[0]):
		return int(s[0])
	default:
		return int(s[0]) + 256
	}
}

// leadingNumber splits off the run of digits at the start of s, without its
// leading zeros, so that two numbers compare by length and then as text.
func leadingNumber(s string) (number, rest string) {
	i := 0
	for i < len(s) && isDigit(s[i]) {
		i++
	}
	return strings.TrimLeft(s[:i], "0"), s[i:]
}

func splitEpoch(s string) (epoch, rest string) {
	if before, after, ok := strings.Cut(s, ":"); ok {
		return before, after
	}
	return "0", s
}

// splitRevision splits at the last hyphen; no hyphen means revision "0",
// which equals an empty one.
func splitRevision(s string) (upstream, revision string) {
	if i := strings.LastIndexByte(s, '-'); i >= 0 {
		return s[:i], s[i+1:]
	}
	return s, ""
}

func allDigits(s string) bool {
	for i := 0; i < len(s); i++ {
		if !isDigit(s[i]) {
			return false
		}
	}
	return true
}

func isDigit(c byte) bool  { return c >= '0' && c <= '9' }
func isLetter(c byte) bool { return c >= 'a' && c <= 'z' || c >= 'A' && c <= 'Z' }

func sign(n int) int {
	switch {
	case n < 0:
		return -1
	case n > 0:
		return 1
	}
	return 0
}
