package fat32

import (
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"cardwright/manifest/samename"
)

// The specification's examples of short names, and others worked out by its
// basis-name and numeric-tail algorithms.
func TestShortNames(t *testing.T) {
	for _, row := range []struct{ long, short, source string }{
		{"foo.bar", "FOO     BAR", "specification"},
		{"FOO.BAR", "FOO     BAR", "specification"},
		{"Foo.Bar", "FOO     BAR", "specification"},
		{"foo", "FOO        ", "specification"},
		{"PICKLE.A", "PICKLE  A  ", "specification"},
		{"prettybg.big", "PRETTYBGBIG", "specification"},
		{"The quick brown.fox", "THEQUI~1FOX", "specification"},
		{"foo.html", "FOO~1   HTM", "too long an extension"},
		{".foo", "FOO~1      ", "steps 4, 7: no period is left"},
		{"a.b.c", "A~1     C  ", "steps 5, 7: first period, last period"},
		{"a b.txt", "AB~1    TXT", "step 3"},
		{"text+more.doc", "TEXT_M~1DOC", "step 2: lossy"},
		{"x,y", "X_Y~1      ", "step 2: lossy"},
		{"日本.txt", "__~1    TXT", "step 2: not in the code page"},
		{"é", "_~1        ", "step 2"},
		{"a~1", "A~1        ", "a tail may be part of a name"},
		{"name.lóng", "NAME~1  L_N", "step 2 in an extension"},
	} {
		got, ok := newShortener([]string{row.long}).short(row.long)
		require.True(t, ok)
		assert.Equal(t, row.short, string(got[:]), "%s (%s)", row.long, row.source)
	}
}

// A name that is a short name by itself is kept as it is; any other
// spelling needs long-name entries, as the specification knows no lower case
// in short names.
func TestLongNamesOnlyWhereNeeded(t *testing.T) {
	for name, short := range map[string]bool{
		"README.TXT": true, "README": true, "A~1.B": true, "12345678.123": true, "_-!#$%&'": true,
		"README.txt": false, "Readme": false, "A B": false, "A.B.C": false, ".A": false, "123456789": false,
		"A.1234": false, "A+B": false, "É": false,
	} {
		assert.Equal(t, short, isShort(name), name)
	}
}

// The specification's ChkSum, computed apart from this program.
func TestChecksums(t *testing.T) {
	for name, sum := range map[string]byte{
		"FOO     BAR": 0x53,
		"README  TXT": 0x73,
		"THEQUI~1FOX": 0x07,
		"NO NAME    ": 0xB3,
		"LETTER~1DOC": 0xDA,
	} {
		assert.Equal(t, sum, shortName([]byte(name)).checksum(), name)
	}
}

// The specification's long-name example, entry by entry as it is drawn there.
func TestLongNameEntries(t *testing.T) {
	short, _ := newShortener(nil).short("The quick brown.fox")
	n := node{short: short, long: utf16Of("The quick brown.fox")}
	require.Equal(t, 2, n.longEntries())
	second, first := longEntry(2, n.long, 0x07), longEntry(1, n.long, 0x07)
	assert.Equal(t, "\x42w\x00n\x00.\x00f\x00o\x00\x0f\x00\x07x\x00\x00\x00\xff\xff\xff\xff\xff\xff\xff\xff\x00\x00\xff\xff\xff\xff", string(second[:]))
	assert.Equal(t, "\x01T\x00h\x00e\x00 \x00q\x00\x0f\x00\x07u\x00i\x00c\x00k\x00 \x00b\x00\x00\x00r\x00o\x00", string(first[:]))
}

// A name of exactly 13 units fills its entry: no zero, no filling.
func TestLongNameThatFillsItsEntry(t *testing.T) {
	e := longEntry(1, utf16Of("abcdefghijklm"), 0)
	assert.Equal(t, byte(0x41), e[0])
	assert.Equal(t, "l\x00m\x00", string(e[28:]))
}

// RFC 2781: U+1F6E5 is the pair D83D DEE5.
func TestNamesBeyondTheFirstPlane(t *testing.T) {
	assert.Equal(t, []uint16{0xD83D, 0xDEE5}, utf16Of("🛥"))
	assert.Equal(t, 2, units("🛥"))
}

func TestTailsNeverClash(t *testing.T) {
	names := make([]string, 0, 12_000)
	for i := range 11_000 {
		names = append(names, fmt.Sprintf("package of the sounder %d.upd", i))
	}
	// Names that are spelled like tails, before and after those who want them.
	names = append(names, "PACKAG~1.UPD", "packag~7.upd", "PACKA~10.UPD", "PACK~9999.UPD")
	s := newShortener(names)
	seen := map[string]bool{}
	for _, n := range names {
		short, ok := s.short(n)
		require.True(t, ok)
		require.False(t, seen[short.String()], "%s for %s", short, n)
		seen[short.String()] = true
	}
	assert.True(t, seen["PACKAG~2.UPD"], "the lowest free tail")
	assert.True(t, seen["PA~10000.UPD"], "five digits leave two letters")
}

