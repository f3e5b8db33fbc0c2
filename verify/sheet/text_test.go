package sheet_test

import (
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/clipperhouse/displaywidth"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gotest.tools/v3/golden"

	"cardwright/manifest"
	"cardwright/manifest/order"
	"cardwright/manifest/problem"
	"cardwright/manifest/version"
	"cardwright/verify"
	"cardwright/verify/sheet"
)

const goldens = "../../../testdata/golden/sheet/" // below this package's own testdata, where golden looks

func made(t *testing.T, in sheet.Input) sheet.Sheet {
	t.Helper()
	s, err := sheet.Make(in)
	require.NoError(t, err)
	return s
}

func conflicted() sheet.Input {
	in := kittiwake()
	in.Plan.Steps = nil
	in.Plan.Conflict = &order.Conflict{
		Because: []order.Fact{
			{Fact: "Plot 12 4.0-12 needs Sweep 2 >= 1.10 before it starts", At: manifest.Pos{File: "catalogue/plot-12.yaml", Line: 31, Column: 9}},
			{Fact: "the customer keeps the radar at = 1.6", At: manifest.Pos{File: "vessels/kittiwake.yaml", Line: 18, Column: 11}},
		},
		WouldFree: []string{"lift the hold on the radar"},
	}
	return in
}

func bad() sheet.Input {
	in := provenKittiwake()
	in.Cards[0].Verdict = verify.Bad
	in.Cards[0].Findings = []verify.Finding{{
		Kind: "file differs", Severity: verify.Stop, Path: "01-flybridge/plot12-4.0-12.upd",
		Problem: problem.Problem{Expected: "0f0f0f0f", Found: "1e1e1e1e", Meaning: "the file isn't what the catalogue says", Advice: "use another card"},
	}}
	return in
}

// unread is Kittiwake with a pilot whose version nobody has read.
func unread() sheet.Input {
	in := kittiwake()
	then := in.Plan
	in.Plan.Steps, in.Plan.Cards, in.Plan.OutOfService = nil, nil, nil
	in.Vessel.Devices[2].Version = version.Unknown
	in.Plan.Unknown = []order.Reading{{
		Device: "pilot", Model: "solveld-course-3", Place: "lazarette", Likely: []version.V{"2.6", "3.0"},
		At: manifest.Pos{File: "vessels/kittiwake.yaml", Line: 25, Column: 14},
	}}
	in.Plan.Answers = []order.Answer{
		{Found: []version.V{"2.6"}, Then: then},
		{Found: []version.V{"3.0"}, Then: order.Plan{}},
		{Found: []version.V{"3.1"}, Then: order.Plan{Conflict: &order.Conflict{}}},
	}
	return in
}

func TestTextGolden(t *testing.T) {
	nothing := kittiwake()
	nothing.Plan.Steps, nothing.Plan.Cards, nothing.Plan.OutOfService = nil, nil, nil
	for name, in := range map[string]sheet.Input{
		"kittiwake-plan": kittiwake(), "kittiwake-good": provenKittiwake(), "morven-rose-good": provenMorvenRose(),
		"conflict": conflicted(), "bad-card": bad(), "unread": unread(), "nothing": nothing, "hostile": hostile(),
	} {
		t.Run(name, func(t *testing.T) {
			golden.Assert(t, sheet.Text(made(t, in)), goldens+name+".txt")
		})
	}
}

func TestTextIsNoWiderThanThePage(t *testing.T) {
	for _, in := range []sheet.Input{kittiwake(), provenMorvenRose(), hostile(), conflicted(), bad()} {
		for line := range strings.Lines(sheet.Text(made(t, in))) {
			assert.LessOrEqual(t, displaywidth.String(strings.TrimSuffix(line, "\n")), sheet.Columns, "%q", line)
		}
	}
}

func TestSameInputSameText(t *testing.T) {
	assert.Equal(t, sheet.Text(made(t, provenMorvenRose())), sheet.Text(made(t, provenMorvenRose())))
}

// Nothing is cut: each version, folder and file name of the plan stands on the
// page whole, once broken lines are put together again.
func TestNothingIsCut(t *testing.T) {
	for _, in := range []sheet.Input{kittiwake(), provenMorvenRose(), hostile()} {
		text := regexp.MustCompile(`\\\n *`).ReplaceAllString(sheet.Text(made(t, in)), "")
		for _, s := range in.Plan.Steps {
			assert.Contains(t, text, string(s.To))
			assert.Contains(t, text, s.Folder)
			for _, f := range s.Files {
				assert.Contains(t, text, f.Name)
			}
		}
	}
}

