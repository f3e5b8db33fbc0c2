package record_test

import (
	"bytes"
	"encoding/json"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gotest.tools/v3/golden"
	"pgregory.net/rapid"

	"cardwright/manifest"
	"cardwright/manifest/digest"
	"cardwright/manifest/order"
	"cardwright/manifest/version"
	"cardwright/verify/ledger"
	"cardwright/verify/ledger/record"
	"cardwright/verify/sheet"
)

// job is Kittiwake's plan: the radar first, then the flybridge display and
// the pilot; cards hold the first two releases.
func job() *record.Job {
	step := func(n int, device, model string, from, to version.V) order.Step {
		return order.Step{Number: n, Device: device, Model: model, From: from, To: to}
	}
	release := func(v version.V, after ...string) *manifest.Release {
		return &manifest.Release{Version: v, After: after}
	}
	radar := step(1, "radar", "fennick-sweep-2", "1.6", "1.8")
	radar.Files = []digest.File{{Name: "sweep2-1.8.upd", Size: 123, SHA256: digest.SHA256(strings.Repeat("ef", 32))}}
	return &record.Job{
		Plan: order.Plan{Format: 1, Vessel: "kittiwake", Steps: []order.Step{
			radar,
			step(2, "flybridge", "fennick-plot-12", "3.1-40", "4.0-12"),
			step(3, "pilot", "solveld-course-3", version.Unknown, "2.1"),
		}},
		Vessel: &manifest.Vessel{ID: "kittiwake", Name: "Kittiwake", Berth: "C 14", Devices: []*manifest.Device{
			{ID: "radar", Model: "fennick-sweep-2", Serial: "R2-1", Place: "mast", Version: "1.6"},
			{ID: "flybridge", Model: "fennick-plot-12", Version: "3.1-40"},
			{ID: "pilot", Model: "solveld-course-3", Version: version.Unknown},
		}},
		Catalogue: []*manifest.Model{
			{ID: "fennick-sweep-2", Maker: "Fennick", Name: "Sweep 2 radar", Kind: "radar", Releases: []*manifest.Release{
				{Version: "1.8", After: []string{"version shown", "radar picture"}, WayBack: new(bool)},
			}},
			{ID: "fennick-plot-12", Maker: "Fennick", Kind: "chart display", Releases: []*manifest.Release{release("4.0-12", "heading against course")}},
			{ID: "solveld-course-3", Maker: "Solveld", Kind: "autopilot computer", Releases: []*manifest.Release{release("2.1", "manual steering", "automatic tuning")}},
		},
		Cards: []ledger.OnCard{
			{Device: "radar", Model: "fennick-sweep-2", Version: "1.8", Card: strings.Repeat("ab", 32)},
			{Device: "flybridge", Model: "fennick-plot-12", Version: "4.0-12", Card: strings.Repeat("cd", 32)},
		},
	}
}

func visit() record.Visit {
	return record.Visit{ID: "visit", At: time.Date(2026, 4, 7, 15, 30, 12, 99, time.UTC), Purpose: "spring update"}
}

func filled() record.Filled {
	return record.Filled{
		Format: 1, Vessel: "kittiwake", Plan: job().Plan.ID(), By: "Ada",
		Steps: []record.FilledStep{
			{Number: 1, Device: "radar", Before: "1.6", After: "1.8", Result: record.Done, Minutes: 20},
			{Number: 2, Device: "flybridge", Before: "3.1-40", After: "4.0-12", Result: record.Done, Minutes: 35},
			{Number: 3, Device: "pilot", Before: "2.0", Result: record.PutOff, Note: "owner aboard"},
		},
		SettingsSaved: "on a card in the wheelhouse", ApprovedBy: "the owner",
		Checks: []record.FilledCheck{
			{Device: "radar", Check: "radar picture", Result: record.Passed, Value: "harbour wall at 0.2 M"},
			{Device: "flybridge", Check: "heading against course", Result: record.Failed, Value: "12 degrees apart"},
		},
	}
}

