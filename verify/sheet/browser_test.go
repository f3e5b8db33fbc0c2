package sheet_test

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/cdproto/browser"
	"github.com/chromedp/cdproto/emulation"
	cdplog "github.com/chromedp/cdproto/log"
	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/cdproto/runtime"
	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"cardwright/verify/ledger/record"
	"cardwright/verify/sheet"
)

// The pages are judged in Chromium (Debian's package chromium), and their
// accessibility by axe-core, of which testdata/web pins the version.
const axeFile = "../../testdata/web/node_modules/axe-core/axe.min.js"

// chrome starts one browser for all tests of the package.
var chrome = sync.OnceValues(func() (context.Context, error) {
	var path string
	for _, name := range []string{"chromium", "chromium-browser", "google-chrome"} {
		if found, err := exec.LookPath(name); err == nil {
			path = found
			break
		}
	}
	if path == "" {
		return nil, fmt.Errorf("no Chromium here to judge the pages: install the package chromium")
	}
	options := append(chromedp.DefaultExecAllocatorOptions[:], chromedp.ExecPath(path), chromedp.NoSandbox)
	all, stop := chromedp.NewExecAllocator(context.Background(), options...)
	ctx, _ := chromedp.NewContext(all)
	stopBrowser = stop
	return ctx, chromedp.Do(ctx)
})

var stopBrowser = func() {}

func TestMain(m *testing.M) {
	code := m.Run()
	stopBrowser()
	os.Exit(code)
}

// tab is a page of the browser, and what went wrong on it.
type tab struct {
	t   *testing.T
	ctx context.Context
	mu  sync.Mutex
	bad []string
}

// open shows an install order as a file, as a phone does, in a tab of a given
// width.
func open(t *testing.T, in sheet.Input, wide int64) *tab {
	t.Helper()
	return openSheet(t, made(t, in), wide)
}

func openSheet(t *testing.T, s sheet.Sheet, wide int64) *tab {
	t.Helper()
	data, err := sheet.HTML(s, sheet.A4)
	require.NoError(t, err)
	path := filepath.Join(t.TempDir(), "order.html")
	require.NoError(t, os.WriteFile(path, data, 0o600))
	parent, err := chrome()
	require.NoError(t, err)
	ctx, cancel := chromedp.NewContext(parent)
	t.Cleanup(cancel)
	ctx, cancelTime := context.WithTimeout(ctx, 2*time.Minute)
	t.Cleanup(cancelTime)
	b := &tab{t: t, ctx: ctx}
	require.NoError(t, chromedp.Do(parent))
	require.NoError(t, chromedp.Listen(ctx, b.listen))
	_, err = chromedp.Call(ctx, network.Enable, network.EnableParams{})
	require.NoError(t, err)
	_, err = chromedp.Call(ctx, emulation.SetDeviceMetricsOverride, emulation.SetDeviceMetricsOverrideParams{
		Width: wide, Height: 740, DeviceScaleFactor: 1, Mobile: wide < 600,
	})
	require.NoError(t, err)
	b.do(chromedp.Navigate("file://" + path))
	eval[chromedp.Void](b, `localStorage.clear()`)
	b.do(chromedp.Reload())
	return b
}

// listen notes everything that a page must not do.
func (b *tab) listen(event any) {
	note := func(format string, args ...any) {
		b.mu.Lock()
		defer b.mu.Unlock()
		b.bad = append(b.bad, fmt.Sprintf(format, args...))
	}
	switch e := event.(type) {
	case *page.EventJavascriptDialogOpening:
		note("dialog: %s", e.Message)
		go func() {
			_, _ = chromedp.Call(b.ctx, page.HandleJavaScriptDialog, page.HandleJavaScriptDialogParams{})
		}()
	case *runtime.EventExceptionThrown:
		note("exception: %v", e.ExceptionDetails)
	case *runtime.EventConsoleAPICalled:
		note("console: %v", e.Args)
	case *cdplog.EventEntryAdded:
		note("log: %s", e.Entry.Text)
	case *network.EventRequestWillBeSent:
		inPage := []string{"file://", "blob:", "data:image/png;"}
		if !slices.ContainsFunc(inPage, func(scheme string) bool { return strings.HasPrefix(e.Request.URL, scheme) }) {
			note("request: %s", e.Request.URL)
		}
	}
}