// Of several files the sheet names those that a person touches, where the
// catalogue says which; without its word it names all.
func TestOnlyFilesToTouch(t *testing.T) {
	in := kittiwake()
	in.Plan.Steps[0].Files = append(in.Plan.Steps[0].Files, file("release-notes.txt", 2154)...)
	assert.Contains(t, sheet.Text(made(t, in)), "release-notes.txt")
	in.Shop.Model("fennick-plot-12").Release("4.0-12", "").Touch = []string{"plot12-4.0-12.upd"}
	text := sheet.Text(made(t, in))
	assert.Contains(t, text, "plot12-4.0-12.upd")
	assert.NotContains(t, text, "release-notes.txt")
}

// What isn't proven is never called good.
func TestOnlyProvenCardsAreGood(t *testing.T) {
	with := func(change func(*sheet.Input)) sheet.Input {
		in := provenMorvenRose()
		change(&in)
		return in
	}
	for name, c := range map[string]struct {
		in   sheet.Input
		want string
	}{
		"all proven":     {provenMorvenRose(), sheet.StampGood},
		"none":           {morvenRose(), sheet.StampPlan},
		"one missing":    {with(func(in *sheet.Input) { in.Cards = in.Cards[:2] }), sheet.StampPlan},
		"no verdict":     {with(func(in *sheet.Input) { in.Cards[1].Verdict = "" }), sheet.StampNone},
		"unchecked":      {with(func(in *sheet.Input) { in.Cards[1].Verdict = verify.Unchecked }), sheet.StampNone},
		"bad":            {with(func(in *sheet.Input) { in.Cards[1].Verdict = verify.Bad }), sheet.StampNone},
		"other plan":     {with(func(in *sheet.Input) { in.Cards[1].Plan = strings.Repeat("a", 64) }), sheet.StampNone},
		"this plan":      {with(func(in *sheet.Input) { in.Cards[1].Plan = in.Plan.ID() }), sheet.StampGood},
		"of another set": {with(func(in *sheet.Input) { in.Cards[1].Of = 2 }), sheet.StampNone},
		"twice":          {with(func(in *sheet.Input) { in.Cards[1] = in.Cards[0] }), sheet.StampNone},
		"no such card":   {with(func(in *sheet.Input) { in.Cards[1].Number = 4 }), sheet.StampNone},
		"conflict":       {conflicted(), sheet.StampNone},
		"unread":         {unread(), sheet.StampRead},
	} {
		t.Run(name, func(t *testing.T) {
			s := made(t, c.in)
			assert.Equal(t, c.want, s.Stamp.Kind)
			assert.Equal(t, c.want == sheet.StampNone || c.want == sheet.StampRead, !strings.Contains(sheet.Text(s), "STEP 1"), "steps only where there is an order")
		})
	}
}

// The order that is on the card has no day: the same plan gives the same
// card, whenever it is made.
func TestNoDay(t *testing.T) {
	in := kittiwake()
	in.When = time.Time{}
	assert.NotContains(t, sheet.Text(made(t, in)), "Date  ")
	assert.NotContains(t, sheet.Text(made(t, in)), "0001")
	in.Cards = []sheet.CardState{good(1, 1)}
	in.Cards[0].When = time.Time{}
	assert.Contains(t, sheet.Text(made(t, in)), "GOOD, read back on an unknown day")
	a, err := sheet.PDF(made(t, in), sheet.A4, nil)
	require.NoError(t, err)
	assert.Contains(t, string(a), "/CreationDate (D:19700101000000")
}

func TestStyle(t *testing.T) {
	in := provenKittiwake()
	in.Style = sheet.Style{Dates: sheet.DatesMonth, Units: sheet.Feet}
	text := sheet.Text(made(t, in))
	assert.Contains(t, text, "Mar 14, 2026 09:30 +01:00")
	assert.Contains(t, text, "within 3 ft of")
	for _, style := range []sheet.Style{{Language: "xx"}, {Dates: "stardate"}, {Units: "fathoms"}} {
		in.Style = style
		_, err := sheet.Make(in)
		assert.ErrorContains(t, err, "making install order: ")
	}
}