func TestASheetBecomesEntries(t *testing.T) {
	out, err := job().Entries(filled(), visit())
	require.NoError(t, err)
	var kinds []ledger.Kind
	for _, e := range out.Entries {
		kinds = append(kinds, e.Kind)
		assert.NoError(t, e.Validate())
		assert.Equal(t, "visit", e.Visit)
		assert.Equal(t, "C 14", e.Berth)
		assert.Zero(t, e.At.Nanosecond())
	}
	assert.Equal(t, []ledger.Kind{
		ledger.VisitBegun, ledger.SettingsSaved, ledger.StepDone, ledger.StepDone, ledger.StepPutOff, ledger.CheckPassed, ledger.CheckFailed,
	}, kinds)
	radar := out.Entries[2].Step
	assert.Equal(t, &ledger.Step{
		Number: 1, Before: "1.6", After: "1.8", Planned: "1.8", Minutes: 20, Plan: job().Plan.ID(), Card: strings.Repeat("ab", 32),
		Files: []ledger.File{{Name: "sweep2-1.8.upd", Size: 123, SHA256: digest.SHA256(strings.Repeat("ef", 32))}}, WayBack: ledger.WayBackNone,
		Device: ledger.Device{ID: "radar", Kind: "radar", Maker: "Fennick", Model: "fennick-sweep-2", Name: "Sweep 2 radar", Place: "mast", Serial: "R2-1"},
	}, radar)
	assert.Equal(t, map[string]version.V{"radar": "1.8", "flybridge": "4.0-12", "pilot": "2.0"}, out.Versions)
	assert.Empty(t, out.Notes)
}

func TestAReleaseCameFromTheNewestCardThatHadIt(t *testing.T) {
	j := job()
	newest := j.Cards[0]
	newest.Card = strings.Repeat("09", 32)
	j.Cards = append(j.Cards, newest)
	out, err := j.Entries(filled(), visit())
	require.NoError(t, err)
	assert.Equal(t, newest.Card, out.Entries[2].Step.Card)
	assert.Equal(t, strings.Repeat("cd", 32), out.Entries[3].Step.Card)
}

func TestChecksThatNobodyDidStayDue(t *testing.T) {
	f := filled()
	f.Checks = nil
	out, err := job().Entries(f, visit())
	require.NoError(t, err)
	last := out.Entries[len(out.Entries)-2:]
	assert.Equal(t, ledger.CheckNotDone, last[0].Kind)
	assert.Equal(t, "radar picture", last[0].Check.Check)
	assert.Equal(t, "heading against course", last[1].Check.Check)
	assert.Len(t, out.Notes, 2)
}

func TestAReleaseThatWasOnNoVerifiedCardNeedsAReason(t *testing.T) {
	j := job()
	j.Cards = j.Cards[1:]
	_, err := j.Entries(filled(), visit())
	assert.EqualError(t, err, "step 1 (radar), note: found nothing, expected a reason: fennick-sweep-2 1.8 was on no verified card; "+
		"say where the release came from, or verify the card first")
	f := filled()
	f.Steps[0].Note = "the owner's own card"
	out, err := j.Entries(f, visit())
	require.NoError(t, err)
	assert.Equal(t, "the owner's own card", out.Entries[2].Step.Reason)
	assert.Empty(t, out.Entries[2].Step.Card)
}