func (b *tab) do(actions ...chromedp.Action[chromedp.Void]) {
	b.t.Helper()
	require.NoError(b.t, chromedp.Do(b.ctx, actions...))
}

func eval[T any](b *tab, script string, options ...chromedp.EvaluateOption) T {
	b.t.Helper()
	out, err := chromedp.Run(b.ctx, chromedp.Evaluate[T](script, options...))
	require.NoError(b.t, err)
	return out
}

// clean fails the test when the page did what it must not.
func (b *tab) clean() {
	b.t.Helper()
	b.mu.Lock()
	defer b.mu.Unlock()
	assert.Empty(b.t, b.bad)
}

// saved presses the button and gives the file that the browser keeps.
func (b *tab) saved() []byte {
	b.t.Helper()
	folder := b.t.TempDir()
	_, err := chromedp.CallBrowser(b.ctx, browser.SetDownloadBehavior, browser.SetDownloadBehaviorParams{
		Behavior: browser.SetDownloadBehaviorBehaviorAllowAndName, DownloadPath: folder, EventsEnabled: new(true),
	})
	require.NoError(b.t, err)
	progress := chromedp.BrowserEvents(b.ctx, browser.DownloadProgress)
	b.do(chromedp.Click(chromedp.CSS("#save")))
	for e, err := range progress {
		require.NoError(b.t, err)
		require.NotEqual(b.t, browser.DownloadProgressStateCanceled, e.State)
		if e.State == browser.DownloadProgressStateCompleted {
			data, err := os.ReadFile(filepath.Join(folder, e.GUID))
			require.NoError(b.t, err)
			return data
		}
	}
	require.Fail(b.t, "nothing was saved")
	return nil
}

// fillIn works through Kittiwake's order as a technician would.
func (b *tab) fillIn() {
	b.t.Helper()
	// By the element and not by its place, which moves when a version differs.
	click := func(selector string) chromedp.Action[chromedp.Void] {
		return chromedp.Evaluate[chromedp.Void]("document.querySelector(`" + selector + "`).click()")
	}
	write := func(id, text string) chromedp.Action[chromedp.Void] {
		return chromedp.SendKeys(chromedp.CSS("#"+id), text)
	}
	eval[chromedp.Void](b, `document.querySelectorAll("details.fold").forEach((d) => { d.open = true; })`)
	b.do(
		click("#leave-cards"),
		write("start-settings-where", `on the shop's own card "7"`),
		write("before-1", "v3.1-40"), write("before-2", "1.6"), write("before-3", "2.6"),
		write("after-1", "4.0-12"), write("took-1", "23"), click(`input[name="result-1"][value="done"]`),
		write("after-2", "1.6"), click(`input[name="result-2"][value="failed"]`), write("note-2", "error 17 </script>"),
		click(`input[name="result-3"][value="put off"]`),
		click(`input[name="check-1"][value="passed"]`), write("value-1", "all 212"),
	)
}

func TestHTMLKeepsWhatIsFilledIn(t *testing.T) {
	b := open(t, provenKittiwake(), 360)
	b.fillIn()
	b.do(chromedp.Reload())
	got := eval[struct {
		Tick, Other          bool
		After, Note, Checked string
	}](b, `({tick: document.getElementById("leave-cards").checked, other: document.getElementById("leave-kit").checked,
		after: document.getElementById("after-1").value, note: document.getElementById("note-2").value,
		checked: document.querySelector("input[name='result-2']:checked").value})`)
	assert.True(t, got.Tick)
	assert.False(t, got.Other)
	assert.Equal(t, "4.0-12", got.After)
	assert.Equal(t, "error 17 </script>", got.Note)
	assert.Equal(t, "failed", got.Checked)
	b.clean()
}

