package sheet_test

import (
	"encoding/binary"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"cardwright/verify/sheet"
)

// A font of another's (Debian's fonts-droid-fallback, TrueType, 4 MB) with the
// Chinese and Japanese signs that the pages' own fonts lack.
const kanjiFont = "/usr/share/fonts/truetype/droid/DroidSansFallbackFull.ttf"

func kanji(t *testing.T) []byte {
	t.Helper()
	data, err := os.ReadFile(kanjiFont)
	require.NoError(t, err, "the font that tests read isn't here: install fonts-droid-fallback")
	return data
}

func inKanji() sheet.Input {
	in := provenKittiwake()
	in.Vessel.Name = "第八かもめ丸"
	in.Vessel.Berth = "三浦港 C 14"
	in.Vessel.Devices[1].Place = "マスト mast 船首"
	return in
}

// The shop's font draws what the page's own haven't: poppler reads every letter
// back, finds the font embedded, and nothing is reported as missing. The letters are
// drawn: they make the page darker than one on which they are left out.
func TestPDFInTheShopsFont(t *testing.T) {
	font, err := sheet.ReadFont(kanji(t))
	require.NoError(t, err)
	in := inKanji()
	data, err := sheet.PDF(made(t, in), sheet.A4, font)
	require.NoError(t, err)
	again, err := sheet.PDF(made(t, in), sheet.A4, font)
	require.NoError(t, err)
	assert.Equal(t, data, again, "the same bytes")
	assert.Less(t, len(data), 400<<10, "only what is drawn of the font is in it")
	path := filepath.Join(t.TempDir(), "kanji.pdf")
	require.NoError(t, os.WriteFile(path, data, 0o600))
	raw := run(t, "pdftotext", "-raw", path, "-")
	for _, text := range []string{"第八かもめ丸", "三浦港 C 14", "マスト mast 船首"} {
		assert.True(t, strings.Contains(raw, text), text)
	}
	assert.False(t, strings.Contains(raw, "U+"))
	assert.False(t, strings.Contains(raw, "□"))
	assert.Regexp(t, `utf8own .* yes +(yes|no) +yes `, run(t, "pdffonts", path))

	without := filepath.Join(t.TempDir(), "without.pdf")
	in.Vessel.Name = "ーーーーーー" // as wide, with less ink
	data, err = sheet.PDF(made(t, in), sheet.A4, font)
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(without, data, 0o600))
	assert.Greater(t, ink(t, path), ink(t, without)+200)
}

// ink is how many dark pixels are in the head of the first page, at 60 dots an
// inch.
func ink(t *testing.T, path string) (dark int) {
	t.Helper()
	base := filepath.Join(t.TempDir(), "head")
	run(t, "pdftoppm", "-r", "60", "-gray", "-singlefile", "-x", "0", "-y", "20", "-W", "300", "-H", "50", path, base)
	data, err := os.ReadFile(base + ".pgm")
	require.NoError(t, err)
	for _, b := range data[len(data)-300*50:] {
		if b < 128 {
			dark++
		}
	}
	return dark
}

// What the shop's font lacks, too, is reported once.
func TestPDFTellsWhatNoFontHas(t *testing.T) {
	font, err := sheet.ReadFont(kanji(t))
	require.NoError(t, err)
	in := inKanji()
	in.Vessel.Name += " ᚠᚠ"
	data, err := sheet.PDF(made(t, in), sheet.A4, font)
	require.NoError(t, err)
	path := filepath.Join(t.TempDir(), "runes.pdf")
	require.NoError(t, os.WriteFile(path, data, 0o600))
	raw := run(t, "pdftotext", "-raw", path, "-")
	assert.Equal(t, 1, strings.Count(raw, "U+16A0"))
	assert.Contains(t, raw, "第八かもめ丸 □□")
}