func TestEveryProblemOfASheetIsTold(t *testing.T) {
	for name, c := range map[string]struct {
		spoil func(*record.Filled)
		want  string
	}{
		"another vessel":   {func(f *record.Filled) { f.Vessel = "morven-rose" }, `vessel: found "morven-rose", expected "kittiwake"`},
		"another plan":     {func(f *record.Filled) { f.Plan = strings.Repeat("0", 64) }, "the plan has changed since the sheet was printed"},
		"a step left out":  {func(f *record.Filled) { f.Steps = f.Steps[1:] }, "step 1 (radar): found nothing, expected done, failed or put off"},
		"no such step":     {func(f *record.Filled) { f.Steps[2].Number = 9 }, "step 9 (pilot): found step 9, expected 1 to 3"},
		"a step twice":     {func(f *record.Filled) { f.Steps = append(f.Steps, f.Steps[0]) }, "step 1 (radar): found the step twice"},
		"another device":   {func(f *record.Filled) { f.Steps[0].Device = "pilot" }, `step 1 (pilot): found the device "pilot", expected "radar", as step 1 of the plan says`},
		"no such device":   {func(f *record.Filled) { f.Steps[0].Device = "rader" }, `found the device "rader", expected one of radar, flybridge, pilot`},
		"no version after": {func(f *record.Filled) { f.Steps[0].After = "" }, `step 1 (radar), after: found "", expected the version that the device shows now`},
		"the same version": {func(f *record.Filled) { f.Steps[0].After = "1.6" }, "after: found 1.6, as before, expected 1.8; if the device didn't take the release, the step failed"},
		"not as planned":   {func(f *record.Filled) { f.Steps[0].After = "1.9" }, "after: found 1.9, expected 1.8, as planned; write a note"},
		"no reason":        {func(f *record.Filled) { f.Steps[2].Note = " \t" }, "step 3 (pilot), note: found nothing, expected why it was put off"},
		"another result":   {func(f *record.Filled) { f.Steps[0].Result = "ok" }, `result: found "ok", expected done, failed or put off`},
		"no such check":    {func(f *record.Filled) { f.Checks[0].Check = "radar pictures" }, `found "radar pictures", expected one of version shown`},
		"a check twice":    {func(f *record.Filled) { f.Checks = append(f.Checks, f.Checks[0]) }, "found the check twice"},
		"check of nothing": {func(f *record.Filled) { f.Checks[0].Device = "kettle" }, `found the device "kettle"`},
		"shown, no version": {func(f *record.Filled) {
			f.Checks[0] = record.FilledCheck{Device: "radar", Check: "version shown", Result: record.Passed, Value: "yes"}
		}, `value: found "yes", expected the version that the device shows`},
		"shown, another": {func(f *record.Filled) {
			f.Checks[0] = record.FilledCheck{Device: "radar", Check: "version shown", Result: record.Passed, Value: "1.6"}
		}, "value: found 1.6, expected 1.8, which its step says it shows"},
		"control character": {func(f *record.Filled) { f.Steps[2].Note = "\x1b[2J" }, "step 3 (pilot), note: found the character U+001B"},
	} {
		t.Run(name, func(t *testing.T) {
			f := filled()
			c.spoil(&f)
			_, err := job().Entries(f, visit())
			var problems record.Mistakes
			require.ErrorAs(t, err, &problems)
			assert.Contains(t, err.Error(), c.want)
		})
	}
	f := filled()
	f.Steps[0].After, f.Steps[1].Result, f.Checks[0].Result = "", "x", "y"
	_, err := job().Entries(f, visit())
	var problems record.Mistakes
	require.ErrorAs(t, err, &problems)
	assert.Len(t, problems, 3, "all at once")
}

func TestWorkThatWasNotPlannedNeedsANote(t *testing.T) {
	v := visit()
	v.OtherPlan = true
	f := record.Filled{Format: 1, Vessel: "kittiwake", Steps: []record.FilledStep{{Number: 1, Device: "radar", After: "1.8", Result: record.Done}}}
	_, err := job().Entries(f, v)
	assert.ErrorContains(t, err, "expected why it was done without the plan")
	f.Steps[0].Note = "warranty swap"
	out, err := job().Entries(f, v)
	require.NoError(t, err)
	assert.Empty(t, out.Entries[1].Step.Planned)
}

// answerAll answers every question that is open, as a person at the dock
// would, and returns the keys in the order they came.
func answerAll(t require.TestingT, j *record.Job, f *record.Filled, answers map[string]string) (keys []string) {
	for {
		var open []record.Question
		for _, q := range j.Open(*f) {
			if q.Needed || answers[q.Key] != "" {
				open = append(open, q)
			}
		}
		if len(open) == 0 {
			return keys
		}
		keys = append(keys, open[0].Key)
		require.NoError(t, j.Answer(f, open[0].Key, answers[open[0].Key]))
		require.Less(t, len(keys), 50, "each answer closes its question")
	}
}

