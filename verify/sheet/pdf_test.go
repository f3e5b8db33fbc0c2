package sheet_test

import (
	"bytes"
	"encoding/xml"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"cardwright/verify/sheet"
)

// run an outside tool on a file; a tool that isn't there is a failure.
func run(t *testing.T, name string, args ...string) string {
	t.Helper()
	path, err := exec.LookPath(name)
	require.NoError(t, err, "the outside judge %s isn't here: install poppler-utils and zbar-tools", name)
	var out, trouble bytes.Buffer
	cmd := exec.Command(path, args...)
	cmd.Stdout, cmd.Stderr = &out, &trouble
	require.NoError(t, cmd.Run(), "%s: %s", name, trouble.String())
	return out.String()
}

// drawn are the pages that tests share, by sheet and paper.
var drawn = map[string][]byte{}

// pdf writes a sheet and gives its path.
func pdf(t *testing.T, in sheet.Input, paper sheet.Paper) string {
	t.Helper()
	s := made(t, in)
	key := sheet.Text(s) + string(paper)
	data, known := drawn[key]
	if !known {
		var err error
		data, err = sheet.PDF(s, paper, nil)
		require.NoError(t, err)
		drawn[key] = data
	}
	path := filepath.Join(t.TempDir(), "sheet.pdf")
	require.NoError(t, os.WriteFile(path, data, 0o600))
	return path
}

func each(t *testing.T, test func(*testing.T, sheet.Input, sheet.Paper)) {
	for name, in := range map[string]sheet.Input{"three devices": provenKittiwake(), "forty devices": provenMorvenRose(), "hostile": hostile()} {
		for _, paper := range []sheet.Paper{sheet.A4, sheet.Letter} {
			for _, language := range sheet.Languages() {
				if testing.Short() && language != sheet.English {
					continue
				}
				t.Run(fmt.Sprintf("%s/%s/%s", name, paper, language), func(t *testing.T) {
					in := in
					in.Style.Language = language
					test(t, in, paper)
				})
			}
		}
	}
}

// poppler's pdftotext reads the pages back: nothing is cut, and each page says
// what it belongs to.
func TestPDFReadBack(t *testing.T) {
	each(t, func(t *testing.T, in sheet.Input, paper sheet.Paper) {
		s := made(t, in)
		raw := run(t, "pdftotext", "-raw", pdf(t, in, paper), "-")
		pages := strings.Split(strings.TrimSuffix(raw, "\f"), "\f")
		foot := squeezed(s.Foot)
		for i, page := range pages {
			assert.Contains(t, squeezed(page), foot, "page %d", i+1)
			assert.Contains(t, squeezed(page), squeezed(s.Stamp.Line()), "page %d", i+1)
			assert.Contains(t, squeezed(page), squeezed(s.Vessel)[:8], "page %d: whose it is", i+1)
			assert.Regexp(t, fmt.Sprintf(`(page %d of %d|Seite %[1]d von %d)`, i+1, len(pages), len(pages)), page)
		}
		whole := squeezed(strings.ReplaceAll(raw, "\\\n", ""))
		for _, st := range blocks[sheet.Step](s) {
			assert.Contains(t, whole, squeezed(st.From+"→"+st.To))
			for _, f := range st.Facts {
				if f.Exact {
					assert.Contains(t, whole, squeezed(f.Value))
				}
			}
		}
		for _, c := range s.Cards {
			for _, f := range c.Facts {
				assert.Contains(t, whole, squeezed(f.Value), f.Label)
			}
		}
	})
}

// squeezed leaves out all space, so that lines may be broken anywhere.
func squeezed(s string) string {
	return strings.Join(strings.FieldsFunc(s, func(r rune) bool { return r == ' ' || r == '\n' || r == '\u00a0' }), "")
}

// boxes of words as pdftotext finds them.
type boxes struct {
	Pages []struct {
		Width  float64 `xml:"width,attr"`
		Height float64 `xml:"height,attr"`
		Words  []word  `xml:"word"`
	} `xml:"body>doc>page"`
}

type word struct {
	Left   float64 `xml:"xMin,attr"`
	Right  float64 `xml:"xMax,attr"`
	Top    float64 `xml:"yMin,attr"`
	Bottom float64 `xml:"yMax,attr"`
	Text   string  `xml:",chardata"`
}

