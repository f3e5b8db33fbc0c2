package export_test

import (
	"context"
	"net/http"
	"net/http/httptest"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/log"
	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/cdproto/runtime"
	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"cardwright/manifest"
	"cardwright/verify/ledger"
	"cardwright/verify/ledger/audit"
	"cardwright/verify/ledger/export"
	"cardwright/verify/ledger/ledgertest"
	"cardwright/verify/ledger/store"
)

// browser starts a headless Chromium; problems are what it complains of.
func browser(t *testing.T) (tab context.Context, requests *atomic.Int64, problems *[]string) {
	t.Helper()
	allocator, stop := chromedp.NewExecAllocator(context.Background(), append(chromedp.DefaultExecAllocatorOptions[:],
		chromedp.NoSandbox, chromedp.WSURLReadTimeout(time.Minute))...)
	t.Cleanup(stop)
	tab, closeTab := chromedp.NewContext(allocator)
	t.Cleanup(closeTab)
	tab, cancel := context.WithTimeout(tab, 2*time.Minute)
	t.Cleanup(cancel)
	requests, problems = &atomic.Int64{}, &[]string{}
	require.NoError(t, chromedp.Listen(tab, func(ev any) {
		switch ev := ev.(type) {
		case *network.EventRequestWillBeSent:
			requests.Add(1)
		case *runtime.EventExceptionThrown:
			*problems = append(*problems, ev.ExceptionDetails.Text)
		case *log.EventEntryAdded:
			*problems = append(*problems, ev.Entry.Text)
		}
	}), "these tests open the page in Chromium; install it (Debian: apt-get install chromium)")
	return tab, requests, problems
}

func writePage(t *testing.T) string {
	t.Helper()
	l, fleet, about := fleetOf(t)
	path := filepath.Join(t.TempDir(), "page.html")
	f, err := os.Create(path)
	require.NoError(t, err)
	require.NoError(t, export.HTML(f, about, fleet, stoodOf(t, l, fleet), func(v string) (audit.History, error) {
		return audit.OfVessel(ctx, l, v, time.Time{}, audit.Filter{})
	}))
	require.NoError(t, f.Close())
	return path
}

func TestThePageSortsAndTellsInABrowser(t *testing.T) {
	path := writePage(t)
	var served atomic.Int64
	server := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		served.Add(1)
		http.ServeFile(w, r, path)
	}))
	defer server.Close()
	tab, requests, problems := browser(t)
	require.NoError(t, chromedp.Do(tab, chromedp.EmulateViewport(1280, 900), chromedp.Navigate(server.URL), chromedp.WaitReady("#matrix")))

	assert.Equal(t, []string{"kittiwake-00002", "kittiwake-00001", "kittiwake-00000"}, ids(t, tab), "the worst first")
	click := func(heading string) {
		t.Helper()
		require.NoError(t, chromedp.Do(tab, chromedp.Click(chromedp.Search(`//thead//button[normalize-space()="`+heading+`"]`))))
	}
	click("Vessel")
	assert.Equal(t, []string{"kittiwake-00000", "kittiwake-00001", "kittiwake-00002"}, ids(t, tab))
	assert.Equal(t, "ascending", evaluate[string](t, tab, `document.querySelector("th[aria-sort]").getAttribute("aria-sort")`))

	// By version: unknown first, then in the order of versions, not of text.
	click("fennick-sweep-2")
	first := column(t, tab, "fennick-sweep-2")
	assert.Contains(t, first[0], "unknown")
	assert.Contains(t, first[2], "4.9")
	assert.Equal(t, 1, evaluate[int](t, tab, `document.querySelectorAll("th[aria-sort]").length`))
	click("fennick-sweep-2")
	last := column(t, tab, "fennick-sweep-2")
	assert.Equal(t, first[0], last[2])

	// From the keyboard.
	require.NoError(t, chromedp.Do(tab, chromedp.Focus(`thead th:nth-child(3) button`), chromedp.KeyEvent(kb.Enter)))
	assert.True(t, evaluate[bool](t, tab, `(() => { const w = document.querySelector(".wide"); w.scrollLeft = 1e6; const r = document.querySelector("#matrix tbody th").getBoundingClientRect(); return Math.abs(r.left - w.getBoundingClientRect().left) < 3; })()`), "the vessel stays in sight")
	assert.Equal(t, "ascending", evaluate[string](t, tab, `document.querySelector("thead th:nth-child(3)").getAttribute("aria-sort")`))
	assert.Equal(t, "kittiwake-00001", ids(t, tab)[0], "longest unread first")

	require.NoError(t, chromedp.Do(tab, chromedp.SendKeys("#find", "00002")))
	assert.Equal(t, 1, evaluate[int](t, tab, `[...document.querySelectorAll("#matrix tbody tr")].filter((r) => r.getClientRects().length).length`))
	assert.Equal(t, "1 of 3", evaluate[string](t, tab, `document.getElementById("shown").textContent`))

	assert.Equal(t, 3, evaluate[int](t, tab, `document.querySelectorAll("section.vessel ol.timeline").length`))
	assert.Equal(t, 14, evaluate[int](t, tab, `document.querySelectorAll("#vessel-3 ol.timeline li").length`))
	assert.Equal(t, 14, evaluate[int](t, tab, `document.querySelectorAll("#vessel-3 svg.strip circle").length`))
	assert.True(t, evaluate[bool](t, tab, `(() => { const t = [...document.querySelectorAll("#vessel-3 time")].map((x) => x.dateTime); return t.every((x, i) => i === 0 || t[i-1] <= x); })()`))
	told := evaluate[string](t, tab, `document.getElementById("vessel-3").textContent`)
	assert.Contains(t, told, "step done: radar, 1.0 to 1.10")
	assert.Contains(t, told, "corrected by")
	assert.Contains(t, told, "two versions: radar")

	// A hostile name is a name, and the page asks the network for nothing.
	assert.Contains(t, evaluate[string](t, tab, `document.getElementById("vessel-2").textContent`), evil)
	assert.Zero(t, evaluate[int](t, tab, `document.images.length`))
	assert.NotEqual(t, "taken", evaluate[string](t, tab, `document.title`))
	assert.EqualValues(t, 1, requests.Load(), "the page itself")
	assert.EqualValues(t, 1, served.Load())
	assert.Empty(t, *problems, "no script was refused or failed")
	if keep := os.Getenv("CARDWRIGHT_SHOTS"); keep != "" {
		require.NoError(t, chromedp.Do(tab, chromedp.Clear("#find")))
		shot(t, tab, keep, "fleet.png")
	}
}