func TestQuestionsAskOnlyWhatThePlanLeavesOpen(t *testing.T) {
	f := record.Filled{Format: 1, Vessel: "kittiwake", By: "Ada"}
	keys := answerAll(t, job(), &f, map[string]string{
		"step/1": "done", "step/2": "3.1-40 to 4.0-12, 17 min", "step/3": "put off", "note/3": "owner aboard",
		"check/radar/radar picture": "passed, harbour wall", "check/flybridge/heading against course": "Failed 12 degrees",
		"settings": "in the shop",
	})
	assert.Equal(t, []string{
		"step/1", "step/2", "step/3", "note/3", "check/radar/radar picture", "check/flybridge/heading against course", "settings",
	}, keys)
	out, err := job().Entries(f, visit())
	require.NoError(t, err)
	assert.Equal(t, map[string]version.V{"radar": "1.8", "flybridge": "4.0-12"}, out.Versions)
	assert.Equal(t, "harbour wall", f.Checks[0].Value)
	assert.EqualValues(t, "3.1-40", f.Steps[1].Before)
	assert.Equal(t, 17, f.Steps[1].Minutes)
	assert.Empty(t, f.Steps[1].Note)

	j := job()
	j.Cards = nil
	f = record.Filled{Format: 1, Vessel: "kittiwake"}
	require.NoError(t, j.Answer(&f, "step/1", "1.8"))
	assert.Contains(t, j.Open(f)[0].Ask, "1.8 was on no verified card")
}

func TestAnswersThatAreNoneAreRefused(t *testing.T) {
	for key, answer := range map[string]string{
		"step/1": "yes", "step/2": "4.0-12, 99999999 min", "step/9": "1.8", "step/x": "1.8", "note/1": "", "check/radar/radar picture": "ok", "check/radar": "passed", "what": "", "step/3": "",
	} {
		f := record.Filled{Format: 1, Vessel: "kittiwake"}
		assert.ErrorContains(t, job().Answer(&f, key, answer), "expected", key)
	}
}

// Whatever somebody answers, a sheet with no open question can be recorded.
func TestAnsweredQuestionsAlwaysMakeARecord(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		j := job()
		if rapid.Bool().Draw(t, "no cards") {
			j.Cards = nil
		}
		f := record.Filled{Format: 1, Vessel: "kittiwake", By: "Ada"}
		for n := 0; ; n++ {
			open := j.Open(f)
			if len(open) == 0 || !open[0].Needed {
				break
			}
			require.Less(t, n, 40)
			key := open[0].Key
			answers := map[string][]string{
				"step":  {"done", "done, 5 min", "5.0", "1.6 to 5.1", "failed", "put off the owner", "9.9 because"},
				"note":  {"a reason"},
				"check": {"", "passed", "failed with 3", "not done"},
			}[strings.Split(key, "/")[0]]
			require.NoError(t, j.Answer(&f, key, rapid.SampledFrom(answers).Draw(t, key)))
		}
		_, err := j.Entries(f, visit())
		require.NoError(t, err)
	})
}

func TestTheSchemaAndTheFormAgree(t *testing.T) {
	data, err := json.Marshal(filled())
	require.NoError(t, err)
	f, err := record.ReadJSON(data)
	require.NoError(t, err)
	assert.Equal(t, filled(), f)

	for name, c := range map[string][2]string{
		"another result": {`"result":"done"`, `"result":"ok"`},
		"unknown key":    {`"by"`, `"who"`},
		"a number":       {`"minutes":20`, `"minutes":"20"`},
		"newer":          {`"format":1`, `"format":4`},
		"huge":           {`"number":1,`, `"number":1e99,`},
	} {
		t.Run(name, func(t *testing.T) {
			_, err := record.ReadJSON([]byte(strings.Replace(string(data), c[0], c[1], 1)))
			var problems record.Mistakes
			require.ErrorAs(t, err, &problems)
		})
	}
	_, err = record.ReadJSON([]byte(strings.Replace(string(data), `"result":"done"`, `"result":"ok"`, 1)))
	assert.ErrorContains(t, err, `/steps/0/result: found "\"ok\"", expected what the form allows: value must be one of 'done', 'failed', 'put off', ''`)
	_, err = record.ReadJSON([]byte("{"))
	assert.ErrorContains(t, err, "it is not JSON")
	_, err = record.ReadJSON(make([]byte, record.MaxSheet+1))
	assert.ErrorContains(t, err, "expected at most")
}