func TestHTMLExport(t *testing.T) {
	b := open(t, provenKittiwake(), 360)
	b.fillIn()
	data := b.saved()
	form, err := record.ReadJSON(data)
	require.NoError(t, err)
	assert.Equal(t, "kittiwake", form.Vessel)
	assert.Equal(t, provenKittiwake().Plan.ID(), form.Plan)
	assert.Equal(t, "T. Arkwright", form.By)
	assert.Equal(t, `on the shop's own card "7"`, form.SettingsSaved)
	assert.Equal(t, []record.FilledStep{
		{Number: 1, Device: "flybridge", Before: "3.1-40", After: "4.0-12", Result: "done", Minutes: 23},
		{Number: 2, Device: "radar", Before: "1.6", After: "1.6", Result: "failed", Note: "error 17 </script>"},
		{Number: 3, Device: "pilot", Before: "2.6", Result: "put off"},
	}, form.Steps)
	assert.Equal(t, record.FilledCheck{Device: "flybridge", Check: "settings and waypoints", Result: "passed", Value: "all 212"}, form.Checks[0])
	assert.Empty(t, form.Checks[1].Result)
	assert.Equal(t, sheet.FormFormat, form.Format, "earlier builds read a form that says nothing of who agreed")
	assert.Empty(t, form.ApprovedBy+form.Told)
	validForm(t, data)

	b.do(chromedp.Click(chromedp.CSS("#copy summary"))) // the same as text, for a browser that saves nothing
	_, err = chromedp.Run(b.ctx, chromedp.Poll[bool](`document.getElementById("filled").value !== ""`))
	require.NoError(t, err)
	shown := eval[string](b, `document.getElementById("filled").value`)
	assert.Equal(t, string(data), shown)
	b.clean()
}

// A version that isn't the one wanted is reported in words.
func TestHTMLTellsWrongVersions(t *testing.T) {
	b := open(t, provenKittiwake(), 360)
	b.fillIn()
	told := eval[map[string]string](b, `Object.fromEntries([...document.querySelectorAll(".differs > span:not([hidden])")].map((s) => [s.parentElement.id, s.textContent]))`)
	assert.Equal(t, map[string]string{"after-2-differs": "Not 1.10: this step isn't done."}, told)
	b.clean()

	b = open(t, unread(), 360)
	b.do(chromedp.SendKeys(chromedp.CSS("#read-2"), "1.8"), chromedp.SendKeys(chromedp.CSS("#read-3"), "2.6"))
	told = eval[map[string]string](b, `Object.fromEntries([...document.querySelectorAll(".differs > span:not([hidden])")].map((s) => [s.parentElement.id, s.textContent]))`)
	assert.Equal(t, map[string]string{
		"read-2-differs": "The vessel file says 1.6. Stop: install nothing, correct the vessel file and plan again.",
	}, told, "the pilot's version was unknown")
	b.clean()
}

// On a phone's screen nothing overflows, and everything to be touched is at
// least 44 CSS pixels high (WCAG 2.2, 2.5.5 and 1.4.10): wet hands, a moving boat.
func TestHTMLFitsAPhone(t *testing.T) {
	for name, in := range map[string]sheet.Input{"three": provenKittiwake(), "forty": provenMorvenRose(), "hostile": hostile(), "bad": bad()} {
		for _, wide := range []int64{320, 390} {
			t.Run(fmt.Sprint(name, wide), func(t *testing.T) {
				b := open(t, in, wide)
				over := eval[[]string](b, fmt.Sprintf(`[...document.querySelectorAll("body *")].filter((e) => {
					const box = e.getBoundingClientRect();
					return box.width > 1 && (box.right > %d || box.left < 0 || e.scrollWidth > e.clientWidth + 1 && getComputedStyle(e).overflow === "visible" && e.clientWidth > 1);
				}).map((e) => e.tagName + "#" + e.id + " " + e.textContent.slice(0, 40))`, wide))
				assert.Empty(t, over)
				assert.LessOrEqual(t, eval[int64](b, `document.documentElement.scrollWidth`), wide)
				tiny := eval[[]string](b, `[...document.querySelectorAll("a, button, input, summary, textarea")].filter((e) => {
					const box = (e.type === "radio" || e.type === "checkbox" ? e.closest("label") : e).getBoundingClientRect();
					return box.width > 0 && (box.width < 44 || box.height < 44);
				}).map((e) => e.tagName + "#" + e.id)`)
				assert.Empty(t, tiny)
				b.clean()
			})
		}
	}
}

// axe-core, an outside judge of accessibility, finds no violation, at any of
// its levels and best practices, on a phone and a desk, light and dark.
func TestHTMLAccessibility(t *testing.T) {
	for name, in := range map[string]sheet.Input{
		"good": provenKittiwake(), "forty": provenMorvenRose(), "bad": bad(), "hostile": hostile(),
	} {
		for _, wide := range []int64{390, 1280} {
			in.Style.Language = map[int64]string{390: "en", 1280: "de"}[wide]
			b := open(t, in, wide)
			if name == "good" {
				b.fillIn()
			}
			b.accessible(fmt.Sprint(name, wide))
		}
	}
	for name, of := range otherSheets {
		for _, wide := range []int64{390, 1280} {
			language := map[int64]string{390: "de", 1280: "en"}[wide]
			openSheet(t, of(t, language), wide).accessible(fmt.Sprint(name, wide))
		}
	}
}