func TestNamesThatCantStand(t *testing.T) {
	for path, want := range map[string]string{
		"":                               "an empty name",
		"/a":                             "an empty name",
		"a/":                             "an empty name",
		"a//b":                           "an empty name",
		".":                              "a dot at the end",
		"a/../b":                         "a dot at the end",
		"a.":                             "a dot at the end",
		"a./b":                           "a dot at the end",
		" a":                             "a space",
		"a /b":                           "a space",
		`a\b`:                            "can't keep",
		"a:b":                            "can't keep",
		"a*":                             "can't keep",
		"a?":                             "can't keep",
		`"a"`:                            "can't keep",
		"<a>":                            "can't keep",
		"a|b":                            "can't keep",
		"a\x00":                          "can't keep",
		"a\x1b[2Jb":                      "can't keep",
		"a\x7f":                          "can't keep",
		"a\uffff":                        "can't keep",
		"a\xff":                          "not text",
		strings.Repeat("a", 256):         "256 UTF-16 units",
		strings.Repeat("🛥", 128):         "256 UTF-16 units",
		strings.Repeat("abcd/", 52):      "260 UTF-16 units",
		strings.Repeat("a/", 129) + "bc": "260 UTF-16 units",
	} {
		_, err := Lay(Spec{Bytes: nominal(4), Files: []File{aFile("good", 1), aFile(path, 1)}})
		var bad *nameError
		require.ErrorAs(t, err, &bad, "%q", path)
		assert.Contains(t, bad.Found, want, "%q", path)
		assert.NotContains(t, err.Error(), "\x1b", "hostile names are quoted")
	}
	for _, path := range []string{strings.Repeat("a", 255), strings.Repeat("a/", 129) + "b"} {
		_, err := Lay(Spec{Bytes: nominal(4), Files: []File{aFile(path, 1)}})
		assert.NoError(t, err)
	}
}

func TestNamesThatClash(t *testing.T) {
	for _, row := range []struct{ one, other, want string }{
		{"a/x", "a/x", "two files"},
		{"plot.upd", "PLOT.UPD", `differs from "plot.upd" only in case`},
		{"a/x", "A/y", "only in case"},
		{"ÉTÉ.upd", "été.upd", "only in case"},
		{"ſ.txt", "S.TXT", "only in case"},
		{"ı.txt", "I.TXT", "only in case"},
		{"İ.txt", "i.txt", "only in case"},
		{"a", "a/b", "a file and a folder have this path"},
		{"a/b", "a", "a file and a folder have this path"},
		{"a/b", "A", "only in case"},
	} {
		_, err := Lay(Spec{Bytes: nominal(4), Files: []File{aFile(row.one, 1), aFile(row.other, 1)}})
		var bad *nameError
		require.ErrorAs(t, err, &bad, "%s %s", row.one, row.other)
		assert.Contains(t, bad.Found, row.want)
	}
}

func TestLabels(t *testing.T) {
	for text, want := range map[string]string{
		"Kittiwake":          "KITTIWAKE",
		"skerry-light":       "SKERRY-LIGH",
		"Morven Rose":        "MORVEN ROSE",
		"  ten letter  x":    "TEN LETTER",
		"Ærø/2.":             "_R__2_",
		"":                   "",
		"a\x00\xff\u202eb":   "A___B",
		"+,;=[]*?<>|\":\\./": "___________",
	} {
		got := labelOf(text)
		assert.Equal(t, want, got)
		_, err := Lay(Spec{Bytes: nominal(4), Label: got})
		assert.NoError(t, err)
	}
	for _, label := range []string{"Kittiwake", "KITTIWAKE IV", " A", "A ", "A.B", "Æ", "\n"} {
		_, err := Lay(Spec{Bytes: nominal(4), Label: label})
		assert.ErrorContains(t, err, "a card can't have")
	}
}

// Whatever the paths, they are refused, or every name in a folder gets a short
// name of the specification's characters that is nobody else's.
func FuzzPaths(f *testing.F) {
	f.Add("foo.html\nfoo.htm\nFOO~1.HTM\na/b\na/é.txt")
	f.Add("a\nA\n..\n/\n\xff\n\uffff\n.x\n \nx.")
	f.Fuzz(func(t *testing.T, lines string) {
		var files []File
		for _, path := range strings.Split(lines, "\n") {
			files = append(files, aFile(path, 1))
		}
		l, err := Lay(spec(nominal(4), files...))
		if err != nil {
			var bad *nameError
			require.ErrorAs(t, err, &bad)
			return
		}
		for _, d := range l.folders {
			requireShortNames(t, d)
		}
	})
}

func requireShortNames(t *testing.T, d *folder) {
	const valid = "ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789!#$%&'()-@^_`{}~ "
	seen := map[shortName]bool{}
	for _, n := range d.nodes {
		require.False(t, seen[n.short], "%q twice", n.short)
		seen[n.short] = true
		require.Empty(t, strings.Trim(string(n.short[:]), valid))
		require.NotEqual(t, byte(' '), n.short[0])
		if other := d.byName[samename.Key(n.short.String())]; other != nil {
			require.Same(t, n, other, "another's long name")
		}
	}
}
