package manifest

import (
	"encoding/json"
	"math"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// Decimal units are powers of 1000 (SI), binary ones powers of 1024 (IEC
// 80000-13).
func TestParseSize(t *testing.T) {
	for text, want := range map[string]Size{
		"0": 0, "1": 1, "412345678": 412_345_678, "4kB": 4000, "4KiB": 4096, "4MB": 4_000_000, "4MiB": 4_194_304,
		"4GB": 4_000_000_000, "4GiB": 4_294_967_296, "32GB": 32_000_000_000, "1TB": 1_000_000_000_000, "1TiB": 1_099_511_627_776,
		"1000TB": maxSize,
	} {
		got, err := parseSize(text)
		require.NoError(t, err, text)
		assert.Equal(t, want, got, text)
	}
	for _, text := range []string{
		"", "GB", "-1", "+1", "1.5GB", "1_000", "1,000", "4 GB", " 4GB", "4GB ", "4gb", "4Gb", "4G", "4KB", "0x10", "1e9", "007", "00", "٤GB",
		"1001TB", "1000000000000001", "99999999999999999999", "9223372036854775807TiB", "\x1b",
	} {
		_, err := parseSize(text)
		assert.Error(t, err, text)
	}
}

// People write sizes as they speak them; a file has one form of each.
func TestSizesAsTyped(t *testing.T) {
	for text, want := range map[string]string{
		"4GB": "4GB", "4 GB": "4GB", "4gb": "4GB", "4Gb": "4GB", "4 g": "4GB", " 4  GiB ": "4GiB", "1,000 MB": "1GB", "512": "512", "8G": "8GB", "32 kb": "32kB",
	} {
		got, err := sizeAsTyped(text)
		require.NoError(t, err, text)
		assert.Equal(t, want, got.String(), text)
	}
	for _, text := range []string{"4GB-32GB", "4GB - 32GB", "4 GB – 32 GB", "4-32GB", "4 to 32 gb", "4gb to 32gb", "4GB..32GB", "4 GB—32 GB"} {
		least, most, err := SizesAsTyped(text)
		require.NoError(t, err, text)
		assert.Equal(t, "4GB 32GB", least.String()+" "+most.String(), text)
	}
	for _, text := range []string{"", "-", "4GB", "32GB-4GB", "4GB-", "-4GB", "small-large", "4.5GB-32GB", "4GB-32GB-64GB", "-4GB-8GB"} {
		_, _, err := SizesAsTyped(text)
		assert.Error(t, err, text)
	}
}

// A day in another form is named, both where it may be two.
func TestDateHint(t *testing.T) {
	for text, want := range map[string]string{
		"2026-3-2": "2026-03-02", "2026/03/02": "2026-03-02", "20260302": "2026-03-02", "02.03.2026": "2026-03-02", "13/03/2026": "2026-03-13",
		"03/13/2026": "2026-03-13", "02/02/2026": "2026-02-02", "2 March 2026": "2026-03-02", "March 2nd, 2026": "2026-03-02", "2-Mar-26": "2026-03-02",
		"02/03/2026": "2026-03-02 for 2 March 2026, or 2026-02-03 for 3 February 2026", "3-2-2026": "2026-02-03 for 3 February 2026, or 2026-03-02 for 2 March 2026",
		"yesterday": "", "2026-02-30": "", "99/99/9999": "", "": "",
	} {
		assert.Equal(t, want, dateHint(text), text)
	}
}

// Names that computers obey by themselves are no package names; names that only
// look like them are.
func TestNamesThatStartThemselves(t *testing.T) {
	for _, name := range []string{"autorun.inf", "AutoRun.INF", "a/autorun.inf", "autorun.exe", "autorun.inf/a.bin", "desktop.ini", "Plot 12.lnk", "setup.exe", "x.url", ".autorun", "autorun.sh", "autoopen", "a.scr", "a.pif"} {
		assert.NotEmpty(t, packageProblem(name), name)
	}
	for _, name := range []string{"plot12.upd", "update.exe", "autorunner.bin", "my-desktop.ini.bin", "link", "setup.bin", "desktop.init", "autorun1.inf"} {
		assert.Empty(t, packageProblem(name), name)
	}
}

func TestSizeRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := Size(rapid.Int64Range(0, 1000).Draw(t, "n")) * rapid.SampledFrom([]Size{1, 1000, 1024, 1e6, 1 << 20, 1e9, 1 << 30}).Draw(t, "unit")
		again, err := parseSize(n.String())
		require.NoError(t, err)
		assert.Equal(t, n, again)
	})
	assert.Equal(t, "4GB", Size(4e9).String())
	assert.Equal(t, "4GiB", Size(4<<30).String())
	assert.Equal(t, "412345678", Size(412345678).String())
	assert.Equal(t, "0", Size(0).String())
}