func TestWhatIsNoFontIsRefused(t *testing.T) {
	good := kanji(t)
	cff := slices.Clone(good)
	copy(cff, "OTTO")
	forbidden := slices.Clone(good)
	for at := 12; ; at += 16 { // the table directory (OpenType 1.9)
		if string(good[at:at+4]) == "OS/2" {
			binary.BigEndian.PutUint16(forbidden[binary.BigEndian.Uint32(good[at+8:])+8:], 2)
			break
		}
	}
	for says, data := range map[string][]byte{
		"isn't a TrueType font": []byte("%PDF-1.7 and so on"),
		"PostScript":            cff,
		"doesn't allow":         forbidden,
		"damaged":               good[:len(good)/2],
		"at most":               make([]byte, sheet.MaxFont+1),
	} {
		_, err := sheet.ReadFont(data)
		assert.ErrorContains(t, err, says)
	}
	_, err := sheet.ReadFont(nil)
	assert.ErrorContains(t, err, "isn't a TrueType font")
}

// Damaged fonts never end the program, nor hold it up: each is refused, or draws
// less. Bytes are changed where a font's tables say what it is made of.
func TestDamagedFonts(t *testing.T) {
	good := kanji(t)
	in := inKanji()
	random := rand.New(rand.NewPCG(1, 2))
	rounds := 150
	if testing.Short() {
		rounds = 25
	}
	refused, drew := 0, 0
	for range rounds {
		data := slices.Clone(good)
		for range 1 + random.IntN(40) {
			at := random.IntN(len(data))
			switch random.IntN(3) {
			case 0:
				at = random.IntN(512) // the directory and the first tables
			case 1: // anywhere in a table's first bytes
				entry := 12 + 16*random.IntN(int(binary.BigEndian.Uint16(good[4:])))
				at = min(int(binary.BigEndian.Uint32(good[entry+8:]))+random.IntN(400), len(data)-1)
			}
			data[at] = byte(random.IntN(256))
		}
		begun := time.Now()
		font, err := sheet.ReadFont(data)
		if err != nil {
			refused++
			continue
		}
		_, err = sheet.PDF(made(t, in), sheet.A4, font)
		require.NoError(t, err)
		require.Less(t, time.Since(begun), 20*time.Second)
		drew++
	}
	assert.NotZero(t, refused)
	assert.NotZero(t, drew)
}

// Glyphs that hold themselves, or one another many times over, aren't drawn.
func TestGlyphsThatHoldThemselves(t *testing.T) {
	for name, parts := range map[string][][]uint16{
		"itself": {{1}}, "each other": {{2}, {1}}, "one that isn't there": {{9}},
		"many times over": {{2, 2, 2}, {3, 3, 3}, {4, 4, 4}, {5, 5, 5}, {6, 6, 6}, {7}, {}},
		"too deep":        {{2}, {3}, {4}, {5}, {6}, {7}, {8}, {}},
	} {
		font, err := sheet.ReadFont(sheet.Composed('船', parts))
		require.NoError(t, err, name)
		in := kittiwake()
		in.Vessel.Name = "船"
		data, err := sheet.PDF(made(t, in), sheet.A4, font)
		require.NoError(t, err, name)
		path := filepath.Join(t.TempDir(), "x.pdf")
		require.NoError(t, os.WriteFile(path, data, 0o600))
		assert.Contains(t, run(t, "pdftotext", path, "-"), "U+8239", name)
	}
	font, err := sheet.ReadFont(sheet.Composed('船', [][]uint16{{2, 3}, {3}, {}}))
	require.NoError(t, err)
	in := kittiwake()
	in.Vessel.Name = "船"
	data, err := sheet.PDF(made(t, in), sheet.A4, font)
	require.NoError(t, err)
	path := filepath.Join(t.TempDir(), "x.pdf")
	require.NoError(t, os.WriteFile(path, data, 0o600))
	assert.NotContains(t, run(t, "pdftotext", path, "-"), "U+8239", "a few parts are usual")
}