// otherSheets are the pages that aren't install orders, in a language.
var otherSheets = map[string]func(*testing.T, string) sheet.Sheet{
	"survey": surveyOf, "report": reportOf, "trial": trialOf,
}

// accessible lets axe-core judge the page, light and dark.
func (b *tab) accessible(name string) {
	b.t.Helper()
	axe, err := os.ReadFile(axeFile)
	require.NoError(b.t, err, "axe-core isn't here: run npm ci --prefix testdata/web, as make test does")
	eval[bool](b, string(axe)+"; true")
	for _, scheme := range []string{"light", "dark"} {
		_, err := chromedp.Call(b.ctx, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{
			Features: []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: scheme}},
		})
		require.NoError(b.t, err)
		report := eval[struct {
			Violations []struct {
				ID    string
				Help  string
				Nodes []struct{ HTML string }
			}
			Passes []struct{ ID string }
		}](b, `axe.run(document)`, chromedp.EvalAwaitPromise)
		assert.Empty(b.t, report.Violations, name+" "+scheme)
		assert.Greater(b.t, len(report.Passes), 10, "the judge looked at the page")
	}
}

// everyField fills in every field of the page with a value of its own, and
// leaves no choice open.
const everyField = `(() => {
	document.querySelectorAll("details.fold").forEach((d) => { d.open = true; });
	const order = document.getElementById("order");
	let n = 0;
	for (const f of order.elements) {
		if (f.type === "text") f.value = f.id.startsWith("took-") ? String(++n) : (f.dataset.want && f.id.startsWith("after-") ? f.dataset.want : "v " + (++n)).slice(0, f.maxLength);
	}
	for (const f of order.elements) {
		if (f.type === "checkbox" && !f.checked) f.click();
		if (f.type === "radio" && f.value !== "not done" && f.value !== "put off") f.click();
	}
	order.querySelector("input[type=text]").dispatchEvent(new Event("input", { bubbles: true }));
})()`

// filledIn are all fields of the page with what they hold.
const filledIn = `Object.fromEntries([...document.getElementById("order").elements]
	.filter((f) => f.type === "text" || f.type === "checkbox" || f.type === "radio")
	.map((f) => [f.type === "radio" ? f.name + "=" + f.value : f.id, f.type === "text" ? f.value : String(f.checked)]))`

// openFile gives the page a file as its chooser would.
func (b *tab) openFile(name, text string) {
	b.t.Helper()
	quoted, err := json.Marshal(text)
	require.NoError(b.t, err)
	eval[chromedp.Void](b, `(() => {
		const files = new DataTransfer();
		files.items.add(new File([`+string(quoted)+`], `+"`"+name+"`"+`, { type: "application/json" }));
		const chooser = document.getElementById("open");
		document.getElementById("saved").textContent = "";
		chooser.files = files.files;
		chooser.dispatchEvent(new Event("change", { bubbles: true }));
	})()`)
	_, err = chromedp.Run(b.ctx, chromedp.Poll[bool](`document.getElementById("saved").textContent !== ""`))
	require.NoError(b.t, err)
}

func (b *tab) said() string {
	return eval[string](b, `document.getElementById("saved").textContent`)
}