// No word stands outside the margins or on another word, and each page has the
// size of its paper: ISO 216 A4, ANSI Letter.
func TestPDFLayout(t *testing.T) {
	const point = 25.4 / 72 // millimetres
	const unprintable = 6.4 // a quarter of an inch at the edge, which many printers leave white; from memory
	size := map[sheet.Paper][2]float64{sheet.A4: {210, 297}, sheet.Letter: {215.9, 279.4}}
	each(t, func(t *testing.T, in sheet.Input, paper sheet.Paper) {
		var found boxes
		require.NoError(t, xml.Unmarshal([]byte(run(t, "pdftotext", "-bbox", pdf(t, in, paper), "-")), &found))
		require.NotEmpty(t, found.Pages)
		for n, page := range found.Pages {
			assert.InDelta(t, size[paper][0], page.Width*point, 0.1)
			assert.InDelta(t, size[paper][1], page.Height*point, 0.1)
			require.NotEmpty(t, page.Words)
			for i, w := range page.Words {
				assert.Greater(t, w.Left*point, 17.5, "page %d, %q", n+1, w.Text)
				assert.Less(t, w.Right*point, size[paper][0]-11.5, "page %d, %q", n+1, w.Text)
				assert.Greater(t, w.Top*point, unprintable, "page %d, %q", n+1, w.Text)
				assert.Less(t, w.Bottom*point, size[paper][1]-unprintable, "page %d, %q", n+1, w.Text)
				for _, other := range page.Words[:i] {
					assert.False(t, covers(w, other), "page %d: %q stands on %q", n+1, w.Text, other.Text)
				}
			}
		}
	})
}

// covers reports whether two words stand on each other by more than the white
// that fonts have above and below their letters.
func covers(a, b word) bool {
	wide := min(a.Right, b.Right) - max(a.Left, b.Left)
	high := min(a.Bottom, b.Bottom) - max(a.Top, b.Top)
	return wide > 0.5 && high > 0.4*min(a.Bottom-a.Top, b.Bottom-b.Top)
}

// No title is left at the foot of a page with nothing below it.
func TestPDFKeepsTitlesWithWhatFollows(t *testing.T) {
	each(t, func(t *testing.T, in sheet.Input, paper sheet.Paper) {
		raw := run(t, "pdftotext", "-layout", pdf(t, in, paper), "-")
		foot := strings.Fields(made(t, in).Foot)[0]
		for i, page := range strings.Split(strings.TrimSuffix(raw, "\f"), "\f") {
			var before string
			for line := range strings.Lines(page) {
				if strings.HasPrefix(strings.TrimSpace(line), foot+" ") && strings.Contains(line, strconv.Itoa(i+1)) {
					break
				}
				if strings.TrimSpace(line) != "" {
					before = strings.TrimSpace(line)
				}
			}
			assert.NotRegexp(t, `^\d+ +\p{L}[\p{L} ]+$`, before, "page %d ends on a title", i+1)
		}
	})
}

// Tables break between rows, with the head repeated on each page they go on.
func TestPDFRepeatsHeads(t *testing.T) {
	raw := run(t, "pdftotext", "-layout", pdf(t, provenMorvenRose(), sheet.A4), "-")
	for i, page := range strings.Split(raw, "\f") {
		if regexp.MustCompile(`(?m)^\s*\d+ +(display|pilot|small)-\d+ +\S+ +\S+ +\d:\d\d to`).MatchString(page) {
			assert.Regexp(t, `Step +Device +Runs now +Will run +Running time`, page, "page %d", i+1)
		}
	}
	assert.Contains(t, raw, "Checks after the updates (continued)")
}

// zbarimg, an outside reader of square codes, reads each card's code off the
// rendered page.
func TestPDFSquareCode(t *testing.T) {
	for name, in := range map[string]sheet.Input{"one card": provenKittiwake(), "three cards": provenMorvenRose()} {
		for _, paper := range []sheet.Paper{sheet.A4, sheet.Letter} {
			t.Run(name+"/"+string(paper), func(t *testing.T) {
				base := filepath.Join(t.TempDir(), "page")
				path := pdf(t, in, paper)
				n, err := strconv.Atoi(regexp.MustCompile(`Pages: +(\d+)`).FindStringSubmatch(run(t, "pdfinfo", path))[1])
				require.NoError(t, err)
				run(t, "pdftoppm", "-r", "300", "-f", strconv.Itoa(n-1), "-gray", "-png", path, base) // the shop's block stands last
				pages, err := filepath.Glob(base + "*.png")
				require.NoError(t, err)
				var read []string
				for _, page := range pages {
					out, err := exec.Command("zbarimg", "--quiet", "--raw", "--nodbus", page).Output()
					if err != nil { // 4: this page has no code
						var exit *exec.ExitError
						require.ErrorAs(t, err, &exit, "reading codes: install zbar-tools")
						require.Equal(t, 4, exit.ExitCode())
					}
					read = append(read, string(out))
				}
				got := strings.Join(read, "")
				for _, c := range in.Cards {
					want := fmt.Sprintf("card %d of %d\ndigest %s\nrecord %s\n", c.Number, c.Of, c.Digest, c.Record)
					assert.Contains(t, got, want)
				}
			})
		}
	}
}