func shot(t *testing.T, tab context.Context, dir, name string) {
	t.Helper()
	png, err := chromedp.Run(tab, chromedp.FullScreenshot(100))
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(filepath.Join(dir, name), png, 0o600))
}

// Printed, the page holds every cell of the matrix: poppler's pdftotext reads it
// back from what the browser prints.
func TestThePagePrintsWhole(t *testing.T) {
	path := writePage(t)
	tab, _, problems := browser(t)
	require.NoError(t, chromedp.Do(tab, chromedp.EmulateViewport(1280, 900), chromedp.Navigate("file://"+path), chromedp.WaitReady("#matrix")))
	printed, err := chromedp.Run(tab, chromedp.PrintToPDF(chromedp.PDFPreferCSSPageSize()))
	require.NoError(t, err)
	out := filepath.Join(t.TempDir(), "fleet.pdf")
	require.NoError(t, os.WriteFile(out, printed, 0o600))
	text, err := exec.Command("pdftotext", "-raw", out, "-").Output()
	require.NoError(t, err, "install poppler-utils")
	whole := strings.Join(strings.Fields(string(text)), "")
	cells := evaluate[[]string](t, tab, `[...document.querySelectorAll("#matrix tbody td div, #matrix tbody th")].map((c) => c.textContent)`)
	require.Greater(t, len(cells), 12)
	for _, cell := range cells {
		assert.Contains(t, whole, strings.Join(strings.Fields(cell), ""))
	}
	assert.Empty(t, *problems)
}

// 360 pixels are the narrowest phones in use; common practice, no source.
func TestThePageFitsAPhone(t *testing.T) {
	path := writePage(t)
	tab, _, problems := browser(t)
	require.NoError(t, chromedp.Do(tab, chromedp.EmulateViewport(360, 740), chromedp.Navigate("file://"+path), chromedp.WaitReady("#matrix")))
	assert.LessOrEqual(t, evaluate[int](t, tab, `document.documentElement.scrollWidth`), 360, "nothing scrolls sideways")
	assert.True(t, evaluate[bool](t, tab, `(() => { const w = document.querySelector(".wide"); return w.scrollWidth <= w.clientWidth + 1; })()`), "the matrix is cards")
	cut := evaluate[string](t, tab, `[...document.querySelectorAll("section.vessel *, header *")].filter((e) => !e.closest("svg") && e.getBoundingClientRect().right > 361).map((e) => e.tagName + " " + e.textContent.slice(0, 40)).join("; ")`)
	assert.Empty(t, cut, "nothing is cut off at the right")
	assert.Empty(t, *problems)
	if keep := os.Getenv("CARDWRIGHT_SHOTS"); keep != "" {
		shot(t, tab, keep, "fleet-phone.png")
	}
}

func evaluate[T any](t *testing.T, tab context.Context, js string) T {
	t.Helper()
	v, err := chromedp.Run(tab, chromedp.Evaluate[T](js))
	require.NoError(t, err)
	return v
}

func ids(t *testing.T, tab context.Context) []string {
	return evaluate[[]string](t, tab, `[...document.querySelectorAll("#matrix tbody tr")].map((r) => r.cells[0].dataset.sort)`)
}

func column(t *testing.T, tab context.Context, heading string) []string {
	return evaluate[[]string](t, tab, `(() => {
		const i = [...document.querySelectorAll("#matrix thead th")].findIndex((h) => h.textContent.trim() === "`+heading+`");
		return [...document.querySelectorAll("#matrix tbody tr")].map((r) => r.cells[i].textContent.trim());
	})()`)
}

