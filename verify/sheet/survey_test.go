package sheet_test

import (
	"bytes"
	"encoding/json"
	"math"
	"os"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"cardwright/manifest/problem"
	"cardwright/verify"
	"cardwright/verify/ledger/record"
	"cardwright/verify/seatrial"
	"cardwright/verify/seatrial/sentences"
	"cardwright/verify/seatrial/simulate"
	"cardwright/verify/sheet"
)

func surveyIn() sheet.SurveyInput {
	in := kittiwake()
	return sheet.SurveyInput{
		Shop: in.Shop, Vessel: in.Vessel, When: day,
		Commands: sheet.Commands{Saved: "cardwright survey kittiwake --answers kittiwake-survey.json"},
	}
}

func surveyOf(t *testing.T, language string) sheet.Sheet {
	t.Helper()
	in := surveyIn()
	in.Style.Language = language
	s, err := sheet.MakeSurvey(in)
	require.NoError(t, err)
	return s
}

// reportOf is the page of a card that isn't good.
func reportOf(t *testing.T, language string) sheet.Sheet {
	t.Helper()
	s, err := sheet.MakeReport(sheet.CardReport{
		Report: verify.Report{Verdict: verify.Bad, Findings: []verify.Finding{
			{Kind: verify.ContentDiffers, Severity: verify.Stop, Path: "01-flybridge/plot12-4.0-12.upd", Problem: problem.Problem{Meaning: "the file isn't what the catalogue says", Expected: "1f", Found: "2f", Advice: "prepare the card again"}},
		}},
		Target: "kittiwake.img", Vessel: "Kittiwake", Shop: "Hollin Quay Marine Electrics",
		Conclusion: "Do not use this card.", Brings: []string{"✗ step 1, flybridge"}, When: day,
		Style: sheet.Style{Language: language},
	})
	require.NoError(t, err)
	return s
}

// trialOf is the page of a trial of sixteen legs.
func trialOf(t *testing.T, _ string) sheet.Sheet {
	t.Helper()
	boat := simulate.Boat{
		Deviation: [5]float64{.5, 1, -.7, .4, .2}, Variation: -3.2, Speed: 6, Current: [2]float64{-.17, -.47},
		Latitude: 50.1, Longitude: -4.2, Start: day, Seed: 7, HeadNoise: 0.6, HeadMemory: 0.8, SpeedNoise: 0.1, Rudder: math.NaN(),
	}
	var log bytes.Buffer
	require.NoError(t, boat.Write(&log, simulate.Legs(180, simulate.Points(2)...)))
	r := sentences.NewReader(sentences.Options{})
	require.NoError(t, r.Read(t.Context(), "trial.log", &log))
	in := kittiwake()
	trial := seatrial.Try(seatrial.Input{Log: r.Log(), Tolerances: seatrial.Usual()})
	s, err := sheet.MakeTrial(sheet.TrialInput{Shop: in.Shop, Vessel: in.Vessel, Trial: trial, When: day})
	require.NoError(t, err)
	return s
}

// Everything that can be filled in on the survey's page is in its file, comes
// back from it on a page that has forgotten it, and is what record reads.
func TestSurveySavesEverythingAndOpensIt(t *testing.T) {
	b := openSheet(t, surveyOf(t, "en"), 390)
	eval[chromedp.Void](b, everyField)
	was := eval[map[string]string](b, filledIn)
	require.Len(t, was, 2+3*5+4*4)
	for id, value := range was {
		assert.NotContains(t, []string{"", "false"}, value, "%s is filled in", id)
	}
	data := b.saved()
	answers, err := record.ReadAnswers(data)
	require.NoError(t, err)
	assert.Equal(t, was["by"], answers.By)
	assert.Equal(t, was["found"], answers.Found)
	require.Len(t, answers.Devices, 3)
	assert.Equal(t, record.AnswerDevice{
		Device: "radar", Filed: "1.6", AsFiled: true, Serial: was["serial-2"], Version: was["version-2"], Place: was["place-2"],
		Note: was["note-2"], Line: answers.Devices[1].Line,
	}, answers.Devices[1])
	assert.Equal(t, `      "device": "radar",`, strings.Split(string(data), "\n")[answers.Devices[1].Line], "the line below the entry's first")
	require.Len(t, answers.Also, 4)
	assert.Equal(t, was["new-model-4"], answers.Also[3].Model)
	assert.Equal(t, was["new-version-4"], answers.Also[3].Version)

	eval[chromedp.Void](b, `localStorage.clear()`)
	b.do(chromedp.Reload())
	require.NotEqual(t, was, eval[map[string]string](b, filledIn))
	b.openFile("kittiwake-survey.json", string(data))
	assert.Equal(t, was, eval[map[string]string](b, filledIn))
	assert.Regexp(t, `^Opened: \d+ entries\.$`, b.said())
	b.clean()
}