func TestPDFSameBytes(t *testing.T) {
	each(t, func(t *testing.T, in sheet.Input, paper sheet.Paper) {
		s := made(t, in)
		a, err := sheet.PDF(s, paper, nil)
		require.NoError(t, err)
		b, err := sheet.PDF(s, paper, nil)
		require.NoError(t, err)
		assert.True(t, bytes.Equal(a, b))
	})
}

// Every font is in the file, so that every printer has it.
func TestPDFFonts(t *testing.T) {
	out := run(t, "pdffonts", pdf(t, provenKittiwake(), sheet.A4))
	lines := strings.Split(strings.TrimSpace(out), "\n")[2:]
	assert.Len(t, lines, 3)
	for _, line := range lines {
		assert.Regexp(t, `utf8(sans|bold|mono) .* yes +(yes|no) +yes `, line)
	}
}

// A character that the fonts lack has a sign in its place, and is reported once.
func TestPDFCharactersOfNoFont(t *testing.T) {
	in := provenKittiwake()
	in.Vessel.Name = "船 ⛵ 😀 Ægir Śmiały"
	in.Vessel.Berth = "Ελλάδα, Владивосток"
	raw := run(t, "pdftotext", "-raw", pdf(t, in, sheet.A4), "-")
	assert.Equal(t, 1, strings.Count(raw, "U+8239"))
	assert.Contains(t, raw, "Ægir Śmiały")
	assert.Equal(t, 1, strings.Count(raw, "U+1F600"))
	assert.Contains(t, raw, "□ □ □ Ægir Śmiały")
	assert.Contains(t, raw, "Ελλάδα, Владивосток", "Greek and Cyrillic are in the fonts")
	assert.NotContains(t, raw, "‹U+")
}

// The file's reader shows the document's title (ISO 32000-1, 12.2), and a list of
// its parts and steps to go to, as poppler's tools read them.
func TestPDFTitleAndBookmarks(t *testing.T) {
	path := pdf(t, provenKittiwake(), sheet.A4)
	assert.Regexp(t, `Title: +Kittiwake: Install order`, run(t, "pdfinfo", path))
	data, err := os.ReadFile(path)
	require.NoError(t, err)
	assert.Regexp(t, `(?s)/Type /Catalog\n/ViewerPreferences <</DisplayDocTitle true>>.*%%EOF\n$`, string(data[len(data)-2000:]))
	s := made(t, provenKittiwake())
	out := run(t, "pdftohtml", "-xml", "-i", "-stdout", path)
	assert.Equal(t, len(s.Sections)+len(blocks[sheet.Step](s)), strings.Count(out, "<item page="))
}

// Nobody reads forty pages at a helm: the demo's boats on both papers, each
// page held to what it may have.
func TestPDFPages(t *testing.T) {
	for _, paper := range []sheet.Paper{sheet.A4, sheet.Letter} {
		for name, c := range map[string]struct {
			in   sheet.Input
			most int
		}{
			"kittiwake":    {demo(t, "kittiwake"), 6},
			"skerry-light": {demo(t, "skerry-light"), 4},
			"one device":   {demo(t, "kittiwake", "ais"), 2},
		} {
			t.Run(name+"/"+string(paper), func(t *testing.T) {
				path := pdf(t, c.in, paper)
				pages := regexp.MustCompile(`Pages: +(\d+)`).FindStringSubmatch(run(t, "pdfinfo", path))
				n, err := strconv.Atoi(pages[1])
				require.NoError(t, err)
				assert.LessOrEqual(t, n, c.most)
				last := strings.Split(strings.TrimSuffix(run(t, "pdftotext", "-raw", path, "-"), "\f"), "\f")
				for i, page := range last {
					if strings.Contains(page, "Owner or skipper") {
						assert.Contains(t, page, "All cards are out", "page %d: signatures are never alone", i+1)
					}
				}
			})
		}
	}
}