// Everything that can be filled in is in the file, and comes back from it, on a
// page that has forgotten it; record reads the same file.
func TestHTMLSavesEverythingAndOpensIt(t *testing.T) {
	b := open(t, provenKittiwake(), 390)
	eval[chromedp.Void](b, everyField)
	was := eval[map[string]string](b, filledIn)
	require.Greater(t, len(was), 60)
	for id, value := range was {
		if !strings.Contains(id, "=") {
			assert.NotContains(t, []string{"", "false"}, value, "%s is filled in", id)
		}
	}
	data := b.saved()
	validForm(t, data)
	form, err := record.ReadJSON(data)
	require.NoError(t, err)
	assert.Equal(t, was["note-1"], form.Steps[0].Note)
	assert.Equal(t, record.Format, form.Format)
	assert.Equal(t, was["approved_by"], form.ApprovedBy)
	assert.Equal(t, was["told"], form.Told)

	eval[chromedp.Void](b, `localStorage.clear()`)
	b.do(chromedp.Reload())
	require.NotEqual(t, was, eval[map[string]string](b, filledIn))
	b.openFile("kittiwake.json", string(data))
	assert.Equal(t, was, eval[map[string]string](b, filledIn))
	assert.Regexp(t, `^Opened: \d+ entries\.$`, b.said())

	// A file of an earlier build has the steps and checks alone.
	var earlier map[string]any
	require.NoError(t, json.Unmarshal(data, &earlier))
	delete(earlier, "page")
	earlier["format"] = 1
	text, err := json.Marshal(earlier)
	require.NoError(t, err)
	b.openFile("earlier.json", string(text))
	now := eval[map[string]string](b, filledIn)
	for _, id := range []string{"by", "before-1", "after-1", "took-1", "note-1", "value-1", "approved_by", "told", "result-1=failed", "check-1=failed"} {
		assert.Equal(t, was[id], now[id], id)
	}
	b.clean()
}

// What is in a file that is opened is hostile: it fills in fields of this page
// with text, or nothing; and one of another boat or plan isn't taken.
func TestHTMLOpensNoStrangersFile(t *testing.T) {
	b := open(t, provenKittiwake(), 390)
	plan := provenKittiwake().Plan.ID()
	blank := eval[map[string]string](b, filledIn)
	for text, says := range map[string]string{
		"":                                      "That file isn't a saved install order",
		"null":                                  "That file isn't a saved install order",
		"{\"vessel\":\"kittiwake\",\"plan\":7}": "That file isn't a saved install order",
		`{"vessel":"skerry-light","plan":"` + plan + `"}`:                                     "That file is for skerry-light",
		`{"vessel":"kittiwake","plan":"` + strings.Repeat("0", 64) + `"}`:                     "another boat or plan",
		`{"vessel":"<img src=x onerror=alert(1)>` + strings.Repeat("x", 500) + `","plan":""}`: "That file is for <img src=x onerror=alert(1)>",
		strings.Repeat(" ", 5<<20):                                                            "That file isn't a saved install order",
		`{"vessel":"kittiwake","plan":"` + plan + `","page":[{"id":"__proto__","value":"x"},{"id":"nowhere","value":"x"},{"id":"by","value":{"a":1}},{"id":"leave-cards","value":true},7]}`: "",
	} {
		b.openFile("file.json", text)
		assert.Contains(t, b.said(), says)
		assert.Equal(t, blank, eval[map[string]string](b, filledIn), "%.60s", text)
		assert.LessOrEqual(t, len(b.said()), 220)
	}
	b.openFile("long.json", `{"vessel":"kittiwake","plan":"`+plan+`","page":[{"id":"note-1","value":"`+strings.Repeat("<b>", 500)+`"}]}`)
	assert.Len(t, eval[string](b, `document.getElementById("note-1").value`), 200)
	assert.Zero(t, eval[int](b, `document.querySelectorAll("b, img").length`))
	b.clean()
}

// A step that doesn't show its version can't be ticked as done without a reason,
// and a choice can be taken back.
func TestHTMLDoneNeedsTheVersionOrAReason(t *testing.T) {
	b := open(t, provenKittiwake(), 390)
	done := func() bool {
		return eval[bool](b, `document.querySelector("input[name=result-1][value=done]").checked`)
	}
	tick := func() { eval[chromedp.Void](b, `document.querySelector("input[name=result-1][value=done]").click()`) }
	told := func() bool { return eval[bool](b, `!document.querySelector("#reason-1 > span").hidden`) }
	tick()
	assert.False(t, done(), "nothing was read")
	assert.True(t, told())
	b.do(chromedp.SendKeys(chromedp.CSS("#after-1"), "3.1-40"))
	tick()
	assert.False(t, done(), "another version")
	b.do(chromedp.SendKeys(chromedp.CSS("#note-1"), "screen says 4.0-12 only in the engineer's page"))
	tick()
	assert.True(t, done(), "with a reason")
	assert.False(t, told())
	write := func(id, text string) {
		eval[chromedp.Void](b, `(() => { const f = document.getElementById("`+id+`"); f.value = "`+text+`"; f.dispatchEvent(new Event("input", { bubbles: true })); })()`)
	}
	write("note-1", "")
	assert.False(t, done(), "the reason was taken away")
	write("after-1", "v4.0-12")
	tick()
	assert.True(t, done(), "the right version")
	assert.Equal(t, "Now: Step 2: radar", eval[string](b, `document.getElementById("now").textContent`))
	eval[chromedp.Void](b, `document.querySelector("#step-1 button.back").click()`)
	assert.False(t, done(), "taken back")
	assert.Equal(t, "Now: Step 1: flybridge", eval[string](b, `document.getElementById("now").textContent`))
	assert.True(t, eval[bool](b, `document.querySelector("#step-1 button.back").hidden`))
	b.clean()
}