func TestAPageThatWouldBeTooLongIsRefused(t *testing.T) {
	_, fleet, about := fleetOf(t)
	err := export.HTML(&strings.Builder{}, about, fleet, nil, func(string) (audit.History, error) {
		line := audit.Line{Entry: ledger.Entry{Kind: ledger.SettingsSaved, Settings: &ledger.Settings{Where: "x"}}}
		h := audit.History{}
		for range export.MaxLines/2 + 1 {
			h.Lines = append(h.Lines, line)
		}
		return h, nil
	})
	assert.ErrorIs(t, err, export.ErrTooLong)
}

// stoodOf is how the fleet got to where it is.
func stoodOf(t *testing.T, l *store.Ledger, fleet audit.Fleet) []audit.Stood {
	t.Helper()
	models := []*manifest.Model{{ID: "fennick-plot-12", Releases: []*manifest.Release{{Version: "99"}}}}
	stood, err := audit.OverTime(ctx, l, models, fleet, audit.Filter{}, ledgertest.Day(90), 12)
	require.NoError(t, err)
	return stood
}

// The picture of how the fleet got here ends where the fleet is, is given in
// words and in numbers, and every bar is as high as it has devices.
func TestThePageShowsHowTheFleetGotHere(t *testing.T) {
	l, fleet, _ := fleetOf(t)
	stood := stoodOf(t, l, fleet)
	require.Len(t, stood, 12)
	assert.Equal(t, fleet.Counts, stood[11].Counts, "the last moment is now")
	path := writePage(t)
	tab, _, problems := browser(t)
	require.NoError(t, chromedp.Do(tab, chromedp.EmulateViewport(1280, 900), chromedp.Navigate("file://"+path), chromedp.WaitReady("#matrix")))
	says := evaluate[string](t, tab, `document.querySelector("svg.over").getAttribute("aria-label")`)
	assert.Regexp(t, `^How the fleet got here\. On \d{4}-\d\d-\d\d, of \d+ devices: .*\. On \d{4}-\d\d-\d\d, of 15 devices: .*\d+ unlisted`, says)
	high := evaluate[map[string]float64](t, tab, `(() => { const all = {}; for (const r of document.querySelectorAll("svg.over rect")) if (Number(r.getAttribute("x")) > 580) all[r.getAttribute("class")] = Number(r.getAttribute("height")); return all; })()`)
	for status, n := range stood[11].Counts {
		assert.InDelta(t, 200*float64(n)/15, high[string(status)], 0.1, status)
	}
	cells := evaluate[[]string](t, tab, `[...document.querySelectorAll("table.numbers tbody tr:last-child td")].map((c) => c.textContent)`)
	for i, status := range audit.Statuses {
		assert.Equal(t, strconv.Itoa(stood[11].Counts[status]), cells[i], status)
	}
	assert.Equal(t, 12, evaluate[int](t, tab, `document.querySelectorAll("table.numbers tbody tr").length`))
	assert.Empty(t, *problems)
}

// axe-core, an outside judge of accessibility, finds nothing on the fleet's page,
// on a phone and a desk, light and dark, nor is anything out of the keyboard's reach.
func TestThePageIsAccessible(t *testing.T) {
	axe, err := os.ReadFile("../../../testdata/web/node_modules/axe-core/axe.min.js")
	require.NoError(t, err, "axe-core isn't here: run npm ci --prefix testdata/web, as make test does")
	path := writePage(t)
	tab, _, problems := browser(t)
	for _, wide := range []int64{390, 1280} {
		require.NoError(t, chromedp.Do(tab, chromedp.EmulateViewport(wide, 900), chromedp.Navigate("file://"+path), chromedp.WaitReady("#matrix")))
		evaluate[bool](t, tab, string(axe)+"; document.querySelectorAll('details').forEach((d) => { d.open = true; }); true")
		for _, scheme := range []string{"light", "dark"} {
			_, err := chromedp.Call(tab, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{
				Features: []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: scheme}},
			})
			require.NoError(t, err)
			report, err := chromedp.Run(tab, chromedp.Evaluate[struct {
				Violations []struct {
					ID    string
					Nodes []struct{ HTML string }
				}
				Passes []struct{ ID string }
			}](`axe.run(document)`, chromedp.EvalAwaitPromise))
			require.NoError(t, err)
			assert.Empty(t, report.Violations, "%d %s", wide, scheme)
			assert.Greater(t, len(report.Passes), 10)
		}
	}
	want := evaluate[[]string](t, tab, `[...document.querySelectorAll("a, button, input, summary")].filter((e) => e.getClientRects().length).map((e) => e.textContent || e.id)`)
	var got []string
	for range len(want) + 2 {
		require.NoError(t, chromedp.Do(tab, chromedp.KeyEvent(kb.Tab)))
		got = append(got, evaluate[string](t, tab, `document.activeElement.textContent || document.activeElement.id`))
	}
	assert.Subset(t, got, want)
	assert.Empty(t, *problems)
}
