package sheet_test

import (
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"cardwright/verify/sheet"
)

// Kittiwake's steps take 20, 15 and 10 minutes, and the first two are one piece:
// the radar is out of use from the first to the end of the second. The times are
// worked out by hand.
func TestTheLastStepThatCanBegin(t *testing.T) {
	for _, c := range []struct{ start, until, says string }{
		{"", "16:30", "To be done by 16:30: begin no step later than the table says."},
		{"15:30", "16:30", "From 15:30 all steps can be done by 16:30: the last ends at about 16:15."},
		{"15:45", "16:30", "From 15:45 all steps can be done by 16:30: the last ends at about 16:30."},
		{"15:46", "16:30", "From 15:46 to 16:30: step 2 is the last that can begin, by 16:15. Stop after it."},
		{"15:55", "16:30", "step 2 is the last that can begin, by 16:15."},
		{"15:56", "16:30", "From 15:56 no step reaches a safe stop by 16:30: begin none."},
		{"23:30", "00:10", "From 23:30 to 00:10: step 2 is the last that can begin, by 23:55. Stop after it."},
	} {
		in := provenKittiwake()
		in.Clock = sheet.Clock{Start: c.start, Until: c.until}
		text := strings.Join(strings.Fields(sheet.Text(made(t, in))), " ")
		assert.Contains(t, text, c.says, c.start)
	}
	in := provenKittiwake()
	in.Clock.Until = "16:30"
	s := made(t, in)
	by := map[string]string{}
	for _, step := range blocks[sheet.Step](s) {
		for _, f := range step.Facts {
			if f.Label == "Begin by" {
				by[step.Device] = f.Value
			}
		}
	}
	assert.Equal(t, map[string]string{"flybridge": "15:55", "radar": "16:15", "pilot": "16:20"}, by)

	in.Plan.Steps[2].Minutes = 0 // the catalogue doesn't say: never by default enough
	in.Clock.Start = "08:00"
	text := strings.Join(strings.Fields(sheet.Text(made(t, in))), " ")
	assert.Contains(t, text, "step 2 is the last that is sure to fit, begun by 16:15. The catalogue has no time for what follows: don't begin step 3.")
	in.Plan.Steps[0].Minutes = 0
	text = strings.Join(strings.Fields(sheet.Text(made(t, in))), " ")
	assert.Contains(t, text, "nobody can say whether they end by 16:30. Begin none.")

	for _, c := range []sheet.Clock{{Until: "25:00"}, {Until: "half four"}, {Start: "12:00"}, {Start: "noon", Until: "16:30"}} {
		in.Clock = c
		_, err := sheet.Make(in)
		assert.ErrorContains(t, err, "making install order: ")
	}
}

// The order on a card has neither the times nor a place for them: its bytes are
// those of every day.
func TestTheOrderOnACardHasNoClock(t *testing.T) {
	in := kittiwake()
	in.When = time.Time{}
	assert.NotContains(t, sheet.Text(made(t, in)), "Must be done by")
	in.When = day
	assert.Contains(t, sheet.Text(made(t, in)), "Step 1 began at: __________________ Must be done by: __________________")
}

// The page works it out as the times are typed, by what the steps took.
func TestThePageTellsTheLastStepThatCanBegin(t *testing.T) {
	b := open(t, provenKittiwake(), 390)
	told := func() string { return eval[string](b, `document.getElementById("clock").textContent`) }
	write := func(id, text string) {
		eval[chromedp.Void](b, `(() => { const f = document.getElementById("`+id+`"); f.value = "`+text+`"; f.dispatchEvent(new Event("input", { bubbles: true })); })()`)
	}
	write("started", "15:46")
	require.True(t, eval[bool](b, `document.getElementById("clock").hidden`), "one time is missing")
	for until, says := range map[string]string{
		"16:30": "Step 2 is the last that can begin, by 16:15. Stop after it.",
		"16:31": "All steps can be done in time: the last ends at about 16:31.",
		"16:20": "No further step reaches a safe stop in time: begin none.",
		"0:10":  "All steps can be done in time: the last ends at about 16:31.",
		"half":  "Write both times as 16:30.",
		"24:00": "Write both times as 16:30.",
	} {
		write("until", until)
		assert.Equal(t, says, told(), until)
	}
	write("until", "16:30")
	write("after-1", "4.0-12")
	write("took-1", "30") // ten more than planned
	eval[chromedp.Void](b, `document.querySelector("input[name=result-1][value=done]").click()`)
	assert.Equal(t, "No further step reaches a safe stop in time: begin none.", told(), "16:16 and 15 minutes")
	write("took-1", "12")
	assert.Equal(t, "All steps can be done in time: the last ends at about 16:23.", told())
	b.do(chromedp.Reload())
	assert.Equal(t, "All steps can be done in time: the last ends at about 16:23.", told(), "it is kept")
	b.clean()

	in := provenKittiwake()
	in.Plan.Steps[2].Minutes = 0
	in.Clock = sheet.Clock{Start: "13:00", Until: "16:30"}
	b = open(t, in, 390)
	assert.Equal(t, "Step 2 is the last that can begin, by 16:15. Stop after it. The catalogue has no time for step 3, or for the steps that must follow it: don't begin it.", told())
	b.clean()
}
