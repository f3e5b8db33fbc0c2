package samename_test

import (
	"strings"
	"testing"
	"unicode"

	"github.com/stretchr/testify/assert"
	"golang.org/x/text/cases"
	"golang.org/x/text/unicode/norm"
	"pgregory.net/rapid"

	"cardwright/manifest/samename"
)

// foldings are what file systems and devices do to a name before they compare
// it (Unicode Standard 3.13 and Annex #15).
var foldings = map[string]func(string) string{
	"capitals":      func(s string) string { return strings.Map(unicode.ToUpper, s) },
	"small letters": func(s string) string { return strings.Map(unicode.ToLower, s) },
	"titles":        func(s string) string { return strings.Map(unicode.ToTitle, s) },
	"folded":        func(s string) string { return strings.Map(foldedRune, s) },
	"composed":      norm.NFC.String,
	"decomposed":    norm.NFD.String,
}

var fold = cases.Fold()

// foldedRune is the case folding of one character where that is simple: by the
// tables of golang.org/x/text, which are not those that Key uses.
func foldedRune(r rune) rune {
	if out := []rune(fold.String(string(r))); len(out) == 1 {
		return out[0]
	}
	return r
}

// Of every character that there is, Key joins all that any folding makes of it,
// whatever is next to it, and the case key is no wider than that.
func TestEveryCharacter(t *testing.T) {
	const last = 0x2FFFF // beyond are planes without letters (Unicode Standard, 2.9)
	for r := rune(1); r <= last; r++ {
		if r >= 0xD800 && r < 0xE000 || alone(r) {
			continue
		}
		name := "a" + string(r) + "b.upd"
		for how, do := range foldings {
			if other := do(name); other != name && !samename.Same(name, other) {
				t.Errorf("U+%04X, %s: %+q and %+q are kept apart", r, how, name, other)
			}
		}
	}
}

// alone reports a character of which no folding makes another.
func alone(r rune) bool {
	s := string(r)
	return unicode.ToUpper(r) == r && unicode.ToLower(r) == r && unicode.ToTitle(r) == r &&
		norm.NFD.PropertiesString(s).Decomposition() == nil && (r < 0x3000 || r > 0xA000) && foldedRune(r) == r
}

// The same of names with several such characters, by two foldings in a row.
func TestNamesThatMeet(t *testing.T) {
	odd := []rune("kK\u212a\u017fsSåÅ\u212bA\u030aa\u030aéÉe\u0301ıIiİµμΜςσΣǅǆǄẞßΩ\u2126ö\u0308ﬀᲀв")
	ways := []string{"capitals", "small letters", "titles", "folded", "composed", "decomposed"}
	rapid.Check(t, func(t *rapid.T) {
		name := string(rapid.SliceOfN(rapid.SampledFrom(odd), 1, 6).Draw(t, "name")) + "/x"
		other := name
		for range 2 {
			other = foldings[rapid.SampledFrom(ways).Draw(t, "way")](other)
		}
		if !samename.Same(name, other) {
			t.Fatalf("%+q and %+q are kept apart", name, other)
		}
		if samename.ButCase(name, other) && !samename.Same(name, other) {
			t.Fatalf("%+q and %+q differ in case alone and are kept apart", name, other)
		}
	})
}

func TestWithin(t *testing.T) {
	for _, c := range []struct {
		path, folder string
		want         bool
	}{
		{"a/b", "", true},
		{"", "", true},
		{"a/b", "A", true},
		{"a", "A", true},
		{"ab", "a", false},
		{"a", "a/b", false},
		{"dec\u212a/x", "deck", true},
		{"a/b/c", "a/B", true},
	} {
		assert.Equal(t, c.want, samename.Within(c.path, c.folder), "%q %q", c.path, c.folder)
	}
}

func TestNames(t *testing.T) {
	for _, c := range []struct {
		a, b          string
		same, butCase bool
	}{
		{"update/a.bin", "UPDATE/A.BIN", true, true},
		{"deck/é.upd", "DECK/É.UPD", true, true},
		{"deck", "dec\u212a", true, false},       // KELVIN SIGN
		{"å.upd", "\u212b.upd", true, false},     // ANGSTROM SIGN
		{"å.upd", "a\u030a.upd", true, false},    // the same, come apart
		{"beas", "bea\u017f", true, false},       // LATIN SMALL LETTER LONG S
		{"fix.upd", "f\u0131x.upd", true, false}, // LATIN SMALL LETTER DOTLESS I
		{"FIX.UPD", "F\u0130X.UPD", true, false}, // LATIN CAPITAL LETTER I WITH DOT ABOVE
		{"5μ", "5\u00b5", true, false},           // MICRO SIGN
		{"a.upd", "a.upd.", true, false},
		{"a.upd", " a.upd ", true, false},
		{"x/a", "x /a", true, false},
		{"a.upd", "a..upd", false, false},
		{"a b", "ab", false, false},
		{"straße", "strasse", false, false}, // by full case folding alone
		{"e.upd", "é.upd", false, false},
		{"a/b", "a_b", false, false},
		{"...", "..", false, false},
		{"", "", true, true},
		{"a\xafb", "a\xaeb", true, false}, // no text: taken for one another where names must not meet
	} {
		assert.Equal(t, c.same, samename.Same(c.a, c.b), "%+q %+q", c.a, c.b)
		assert.Equal(t, c.butCase, samename.ButCase(c.a, c.b), "%+q %+q", c.a, c.b)
	}
}