// A file that isn't this boat's survey isn't taken, and nothing in one that is
// becomes more than text.
func TestSurveyOpensNoStrangersFile(t *testing.T) {
	b := openSheet(t, surveyOf(t, "en"), 390)
	blank := eval[map[string]string](b, filledIn)
	order, err := json.Marshal(made(t, provenKittiwake()).Form)
	require.NoError(t, err)
	for text, says := range map[string]string{
		"":                               "That file isn't a saved survey",
		"[]":                             "That file isn't a saved survey",
		`{"kind":"survey","vessel":{}}`:  "That file isn't a saved survey",
		`{"kind":["survey"],"vessel":1}`: "That file isn't a saved survey",
		string(order):                    "That file isn't a saved survey",
		`{"kind":"survey","vessel":"skerry-light","page":[{"id":"by","value":"x"}]}`: "That file is for skerry-light.",
		strings.Repeat(" ", 5<<20): "That file isn't a saved survey",
		`{"kind":"survey","vessel":"kittiwake","page":[{"id":"__proto__","value":"x"},{"id":"by","value":["x"]},7]}`: "",
	} {
		b.openFile("file.json", text)
		assert.Contains(t, b.said(), says)
		assert.Equal(t, blank, eval[map[string]string](b, filledIn), "%.60s", text)
	}
	b.openFile("long.json", `{"kind":"survey","vessel":"kittiwake","page":[{"id":"note-1","value":"`+strings.Repeat("<b>", 500)+`"}]}`)
	assert.Len(t, eval[string](b, `document.getElementById("note-1").value`), 200)
	assert.Zero(t, eval[int](b, `document.querySelectorAll("b, img").length`))
	b.clean()
}

// On a phone it needs no sideways scrolling, and whatever is touched is 44 pixels
// high (WCAG 2.2, 2.5.5).
func TestSurveyFitsAPhone(t *testing.T) {
	b := openSheet(t, surveyOf(t, "de"), 390)
	assert.LessOrEqual(t, eval[int](b, `document.documentElement.scrollWidth`), 390)
	tiny := eval[[]string](b, `[...document.querySelectorAll("a, button, input, summary")].filter((e) => {
		const box = (e.type === "checkbox" ? e.closest("label") : e).getBoundingClientRect();
		return box.width > 0 && (box.width < 44 || box.height < 44);
	}).map((e) => e.tagName + "#" + e.id)`)
	assert.Empty(t, tiny)
	if keep := os.Getenv("CARDWRIGHT_SHOTS"); keep != "" {
		png, err := chromedp.Run(b.ctx, chromedp.FullScreenshot(100))
		require.NoError(t, err)
		require.NoError(t, os.WriteFile(keep+"/survey-phone.png", png, 0o600))
	}
	b.clean()
}

// On paper each device has its lines for a pen, and what is typed in the shop
// stands on one line.
func TestSurveyOnPaper(t *testing.T) {
	for _, paper := range []sheet.Paper{sheet.A4, sheet.Letter} {
		data, err := sheet.PDF(surveyOf(t, "en"), paper, nil)
		require.NoError(t, err)
		path := t.TempDir() + "/survey.pdf"
		require.NoError(t, os.WriteFile(path, data, 0o600))
		raw := run(t, "pdftotext", "-layout", path, "-")
		for _, device := range []string{"flybridge: Fennick Plot 12", "radar: Fennick Sweep 2", "pilot: Solveld Course 3"} {
			assert.Contains(t, raw, device)
		}
		assert.Equal(t, 3+4, strings.Count(raw, "Version it shows"))
		assert.Contains(t, raw, "cardwright survey kittiwake --answers kittiwake-survey.json")
	}
	assert.Contains(t, sheet.Text(surveyOf(t, "en")), "    Phone  cardwright survey kittiwake --answers kittiwake-survey.json\n")
}

// A card report's own words are in the language that was asked for, and it says
// which aren't; the findings are as they are.
func TestReportSpeaksTheLanguageAskedFor(t *testing.T) {
	text := sheet.Text(reportOf(t, "de"))
	for _, want := range []string{"SCHLECHT", "Was die Karte mitbringt", "Halt: content-differs", "Das heißt", "Erwartet", "Zu tun", "stehen auf Englisch", "prepare the card again"} {
		assert.Contains(t, text, want)
	}
	for _, not := range []string{"BAD", "What", "stop:", "Means", "Expected", "matching", "unreadable"} {
		assert.NotContains(t, text, not)
	}
	for _, language := range []string{"", sheet.English} {
		made := reportOf(t, language)
		assert.Equal(t, sheet.English, made.Language)
		assert.NotContains(t, sheet.Text(made), "in English")
	}
}