func FuzzReadJSON(f *testing.F) {
	data, err := json.Marshal(filled())
	require.NoError(f, err)
	f.Add(data)
	f.Fuzz(func(t *testing.T, data []byte) {
		sheet, err := record.ReadJSON(data)
		if err != nil {
			return
		}
		out, err := job().Entries(sheet, visit())
		if err != nil {
			return
		}
		for _, e := range out.Entries {
			require.NoError(t, e.Validate())
		}
	})
}

func TestCSVInAnyUsualDialect(t *testing.T) {
	const lines = "Step,Device,Check,Before,After,Result,Minutes,Value,Note,Settings saved,Approved by\n" +
		"1,radar,,1.6,v1.8,done,20,,,on a card in the wheelhouse,the owner\n" +
		"2,flybridge,,3.1-40,4.0-12,done,35,,,,\n" +
		"3,pilot,,2.0,,put off,,,owner aboard,,\n" +
		",radar,radar picture,,,passed,,harbour wall at 0.2 M,,,\n" +
		",flybridge,heading against course,,,failed,,12 degrees apart,,,\n"
	for name, text := range map[string]string{
		"commas": lines, "semicolons": strings.ReplaceAll(lines, ",", ";"), "tabs": strings.ReplaceAll(lines, ",", "\t"),
		"marked, CRLF": "\ufeff" + strings.ReplaceAll(lines, "\n", "\r\n"), "quoted": strings.ReplaceAll(lines, "owner aboard", `"owner aboard"`),
	} {
		t.Run(name, func(t *testing.T) {
			f, err := record.ReadCSV(strings.NewReader(text))
			require.NoError(t, err)
			f.Vessel, f.Plan, f.By = "kittiwake", job().Plan.ID(), "Ada"
			assert.Equal(t, filled(), f)
		})
	}
	_, err := record.ReadCSV(strings.NewReader("step,devise\n1,radar\n"))
	assert.ErrorContains(t, err, `line 1, column 6, unknown column: found "devise", expected one of step, device`)
	_, err = record.ReadCSV(strings.NewReader("step,device,result,minutes\nx,radar,done,-3\n"))
	assert.ErrorContains(t, err, `line 2, step: found "x", expected a number`)
	assert.ErrorContains(t, err, `line 2, minutes: found "-3", expected a number`)
	_, err = record.ReadCSV(strings.NewReader(""))
	assert.ErrorContains(t, err, "empty table: found nothing, expected a heading line")
}

func TestNothingInATableIsLostWithoutAWord(t *testing.T) {
	for _, c := range []struct{ text, want string }{
		{"step,device,result,note\n\n1,radar,done,\"on\ntwo lines\"\n,radar,,screen dark\n", `line 5, note: found "screen dark", expected nothing for a line without`},
		{"step,device,after\n,radar,1.8\n", `line 2, after: found "1.8"`},
		{"step,device,result,note\n1,radar,done,cold, wet\n", `line 2, column 20, cell without a heading: found "wet", expected nothing there; put a cell that holds the separator in quotes`},
		{"device,check,result,note\nradar,radar picture,passed,faint\n", `line 2, note: found "faint", expected nothing for a check`},
		{"step,device,result,value\n1,radar,done,2 degrees\n", `line 2, value: found "2 degrees", expected nothing for a step`},
		{"step,device,result,note,note\n1,radar,done,a,b\n", `line 1, column 25, column given twice: found "note" again, expected each column once`},
	} {
		_, err := record.ReadCSV(strings.NewReader(c.text))
		assert.ErrorContains(t, err, c.want)
	}
	f := filled()
	f.Checks = append(f.Checks, record.FilledCheck{Device: "radar", Check: "heading against course", Value: "2 degrees"})
	_, err := job().Entries(f, visit())
	assert.ErrorContains(t, err, `result: found nothing, with the value "2 degrees"`)
}