// The first step stands within two screens of a phone, and from everywhere the
// current step, "If a step fails" and the phone are one tap away.
func TestHTMLAtTheHelm(t *testing.T) {
	for name, in := range map[string]sheet.Input{"three": provenKittiwake(), "demo": demo(t, "kittiwake"), "forty": provenMorvenRose()} {
		t.Run(name, func(t *testing.T) {
			b := open(t, in, 390)
			top := eval[float64](b, `document.getElementById("step-1").getBoundingClientRect().top`)
			assert.Less(t, top, 2*740.0)
			bar := eval[[]string](b, `[...document.querySelectorAll("#bar a")].map((a) => a.getAttribute("href"))`)
			require.Len(t, bar, 3)
			assert.Equal(t, "#step-1", bar[0])
			assert.Equal(t, "#fails", bar[1])
			assert.Regexp(t, `^tel:[0-9]{9,}$`, bar[2])
			eval[chromedp.Void](b, `scrollTo(0, document.body.scrollHeight)`)
			assert.True(t, eval[bool](b, `[...document.querySelectorAll("#bar a")].every((a) => { const r = a.getBoundingClientRect(); return r.bottom <= innerHeight && r.top >= 0 && r.height >= 44 && r.width >= 44; })`))
			b.clean()
		})
	}
}

// By the keyboard alone: every field is reached by the tab key, none is hidden
// by the bar, a box is ticked, a choice made, taken back, and the file saved.
func TestHTMLByKeyboard(t *testing.T) {
	b := open(t, provenKittiwake(), 390)
	eval[chromedp.Void](b, `document.querySelectorAll("details").forEach((d) => { d.open = true; })`)
	want := eval[[]string](b, `(() => { const seen = new Set(); return [...document.querySelectorAll("a, button, input, summary, textarea")]
		.filter((e) => e.getClientRects().length).map((e) => e.type === "radio" ? e.name : e.id || e.textContent)
		.filter((n) => !seen.has(n) && seen.add(n)); })()`)
	var got []string
	covered := 0
	for range len(want) + 40 {
		b.do(chromedp.KeyEvent(kb.Tab))
		at := eval[struct {
			Name    string
			Covered bool
		}](b, `(() => { const e = document.activeElement; const r = e.getBoundingClientRect(); const bar = document.getElementById("bar").getBoundingClientRect();
			return { name: e.type === "radio" ? e.name : e.id || e.textContent, covered: e.closest("#bar") === null && r.bottom > bar.top + 1 && r.height < 200 }; })()`)
		got = append(got, at.Name)
		if at.Covered {
			covered++
		}
	}
	assert.Subset(t, got, want)
	assert.Zero(t, covered, "what has the focus is in sight")
	key := func(selector, k string) chromedp.Action[chromedp.Void] {
		eval[chromedp.Void](b, `document.querySelector(`+"`"+selector+"`"+`).focus()`)
		return chromedp.KeyEvent(k)
	}
	b.do(key("#leave-cards", " "))
	assert.True(t, eval[bool](b, `document.getElementById("leave-cards").checked`))
	b.do(key(`input[name="result-2"]`, kb.ArrowDown))
	assert.Equal(t, "failed", eval[string](b, `document.querySelector("input[name=result-2]:checked").value`))
	b.do(key("#step-2 button.back", kb.Enter))
	assert.Zero(t, eval[int](b, `document.querySelectorAll("input[name=result-2]:checked").length`))
	b.clean()
}

