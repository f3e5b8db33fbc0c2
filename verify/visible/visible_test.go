package visible_test

import (
	"strings"
	"testing"
	"unicode"
	"unicode/utf8"

	"github.com/stretchr/testify/assert"
	"golang.org/x/text/unicode/bidi"
	"pgregory.net/rapid"

	"cardwright/verify/visible"
)

func TestVisible(t *testing.T) {
	for _, c := range []struct{ name, in, want string }{
		{"plain", "Morven Rose, C 14 (äöüß, Ægir, Σκύλλα)", "Morven Rose, C 14 (äöüß, Ægir, Σκύλλα)"},
		{"control", "a\x1b[2Jb\x00\r\n\t\x7f", "a‹U+001B›[2Jb‹U+0000›‹U+000D›‹U+000A›‹U+0009›‹U+007F›"},
		{"C1 control", "a\u009b2J", "a‹U+009B›2J"},
		// The trick of UTR #36 §3.1 and of "Trojan Source" (CVE-2021-42574): the name reads as …exe.gpj.
		{"direction", "card\u202egpj.exe", "card‹U+202E›gpj.exe"},
		{"isolates", "\u2066a\u2069\u200f\u061c", "‹U+2066›a‹U+2069›‹U+200F›‹U+061C›"},
		{"zero width", "a\u200bb\u200d\ufeff\u2060\u00ad", "a‹U+200B›b‹U+200D›‹U+FEFF›‹U+2060›‹U+00AD›"},
		{"lines", "a\u2028b\u2029c\u0085", "a‹U+2028›b‹U+2029›c‹U+0085›"},
		{"spaces", "a\u00a0b\u3000c d", "a‹U+00A0›b‹U+3000›c d"},
		{"fillers", "\u3164\u115f\u034f\ufe0f\u2800", "‹U+3164›‹U+115F›‹U+034F›‹U+FE0F›‹U+2800›"},
		{"tags", "a\U000e0041", "a‹U+E0041›"},
		{"private", "\ue000", "‹U+E000›"},
		{"not UTF-8", "a\xff\xc0\xafb\xed\xa0\x80", "a‹xFF›‹xC0›‹xAF›b‹xED›‹xA0›‹x80›"},
		{"the replacement character itself", "\ufffd", "\ufffd"},
		{"forged escape", "‹U+0041›", "‹U+2039›U+0041‹U+203A›"},
		{"heap of marks", "e\u0301\u0301\u0301", "e\u0301\u0301‹U+0301›"},
		{"mark on nothing", "\u0301a", "‹U+0301›a"},
	} {
		t.Run(c.name, func(t *testing.T) { assert.Equal(t, c.want, visible.Visible(c.in)) })
	}
}

// Unicode's own table of directions (golang.org/x/text) is the judge: no
// explicit embedding, override, isolate or paragraph break is left.
func TestNothingTurnsTheLine(t *testing.T) {
	for r := rune(0); r <= unicode.MaxRune; r++ {
		p, _ := bidi.LookupRune(r)
		switch p.Class() {
		case bidi.LRE, bidi.RLE, bidi.LRO, bidi.RLO, bidi.PDF, bidi.LRI, bidi.RLI, bidi.FSI, bidi.PDI, bidi.B:
			assert.Contains(t, visible.Visible("a"+string(r)), "‹", "U+%04X", r)
		}
	}
}

func TestDifferentTextsStayDifferent(t *testing.T) {
	text := rapid.Custom(func(t *rapid.T) string {
		return string(rapid.SliceOfN(rapid.SampledFrom([]byte("a‹›U+202Ex\xff\xe2\x80\xae\n")), 0, 12).Draw(t, "bytes"))
	})
	rapid.Check(t, func(t *rapid.T) {
		a, b := text.Draw(t, "a"), text.Draw(t, "b")
		if a != b && visible.Visible(a) == visible.Visible(b) {
			t.Fatalf("%q and %q both show as %q", a, b, visible.Visible(a))
		}
	})
}

func FuzzVisible(f *testing.F) {
	f.Add("card\u202egpj.exe")
	f.Fuzz(func(t *testing.T, s string) {
		got := visible.Visible(s)
		assert.True(t, utf8.ValidString(got))
		assert.Equal(t, -1, strings.IndexFunc(got, func(r rune) bool { return !unicode.IsPrint(r) }))
	})
}