func TestTheSameSheetIsTheSameVisit(t *testing.T) {
	assert.Equal(t, record.VisitOf([]byte("a")), record.VisitOf([]byte("a")))
	assert.NotEqual(t, record.VisitOf([]byte("a")), record.VisitOf([]byte("b")))
}

func vesselFile(t testing.TB) []byte {
	data, err := os.ReadFile("testdata/kittiwake.yaml")
	require.NoError(t, err)
	return data
}

var all = map[string]version.V{
	"flybridge": "4.0-12", "wheelhouse": "3.0~rc1", "radar": "4.11", "pilot": "2.1", "heading": "1.0", "beacon": "1:0.9", "sounder": "5.20",
}

func TestAVersionGoesWhereNoCommentLosesItsPlace(t *testing.T) {
	versions := map[string]version.V{"helm": "4.0-7"}
	for _, c := range []struct{ before, after string }{
		{"devices:\n  - id: helm\n    model: a-b\n    # not read yet\n", "devices:\n  - id: helm\n    version: \"4.0-7\"\n    model: a-b\n    # not read yet\n"},
		{"devices:\r\n  - id: helm\r\n    model: a-b # old\r\n    # not read yet\r\n    place: arch\r\n", "devices:\r\n  - id: helm\r\n    version: \"4.0-7\"\r\n    model: a-b # old\r\n    # not read yet\r\n    place: arch\r\n"},
		{"devices:\n  - id: helm\n    model: 'a-b'\n", "devices:\n  - id: helm\n    version: \"4.0-7\"\n    model: 'a-b'\n"},
		{"devices:\n  - model: \"a-b\"\n    id: helm\n", "devices:\n  - model: \"a-b\"\n    version: \"4.0-7\"\n    id: helm\n"},
	} {
		out, err := record.UpdateVersions([]byte(c.before), versions)
		require.NoError(t, err, c.before)
		assert.Equal(t, c.after, string(out))
	}
}

func TestTheVesselsFileKeepsEverythingButVersions(t *testing.T) {
	out, err := record.UpdateVersions(vesselFile(t), all)
	require.NoError(t, err)
	golden.Assert(t, string(out), "kittiwake-updated.yaml")
	again, err := record.UpdateVersions(out, all)
	require.NoError(t, err)
	assert.Equal(t, string(out), string(again), "nothing to change, nothing changed")
	same, err := record.UpdateVersions(vesselFile(t), nil)
	require.NoError(t, err)
	assert.Equal(t, string(vesselFile(t)), string(same))
}

func TestLineEndsOfAnotherSystemStay(t *testing.T) {
	crlf := strings.ReplaceAll(string(vesselFile(t)), "\n", "\r\n")
	out, err := record.UpdateVersions([]byte("\ufeff"+crlf), all)
	require.NoError(t, err)
	want, err := record.UpdateVersions(vesselFile(t), all)
	require.NoError(t, err)
	assert.Equal(t, "\ufeff"+strings.ReplaceAll(string(want), "\n", "\r\n"), string(out))
}

func TestAFileThatCanNotBeChangedSafelyIsLeft(t *testing.T) {
	for name, c := range map[string][2]string{
		"folded":    {"version: >-\n      1.6", "line 4: the version of radar is written in a way that can't be changed safely: write 1.8 there by hand"},
		"tagged":    {"version: !!str 1.6", "can't be changed safely"},
		"a list":    {"version: [1.6]", "is not a word"},
		"escaped":   {`version: "4\x2e2"`, "can't be changed safely"},
		"no device": {"x: 1\n  - id: other", ""},
	} {
		t.Run(name, func(t *testing.T) {
			file := "vessel: k\ndevices:\n  - id: radar\n    " + c[0] + "\n"
			_, err := record.UpdateVersions([]byte(file), map[string]version.V{"radar": "1.8"})
			if c[1] != "" {
				assert.ErrorContains(t, err, c[1])
			} else {
				assert.NoError(t, err)
			}
		})
	}
	_, err := record.UpdateVersions(vesselFile(t), map[string]version.V{"kettle": "1"})
	assert.ErrorContains(t, err, `found no device "kettle"`)
	for _, v := range []version.V{"", "unknown", "1.8\nhold: x", `4" #`, "v4"} {
		_, err := record.UpdateVersions(vesselFile(t), map[string]version.V{"radar": v})
		assert.ErrorContains(t, err, "expected a version", "%q", v)
	}
	for _, file := range []string{"", "- a", "vessel: k", "a: [", strings.Repeat("x", manifest.MaxFileBytes+1)} {
		_, err := record.UpdateVersions([]byte(file), map[string]version.V{"radar": "1"})
		assert.Error(t, err)
	}
}