// The figures on the sheet, each with where it is from. Common practice has no
// source; a figure of it is marked so on the sheet itself.
func TestFactsOfTheTrade(t *testing.T) {
	in := provenKittiwake()
	in.Plan.Steps[0].Minutes = 0
	in.Plan.Time = order.Time{Steps: 25, Checks: 52, Settings: 10, Missing: []string{"flybridge: installing 4.0-12"}}
	text := strings.Join(strings.Fields(sheet.Text(made(t, in))), " ")
	for _, fact := range []struct{ words, source string }{
		{"A device that loses power while it writes its own software may not start again", "IACS UR E10: supply interruptions are tested for corruption of programme or data"},
		{"12.6 to 12.8 V full, 12.4 V three quarters, 12.2 V half, 12.0 V a quarter (common practice", "second-hand: battery makers' tables, rested four hours or more"},
		{"About one and a half slow turns with the engine at idle, at 2 to 3 degrees a second", "common practice, no source"},
		{"within 0.9 m of the sensor (common practice)", "common practice, no source"},
		{"Current shows in each run, and doesn't drop out of the mean of the two angles", "computed: on 030 at 6 kn in 1.2 kn setting 075 one run shows 7.1 degrees and the mean of both 1.1, with a perfect compass"},
		{"The pilot steers S-turns by itself and must not be interrupted", "common practice, no source"},
		{"each display on its own", "common practice, no source"},
		{"Change over to manual steering and back", "SOLAS V/24.4: manual steering is tested after long use of the autopilot"},
		{"Every device's settings, waypoints, routes and tracks are saved", "IACS UR E22 Rev.3, second-hand: settings backed up"},
		{"One way: you cannot go back to 3.1-40.", "IACS UR E22 Rev.3, second-hand: way back, or that there is none"},
		{"Every version with a box has been read off its device", "IACS UR E26, second-hand: versions confirmed while switched on"},
		{"Agreed by", "IACS UR E22 Rev.3, second-hand: who was told and who approved"},
		{"at least 87 min with checks and settings. Times not known: 1.", "the plan's time"},
	} {
		assert.Contains(t, text, fact.words, fact.source)
	}
	in.Vessel.Supply = "24V"
	assert.NotContains(t, sheet.Text(made(t, in)), "lead-acid", "the battery's figures are for 12 V")
	assert.NotRegexp(t, `(?i)compl(y|ies|iant)`, text)
}

// The order of the work is the order on the page.
func TestOrderOfTheWork(t *testing.T) {
	var got []string
	for _, s := range made(t, provenKittiwake()).Sections {
		got = append(got, s.ID)
	}
	assert.Equal(t, []string{
		"summary", "leave", "start", "fails", "work-1", "checks", "finish", "network", "shop",
	}, got)
}

// Ids are unique: a form keeps what was filled in by them.
func TestIDsAreUnique(t *testing.T) {
	seen := map[string]bool{}
	once := func(id string) {
		assert.False(t, seen[id], id)
		assert.NotEmpty(t, id)
		seen[id] = true
	}
	s := made(t, provenMorvenRose())
	for _, section := range s.Sections {
		once(section.ID)
	}
	ticks := blocks[sheet.Tick](s)
	var blanks []sheet.Blank
	for _, step := range blocks[sheet.Step](s) {
		once(step.ID)
		blanks = append(blanks, step.Before, step.Read, step.Took, step.Note)
		ticks = append(append(ticks, step.First...), step.Then...)
	}
	for _, tick := range ticks {
		once(tick.ID)
		blanks = append(blanks, tick.Blanks...)
	}
	for _, all := range blocks[sheet.Checks](s) {
		for _, c := range all {
			once(c.ID)
			blanks = append(blanks, c.Value)
		}
	}
	for _, all := range blocks[sheet.Signs](s) {
		for _, sign := range all {
			blanks = append(blanks, sign.Blanks...)
		}
	}
	for _, all := range blocks[sheet.Blanks](s) {
		blanks = append(blanks, all...)
	}
	for _, all := range blocks[sheet.Boxes](s) {
		for _, box := range all {
			once(box.ID)
		}
	}
	for _, table := range blocks[sheet.Table](s) {
		for _, row := range table.Rows {
			if row.Blank != nil {
				blanks = append(blanks, *row.Blank)
			}
			if row.Tick != "" {
				once(row.Tick)
			}
		}
	}
	for _, b := range blanks {
		once(b.ID)
	}
}

// A device that installs at power-up gets the card while it is off, and loses
// it before it is switched on again; what it passes on, it takes while it runs.
func TestCardInASlotAtPowerUp(t *testing.T) {
	in := provenKittiwake()
	in.Shop.Models[0].Card = atPower
	s := made(t, in)
	steps := blocks[sheet.Step](s)
	assert.Equal(t, "Switch flybridge off.", steps[0].Do[0])
	assert.Equal(t, "Put card 1 of 1 into flybridge.", steps[0].Do[1])
	assert.Equal(t, "Switch flybridge on.", steps[0].Do[2])
	assert.Equal(t, "When flybridge shows its new version, take the card out: at power-up it would install again.", steps[0].Do[len(steps[0].Do)-1])
	assert.Equal(t, "Put card 1 of 1 into flybridge while it runs, not before.", steps[1].Do[0])

	in = provenKittiwake() // with a small display aboard that this card isn't for
	in.Vessel.Devices = append(in.Vessel.Devices, &manifest.Device{ID: "cabin", Model: "fennick-plot-9", Version: "2.0~rc1"})
	assert.Contains(t, sheet.Text(made(t, in)), "Keep this card out of cabin at power-up.")
}