func TestParseDate(t *testing.T) {
	d, err := ParseDate("2024-02-29")
	require.NoError(t, err)
	assert.Equal(t, time.Date(2024, 2, 29, 0, 0, 0, 0, time.UTC), d.Time)
	assert.Equal(t, "2024-02-29", d.String())
	form, err := json.Marshal(d)
	require.NoError(t, err)
	assert.JSONEq(t, `"2024-02-29"`, string(form))
	for _, text := range []string{"", "2023-02-29", "2024-2-29", "29.02.2024", "2024-02-29T00:00:00Z", "1979-12-31", "2108-01-01", "02024-02-29"} {
		_, err := ParseDate(text)
		assert.Error(t, err, text)
	}
}

// The rule of the check digit is from memory; the numbers are invented.
func TestIMONumber(t *testing.T) {
	assert.Empty(t, imoNumber.wrong("1234567"))    // 1·7+2·6+3·5+4·4+5·3+6·2 = 77
	assert.Empty(t, imoNumber.wrong("0000000"))    // 0
	assert.Empty(t, imoNumber.wrong("1000007"))    // 7
	assert.Empty(t, imoNumber.wrong("9999993"))    // 9·27 = 243
	assert.NotEmpty(t, imoNumber.wrong("1234576")) // two digits swapped
	for i := range 10 {
		if i != 7 {
			assert.NotEmpty(t, imoNumber.wrong("123456"+string(rune('0'+i))))
		}
	}
}

// Illegal characters and lengths are those of the Microsoft FAT32 File System
// Specification v1.03 for long names; the device names are common knowledge
// of DOS and Windows (from memory).
func TestNamesOnFAT(t *testing.T) {
	for _, name := range []string{"a", "foo.bar", "A B.c", "x+y,z;=[1].bin", "con1", "nulla", "com", "lpt10", "console", "a'b", "ö", ".hidden", "a..b", "release-notes.txt", "COM0x"} {
		assert.Empty(t, nameProblem(name), name)
	}
	for _, name := range []string{
		"", ".", "..", "...", "a.", "a ", " a", `a"b`, "a*b", "a/b", "a:b", "a<b", "a>b", "a?b", `a\b`, "a|b", "a\x00b", "a\x1fb", "a\x7fb",
		"con", "CON", "Con.txt", "con .txt", "prn", "aux.tar.gz", "nul", "com1", "COM9.upd", "lpt0", "com¹", "conin$", "CONOUT$", "clock$",
	} {
		assert.NotEmpty(t, nameProblem(name), "%q", name)
	}
	assert.Empty(t, nameProblem(strings.Repeat("😀", 127)+"a"), "127 surrogate pairs and one: 255 units")
	assert.NotEmpty(t, nameProblem(strings.Repeat("😀", 128)), "256 units")
	assert.NotEmpty(t, pathProblem(strings.Repeat("abcdefghi/", 26)+"a"), "261 characters")
	assert.Empty(t, pathProblem(strings.Repeat("abcdefghi/", 25)+"abcdefghi"), "259 characters")
	for _, path := range []string{"_card", "_card/x", "_CARD/x", "a//b", "a/", "a/./b", "a/../b"} {
		assert.NotEmpty(t, pathProblem(path), path)
	}
	assert.Empty(t, pathProblem("a/_card"), "only the folder at the top is ours")
}

func TestNearest(t *testing.T) {
	words := []string{"version", "released", "files", "needs", "by", "kept", "lost", "heading against course"}
	for word, want := range map[string]string{
		"versoin": "version", "Version": "version", "relased": "released", "file": "files", "filse": "files",
		"heading agianst cuorse": "heading against course", "colour": "", "": "", "xy": "", "lots": "lost",
		strings.Repeat("v", 100): "",
	} {
		assert.Equal(t, want, nearest(word, words), word)
	}
}

// Distances worked by hand from the definition of the optimal string
// alignment distance.
func TestSlips(t *testing.T) {
	for _, c := range []struct {
		a, b string
		want int
	}{
		{"", "", 0},
		{"", "abc", 3},
		{"abc", "", 3},
		{"abc", "abc", 0},
		{"kitten", "sitting", 3},
		{"ab", "ba", 1},
		{"ca", "abc", 3},
	} {
		assert.Equal(t, c.want, slips(c.a, c.b), "%s, %s", c.a, c.b)
	}
	rapid.Check(t, func(t *rapid.T) {
		a, b := rapid.StringMatching(`[a-c]{0,8}`).Draw(t, "a"), rapid.StringMatching(`[a-c]{0,8}`).Draw(t, "b")
		assert.Equal(t, slips(a, b), slips(b, a))
		assert.GreaterOrEqual(t, slips(a, b), int(math.Abs(float64(len(a)-len(b)))))
		assert.Equal(t, a == b, slips(a, b) == 0)
	})
}