// The other pages by the keyboard alone: every control that shows is reached by the
// tab key, in the order of the page, in sight, and the focus is seen on it; no
// control holds the focus. The whole page can be read by its keys.
func TestOtherPagesByKeyboard(t *testing.T) {
	for name, of := range otherSheets {
		t.Run(name, func(t *testing.T) {
			b := openSheet(t, of(t, sheet.English), 390)
			eval[chromedp.Void](b, `document.querySelectorAll("details").forEach((d) => { d.open = true; })`)
			want := eval[[]string](b, controls)
			assert.Equal(t, name == "report", len(want) == 0, "a report has nothing to fill in")
			b.do(chromedp.KeyEvent(kb.End))
			_, err := chromedp.Run(b.ctx, chromedp.Poll[bool](`scrollY + innerHeight >= document.documentElement.scrollHeight - 2`))
			require.NoError(t, err, "the keys reach the end of the page")
			got := []string{}
			for range want {
				b.do(chromedp.KeyEvent(kb.Tab))
				at := eval[struct {
					Name                  string
					Covered, Off, Unshown bool
				}](b, focused)
				got = append(got, at.Name)
				assert.False(t, at.Covered, "%s lies under the bar", at.Name)
				assert.False(t, at.Off, "%s is out of sight", at.Name)
				assert.False(t, at.Unshown, "nothing shows that %s has the focus", at.Name)
			}
			assert.Equal(t, want, got)
			b.clean()
		})
	}
}

// controlName is what a control is known by to the tests; one of several choices
// stands for all, as it does for the tab key.
const controlName = `const name = (e) => e.type === "radio" ? e.name : e.id || e.textContent.trim();`

// controls are the names of what can have the focus, in the order of the page.
const controls = `(() => { ` + controlName + ` const seen = new Set();
	return [...document.querySelectorAll("a[href], button, input, select, summary, textarea, [tabindex='0']")]
		.filter((e) => e.getClientRects().length && !e.disabled).map(name).filter((n) => !seen.has(n) && seen.add(n)); })()`

// focused is what has the focus, and whether it can be seen that it has.
const focused = `(() => { ` + controlName + ` const e = document.activeElement; const r = e.getBoundingClientRect(); const style = getComputedStyle(e);
	const bar = document.getElementById("bar")?.getBoundingClientRect();
	return { name: name(e), covered: !!bar && e.closest("#bar") === null && r.bottom > bar.top + 1 && r.height < 200,
		off: r.bottom <= 0 || r.top >= innerHeight, unshown: style.outlineStyle === "none" && style.boxShadow === "none" }; })()`

// A hostile vessel name, berth, place, file name, technician and note do
// nothing: no dialog, no exception, no request, no element of theirs.
func TestHTMLHostileTextDoesNothing(t *testing.T) {
	b := open(t, hostile(), 360)
	found := eval[struct {
		Scripts, Images, Bold int
		Heading               string
		File                  bool
	}](b, `({scripts: document.scripts.length, images: document.images.length, bold: document.querySelectorAll("b").length,
		heading: document.querySelector("h1 .vessel").textContent,
		file: document.body.textContent.includes("'><script>alert(2)</script>.upd")})`)
	assert.Equal(t, 2, found.Scripts, "the form's data and the page's own script")
	assert.Zero(t, found.Images)
	assert.Zero(t, found.Bold)
	assert.Equal(t, `<script>alert("boat")</script>‹U+202E›etik`, found.Heading)
	assert.True(t, found.File)
	b.clean()
	b.do(chromedp.SendKeys(chromedp.CSS("#note-1"), `"><img src=x onerror=alert(1)>`), chromedp.Reload())
	kept := eval[string](b, `document.getElementById("note-1").value`)
	assert.Equal(t, `"><img src=x onerror=alert(1)>`, kept)
	form, err := record.ReadJSON(b.saved())
	require.NoError(t, err)
	assert.Equal(t, kept, form.Steps[0].Note)
	b.clean()
}

// Were the escaping to fail, the page's policy still lets no script in: one put
// into the page by force doesn't run.
func TestHTMLPolicy(t *testing.T) {
	b := open(t, provenKittiwake(), 360)
	eval[chromedp.Void](b, `document.body.insertAdjacentHTML("beforeend", "<img src=x onerror='window.hit = 1'>");
		const s = document.createElement("script"); s.textContent = "window.hit = 2"; document.body.append(s);`)
	b.do(chromedp.Sleep(300 * time.Millisecond))
	assert.False(t, eval[bool](b, `"hit" in window`))
	b.mu.Lock()
	defer b.mu.Unlock()
	assert.Contains(t, strings.Join(b.bad, "\n"), "Content Security Policy", "the browser says why")
}