// The judge is the strict loader of the shop's files: it reads what was
// written, and every device runs what was asked for, and all else is as it was.
func TestTheLoaderReadsAnyUpdate(t *testing.T) {
	const shop, name = "../../../testdata/shop", "vessels/kittiwake.yaml"
	file, err := os.ReadFile(filepath.Join(shop, name))
	require.NoError(t, err)
	before, err := manifest.Load(shop)
	require.NoError(t, err)
	rapid.Check(t, func(t *rapid.T) {
		versions := map[string]version.V{}
		for _, d := range before.Vessel("kittiwake").Devices {
			v, err := version.Parse(rapid.StringMatching(`([0-9]:)?[0-9]{1,2}(\.[0-9]{1,2}){0,2}([a-z~+][0-9])?(-[0-9]{1,2})?`).Draw(t, d.ID))
			if err == nil && rapid.Bool().Draw(t, "raised") {
				versions[d.ID] = v
			}
		}
		out, err := record.UpdateVersions(file, versions)
		require.NoError(t, err)
		after, err := manifest.LoadWith(shop, map[string][]byte{name: out})
		require.NoError(t, err)
		for i, d := range after.Vessel("kittiwake").Devices {
			old := before.Vessel("kittiwake").Devices[i]
			want, raised := versions[d.ID]
			if !raised {
				want = old.Version
			}
			assert.Equal(t, want, d.Version)
			assert.Equal(t, []string{old.ID, old.Model, old.Serial, old.Place}, []string{d.ID, d.Model, d.Serial, d.Place})
		}
	})
}

// What the printed sheet brings back is read here.
func TestTheSheetsFormIsRead(t *testing.T) {
	form := sheet.Form{
		Format: sheet.FormFormat, Vessel: "kittiwake", Plan: job().Plan.ID(), By: "Ada", SettingsSaved: "in the shop",
		Steps: []sheet.FormStep{
			{Number: 1, Device: "radar", Before: "1.6", After: "1.8", Result: "done", Minutes: 20, Note: ""},
			{Number: 2, Device: "flybridge", Before: "3.1-40", Minutes: 9},
			{Number: 3, Device: "pilot", Result: "put off", Note: "owner aboard"},
		},
		Checks: []sheet.FormCheck{{Device: "radar", Check: "radar picture"}, {Device: "radar", Check: "version shown", Result: "passed", Value: "1.8"}},
	}
	data, err := json.Marshal(form)
	require.NoError(t, err)
	f, err := record.ReadJSON(data)
	require.NoError(t, err)

	_, err = job().Entries(f, visit())
	assert.EqualError(t, err, `step 2 (flybridge), result: found "", expected done, failed or put off`)
	open := job().Open(f)
	require.Equal(t, "step/2", open[0].Key, "only what nobody has said")
	require.NoError(t, job().Answer(&f, "step/2", "done"))
	keys := answerAll(t, job(), &f, nil)
	assert.Equal(t, []string{"check/radar/radar picture", "check/flybridge/heading against course"}, keys)
	out, err := job().Entries(f, visit())
	require.NoError(t, err)
	for _, e := range out.Entries {
		if e.Step != nil && e.Step.Number == 2 {
			assert.Equal(t, 9, e.Step.Minutes)
			assert.EqualValues(t, "3.1-40", e.Step.Before)
		}
	}
}