// No type is under 9 points, and what is read at the helm is 11 at least.
func TestPDFTypeSizes(t *testing.T) {
	out := run(t, "pdftohtml", "-xml", "-i", "-stdout", pdf(t, demo(t, "kittiwake"), sheet.A4))
	sizes := map[string]float64{}
	for _, m := range regexp.MustCompile(`<fontspec id="(\d+)" size="(-?\d+)"`).FindAllStringSubmatch(out, -1) {
		size, err := strconv.ParseFloat(m[2], 64)
		require.NoError(t, err)
		sizes[m[1]] = size
	}
	require.NotEmpty(t, sizes)
	const zoom = 1.5 // pdftohtml counts in these parts of a point
	for id, size := range sizes {
		assert.GreaterOrEqual(t, size/zoom, 8.6, "font %s (the tool rounds)", id)
	}
}

// A sheet without an order has its reason and no steps, in every form.
func TestPDFWithoutAnOrder(t *testing.T) {
	raw := run(t, "pdftotext", "-raw", pdf(t, bad(), sheet.Letter), "-")
	assert.Contains(t, raw, "NO INSTALL ORDER")
	assert.Contains(t, raw, "01-flybridge/plot12-4.0-12.upd: the file isn't what the catalogue says")
	assert.NotContains(t, raw, "Steps from card")
}

func TestPaperUnknown(t *testing.T) {
	_, err := sheet.PDF(made(t, kittiwake()), "a5", nil)
	assert.ErrorContains(t, err, `paper "a5"; write one of a4, letter`)
	_, err = sheet.HTML(made(t, kittiwake()), "a5")
	assert.ErrorContains(t, err, `paper "a5"; write one of a4, letter`)
}

// A serial longer than its column is broken there, marked, and breaks nothing in
// another column.
func TestPDFALongSerialBreaksItsOwnColumnOnly(t *testing.T) {
	for _, paper := range []sheet.Paper{sheet.A4, sheet.Letter} {
		in := unread()
		long := strings.Repeat("SN0123456789", 8)
		in.Vessel.Devices[0].Serial = long
		s := made(t, in)
		raw := run(t, "pdftotext", "-raw", pdf(t, in, paper), "-")
		for _, table := range blocks[sheet.Table](s) {
			for _, row := range table.Rows {
				for i, cell := range row.Cells {
					if i == 2 && cell == long {
						continue
					}
					for word := range strings.FieldsSeq(strings.ReplaceAll(cell, "\u00a0", " ")) {
						assert.Contains(t, raw, word, "column %d", i)
					}
				}
			}
		}
		var broken string
		for line := range strings.Lines(raw) {
			for word := range strings.FieldsSeq(line) {
				if part, ok := strings.CutSuffix(word, `\`); ok && part != "" {
					assert.Contains(t, long, part)
					broken += part
				}
			}
		}
		assert.True(t, strings.HasPrefix(long, broken) && broken != "", broken)
	}
}

// What stands together is on one page: the picture of who updates whom, and the
// shop's block with its card and code.
func TestPDFKeepsTogether(t *testing.T) {
	for name, in := range map[string]sheet.Input{"kittiwake": demo(t, "kittiwake"), "three": provenKittiwake(), "forty": provenMorvenRose()} {
		for _, paper := range []sheet.Paper{sheet.A4, sheet.Letter} {
			t.Run(name+"/"+string(paper), func(t *testing.T) {
				raw := run(t, "pdftotext", "-raw", pdf(t, in, paper), "-")
				pages := strings.Split(raw, "\f")
				pageOf := func(text string) int {
					for i := len(pages) - 1; i >= 0; i-- {
						if strings.Contains(pages[i], text) {
							return i
						}
					}
					require.Failf(t, "nowhere", "%q", text)
					return -1
				}
				assert.Contains(t, pages[pageOf("For the shop")], "Volume id", "the first cards")
				picture := pageOf("The number is the step")
				for _, node := range made(t, in).Network.Nodes {
					if node.Host >= 0 {
						assert.Contains(t, pages[picture], strings.Fields(node.Model)[1], node.Device)
						assert.Contains(t, pages[picture], node.Device)
					}
				}
			})
		}
	}
}