// What was kept by somebody else under the page's key can't break it.
func TestHTMLSurvivesWhatIsKept(t *testing.T) {
	for _, kept := range []string{"[", "null", "7", `{"after-1": {"a": 1}, "__proto__": {"x": 1}, "leave-cards": "yes"}`} {
		b := open(t, provenKittiwake(), 360)
		quoted, err := json.Marshal(kept)
		require.NoError(t, err)
		b.do(chromedp.SendKeys(chromedp.CSS("#by"), "x"))
		eval[chromedp.Void](b, `for (const key of Object.keys(localStorage)) localStorage.setItem(key, `+string(quoted)+`)`)
		b.do(chromedp.Reload())
		assert.Empty(t, eval[string](b, `document.getElementById("after-1").value`))
		b.clean()
	}
}

// Printed from the browser, the page is on the paper it was made for, and each
// page says what it belongs to.
func TestHTMLPrints(t *testing.T) {
	for _, paper := range []sheet.Paper{sheet.A4, sheet.Letter} {
		t.Run(string(paper), func(t *testing.T) {
			in := provenMorvenRose()
			b := open(t, in, 1024)
			data, err := sheet.HTML(made(t, in), paper)
			require.NoError(t, err)
			path := filepath.Join(t.TempDir(), "order.html")
			require.NoError(t, os.WriteFile(path, data, 0o600))
			b.do(chromedp.Navigate("file://" + path))
			printed, err := chromedp.Run(b.ctx, chromedp.PrintToPDF(chromedp.PDFPreferCSSPageSize()))
			require.NoError(t, err)
			out := filepath.Join(t.TempDir(), "printed.pdf")
			require.NoError(t, os.WriteFile(out, printed, 0o600))
			want := map[sheet.Paper]string{sheet.A4: `Page size: +59[45]\.\d+ x 84[12]\.\d+ pts`, sheet.Letter: `Page size: +612 x 792 pts`}
			assert.Regexp(t, want[paper], run(t, "pdfinfo", out))
			raw := run(t, "pdftotext", "-raw", out, "-")
			pages := strings.Split(strings.TrimSuffix(raw, "\f"), "\f")
			for i, p := range pages {
				foot := strings.Join(strings.Fields(made(t, in).Foot), " ")
				assert.Contains(t, strings.Join(strings.Fields(p), " "), foot, "page %d", i+1)
				assert.Contains(t, p, fmt.Sprintf("page %d of %d", i+1, len(pages)))
				assert.Contains(t, p, "✔ GOOD", "page %d", i+1)
			}
			whole := squeezed(raw)
			for _, s := range in.Plan.Steps {
				assert.Contains(t, whole, squeezed(string(s.From)+" → "+string(s.To)))
				assert.Contains(t, whole, squeezed(s.Files[0].Name))
			}
			assert.NotContains(t, raw, "Save as a file", "what is for the screen only isn't printed")
		})
	}
}

// The square code on the screen is read by zbarimg too.
func TestHTMLSquareCode(t *testing.T) {
	b := open(t, provenKittiwake(), 360)
	picture, err := chromedp.Run(b.ctx, chromedp.Screenshot(chromedp.CSS(".code")))
	require.NoError(t, err)
	path := filepath.Join(t.TempDir(), "code.png")
	require.NoError(t, os.WriteFile(path, picture, 0o600))
	c := good(1, 1)
	assert.Equal(t, fmt.Sprintf("card 1 of 1\ndigest %s\nrecord %s\n", c.Digest, c.Record), run(t, "zbarimg", "--quiet", "--raw", "--nodbus", path))
}

func TestHTMLSameBytes(t *testing.T) {
	s := made(t, provenMorvenRose())
	a, err := sheet.HTML(s, sheet.Letter)
	require.NoError(t, err)
	b, err := sheet.HTML(s, sheet.Letter)
	require.NoError(t, err)
	assert.True(t, bytes.Equal(a, b))
	assert.NotRegexp(t, `https?://|src=|url\(`, string(a[:bytes.Index(a, []byte("<main>"))])+string(a[bytes.LastIndex(a, []byte("</main>")):]), "it fetches nothing")
}
