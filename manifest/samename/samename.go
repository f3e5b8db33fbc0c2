// Package samename says which names on a card are one and the same, for all that lay
// out, write, read or verify cards. It knows nothing of how a file system keeps names.
//
// Where a name is wanted, CaseKey finds it whatever its letter case. Where two names
// must not meet, Key is the same for all that any device would take for one: some
// compare in capitals, some in small letters, some by case folding, some after
// putting accents and letters together.
package samename

import (
	"strings"
	"unicode"
	"unicode/utf8"

	"golang.org/x/text/unicode/norm"
)

// Sources: the Unicode Standard, chapter 3.13 (simple case mappings and
// folding) and Annex #15 (canonical equivalence); FAT32 specification, "FAT
// Long Directory Entries" (outer spaces and trailing dots are dropped).

// Key is the same for two paths that any device may take for one: by simple
// upper case, lower case or case folding, canonical composition, or the outer
// spaces and trailing dots that names lose. Slashes stay.
func Key(path string) string {
	if isASCII(path) {
		return trimmed(strings.ToUpper(path))
	}
	folded := norm.NFD.String(strings.Map(least, norm.NFC.String(path)))
	return trimmed(undotted(strings.Map(least, folded)))
}

// undotted drops the dot above on an I: with it the I is another
// letter, whose small letter is the i itself.
func undotted(s string) string {
	const dotAbove = '\u0307'
	onI := false
	return strings.Map(func(r rune) rune {
		if onI && r == dotAbove {
			return -1
		}
		onI = r == 'I' || onI && unicode.Is(unicode.Mn, r)
		return r
	}, s)
}

// Same reports whether any device may take two paths for one.
func Same(a, b string) bool { return a == b || Key(a) == Key(b) }

// Within reports whether any device may take a path for a folder or for something
// in it; the folder "" holds everything.
func Within(path, folder string) bool {
	return folder == "" || strings.HasPrefix(Key(path)+"/", Key(folder)+"/")
}

// CaseKey is the same for two paths that differ at most in letter case, as
// everything that ignores case agrees. A letter that meets another only by an
// unusual way, such as the Kelvin sign the letter k, is kept apart.
func CaseKey(path string) string {
	if isASCII(path) {
		return strings.ToLower(path)
	}
	var b strings.Builder
	for i := 0; i < len(path); {
		r, n := utf8.DecodeRuneInString(path[i:])
		if r == utf8.RuneError && n == 1 {
			b.WriteByte(path[i]) // bytes that are no text are kept
		} else {
			b.WriteRune(small(r))
		}
		i += n
	}
	return b.String()
}

// ButCase reports whether two paths differ at most in letter case.
func ButCase(a, b string) bool { return a == b || CaseKey(a) == CaseKey(b) }

// small is the small letter of a capital that is that letter's only capital.
func small(r rune) rune {
	if low := unicode.ToLower(r); unicode.ToUpper(low) == r {
		return low
	}
	return r
}

// least is the first of all characters that simple mappings lead to from r and
// back: capitals, small letters, and those that fold to the same.
func least(r rune) rune {
	r = unicode.ToUpper(unicode.ToLower(r)) // both ways, for letters that change one way only, as dotless i does
	if r <= unicode.MaxASCII {
		return r
	}
	low := r
	for f := unicode.SimpleFold(r); f != r; f = unicode.SimpleFold(f) {
		low = min(low, f)
	}
	return low
}

func isASCII(s string) bool {
	for i := range len(s) {
		if s[i] >= utf8.RuneSelf {
			return false
		}
	}
	return true
}

// trimmed drops what names lose at their ends. A name of nothing else is kept.
func trimmed(path string) string {
	if !strings.Contains(path, " ") && !strings.Contains(path, ".") {
		return path
	}
	parts := strings.Split(path, "/")
	for i, name := range parts {
		if short := strings.TrimRight(strings.TrimLeft(name, " "), " ."); short != "" {
			parts[i] = short
		}
	}
	return strings.Join(parts, "/")
}