func FuzzUpdateVersions(f *testing.F) {
	f.Add(vesselFile(f))
	f.Fuzz(func(t *testing.T, file []byte) {
		out, err := record.UpdateVersions(file, map[string]version.V{"radar": "9.9"})
		if err == nil {
			assert.Contains(t, string(out), "9.9")
		}
	})
}

func TestAWholeNumberIsWrittenWithoutAPoint(t *testing.T) {
	_, err := record.ReadJSON([]byte(`{"format": 1, "vessel": "kittiwake", "plan": "", "by": "Ada", "settings_saved": "", "checks": [],
		"steps": [{"number": 1, "device": "helm", "before": "", "after": "4.0", "result": "done", "minutes": 12.0, "note": ""}]}`))
	assert.ErrorContains(t, err, "/steps/minutes: found number 12.0, expected a whole number, written without a point")
}

// A table as iconv (GNU libc) writes it in Latin-1 and in Windows-1252: the letters
// are those of the same table in UTF-8.
func TestATableInLatin1(t *testing.T) {
	const text = "step;device;before;after;result;minutes;note\n1;radar;1.6;1.8;done;12;Kühlraum, übergeben à José\n"
	want, err := record.ReadCSV(strings.NewReader(text))
	require.NoError(t, err)
	for _, encoding := range []string{"ISO-8859-1", "WINDOWS-1252"} {
		more := text
		if encoding == "WINDOWS-1252" {
			more = strings.Replace(text, "Kühlraum", "“Kühlraum” – 5 €", 1)
		}
		iconv := exec.Command("iconv", "-f", "UTF-8", "-t", encoding)
		iconv.Stdin = strings.NewReader(more)
		table, err := iconv.Output()
		require.NoError(t, err)
		got, err := record.ReadCSV(bytes.NewReader(table))
		require.NoError(t, err)
		assert.True(t, got.Latin1)
		if encoding == "ISO-8859-1" {
			assert.Equal(t, want.Steps, got.Steps)
		} else {
			assert.Contains(t, got.Steps[0].Note, "“Kühlraum” – 5 €")
		}
	}
	_, err = record.ReadCSV(strings.NewReader("step;device\n1;rad\x81r\n"))
	require.Error(t, err, "no letter has that byte")
	assert.Contains(t, err.Error(), "not text in UTF-8")
}

// A device that lost its settings is asked for them, whatever its release names, and
// stays open until they were entered again and checked.
func TestSettingsThatAnUpdateLost(t *testing.T) {
	j := job()
	j.Catalogue[2].Releases[0].Settings = manifest.SettingsLost
	f := record.Filled{Format: 1, Vessel: "kittiwake", Steps: []record.FilledStep{{Number: 3, Device: "pilot", After: "2.1", Result: record.Done, Note: "own card"}}}
	asks := func(f record.Filled) (list []string) {
		for _, q := range j.Open(f) {
			if record.IsCheck(q) && strings.Contains(q.Ask, "lost its settings") {
				list = append(list, q.Key)
			}
		}
		return list
	}
	require.Equal(t, []string{"check/pilot/settings and waypoints"}, asks(f))
	j.PutOffRest(&f, "tide")
	note := func(f record.Filled) (kind ledger.Kind, note string) {
		out, err := j.Entries(f, record.Visit{ID: "v", At: time.Date(2026, 3, 2, 12, 0, 0, 0, time.UTC)})
		require.NoError(t, err)
		for _, e := range out.Entries {
			if e.Check != nil && e.Check.Check == "settings and waypoints" {
				kind, note = e.Kind, e.Check.Note
			}
		}
		return kind, note
	}
	kind, why := note(f)
	assert.Equal(t, ledger.CheckNotDone, kind)
	assert.Equal(t, ledger.SettingsLost, why)
	require.NoError(t, j.Answer(&f, "check/pilot/settings and waypoints", "passed"))
	kind, why = note(f)
	assert.Equal(t, ledger.CheckPassed, kind)
	assert.Empty(t, why)
	j.Catalogue[2].Releases[0].Settings = manifest.SettingsKept
	assert.Empty(t, asks(f))
}
