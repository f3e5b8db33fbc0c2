package record_test

import (
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"cardwright/manifest"
	"cardwright/manifest/edit"
	"cardwright/manifest/survey"
	"cardwright/manifest/tables"
	"cardwright/manifest/version"
	"cardwright/verify/ledger"
	"cardwright/verify/ledger/record"
)

// surveyed is a shop with a boat to survey.
func surveyed(t *testing.T) (*manifest.Shop, *manifest.Vessel) {
	t.Helper()
	dir := t.TempDir()
	for name, text := range map[string]string{
		"shop.yaml":              "shop: Hollin Quay Marine Electrics\n",
		"catalogue/p.yaml":       "model: fennick-plot-9\nmaker: Fennick\nname: Plot 9\nkind: chart display\ncard: {least: 4GB, most: 32GB, file_systems: [fat32], folder: any}\npasses_on: [fennick-sweep-2]\n",
		"catalogue/s.yaml":       "model: fennick-sweep-2\nmaker: Fennick\nname: Sweep 2\nkind: radar\n",
		"vessels/kittiwake.yaml": "vessel: kittiwake\nname: Kittiwake\ndevices:\n  - {id: helm, model: fennick-plot-9, version: 3.1}\n  - {id: radar, model: fennick-sweep-2, serial: R2, place: arch, version: 1.6, through: helm}\n",
	} {
		path := filepath.Join(dir, filepath.FromSlash(name))
		require.NoError(t, os.MkdirAll(filepath.Dir(path), 0o755))
		require.NoError(t, os.WriteFile(path, []byte(text), 0o644))
	}
	shop, err := manifest.Load(dir)
	require.NoError(t, err)
	return shop, shop.Vessel("kittiwake")
}

func surveyTable(t *testing.T, text string) *tables.Table {
	t.Helper()
	table, err := tables.Read("s.csv", []byte(text), record.SurveyColumns)
	require.NoError(t, err)
	return table
}

// A device that was ticked was read, one that was left blank was not, and a model is
// found however it is written.
func TestATickIsAReading(t *testing.T) {
	shop, v := surveyed(t)
	table, err := record.Answers{Vessel: "kittiwake", Devices: []record.AnswerDevice{
		{Device: "helm", Filed: "3.1", AsFiled: true, Note: "behind the panel", Line: 3},
		{Device: "radar", Filed: "1.6", Line: 4},
	}, Also: []record.AnswerDevice{{Model: "Fennick Sweep 2", Place: "mast", Version: "v1.8", Line: 6}}}.Table("s.json", shop)
	require.NoError(t, err)
	require.Empty(t, record.SurveyMistakes(shop, v, table))
	s := record.SurveyFromTable(v, table, time.Now(), false)
	assert.Equal(t, map[string]version.V{"helm": "3.1"}, s.Read)
	assert.Equal(t, map[string]string{"helm": "behind the panel"}, s.Said)
	assert.Empty(t, s.Changes)
	assert.Equal(t, []edit.NewDevice{{Model: "fennick-sweep-2", Place: "mast", Version: "v1.8"}}, s.Fresh)

	unknown, err := record.Answers{Vessel: "kittiwake", Devices: []record.AnswerDevice{{Device: "helm", Filed: "unknown", AsFiled: true}}}.Table("s.json", shop)
	require.NoError(t, err)
	assert.Empty(t, record.SurveyFromTable(v, unknown, time.Now(), false).Read, "a tick beside nothing says nothing")
}

// What was found goes into the file and is reported, new devices with the ids that they
// got; the same page taken again finds them there.
func TestASurveyIsWritten(t *testing.T) {
	shop, v := surveyed(t)
	table := surveyTable(t, "device,model,place,serial,version\nhelm,,,00231,v3.10\nmast,fennick-sweep-2,,,1.8\n")
	s := record.SurveyFromTable(v, table, time.Now(), false)
	f, now, opened, err := edit.OpenVessel(shop.Dir, v)
	require.NoError(t, err)
	require.NoError(t, s.Write(f, now, opened))
	assert.Equal(t, []survey.Change{
		{Device: "helm", Key: "serial", Is: "00231"},
		{Device: "helm", Key: "version", Was: "3.1", Is: "3.10"},
		{Device: "mast", Is: "fennick-sweep-2 1.8"},
	}, s.Changes)
	will, err := edit.Check(shop.Dir, f)
	require.NoError(t, err)
	v = will.Vessel("kittiwake")
	assert.Equal(t, []string{"helm"}, v.Device("mast").Through)

	var kinds []ledger.Kind
	for _, e := range s.Entries(v, will.Models) {
		kinds = append(kinds, e.Kind)
	}
	assert.Equal(t, []ledger.Kind{ledger.VisitBegun, ledger.VesselTakenOn, ledger.CheckPassed}, kinds)
	again := record.SurveyFromTable(v, table, time.Now(), false)
	assert.Empty(t, again.Changes)
	assert.Empty(t, again.Fresh)

	page, err := record.Answers{Vessel: "kittiwake", Also: []record.AnswerDevice{{Model: "fennick-sweep-2", Serial: "R2"}}}.Table("s.json", will)
	require.NoError(t, err)
	assert.Empty(t, record.SurveyFromTable(v, page, time.Now(), false).Fresh, "by its serial one without an id is aboard already")
}

// One survey is one visit, whenever it is noted, unless somebody gives its day; a
// table of an earlier build, without the boat, is the same one.
func TestTheSameSurveyIsOneVisit(t *testing.T) {
	_, v := surveyed(t)
	monday := time.Date(2026, 3, 2, 12, 0, 0, 0, time.UTC)
	visit := func(text string, at time.Time, dated bool) string {
		return record.SurveyFromTable(v, surveyTable(t, text), at, dated).Visit
	}
	one := visit("device,version\nhelm,3.5\n", monday, false)
	assert.Equal(t, one, visit("device,version\nhelm,3.5\n", monday.AddDate(0, 0, 1), false))
	assert.Equal(t, one, visit("vessel,version,device\nkittiwake,3.5,helm\n", monday, false))
	assert.NotEqual(t, one, visit("device,version\nhelm,3.6\n", monday, false))
	assert.NotEqual(t, visit("device,version\nhelm,3.5\n", monday, true), visit("device,version\nhelm,3.5\n", monday.AddDate(0, 0, 1), true))
}

func TestSurveyMistakes(t *testing.T) {
	shop, v := surveyed(t)
	var told []string
	for _, m := range record.SurveyMistakes(shop, v, surveyTable(t, "vessel,device,model\nskerry-light,helm,\nkittiwake,helm,\n,hlm,\n,radar,fennick-plot-9\n,mast,fennick-sweep-3\n,bow,fennick-sweep-2\n")) {
		told = append(told, m.At.String()+" "+m.What+", found "+m.Found+", expected "+m.Expected+"; "+m.Advice)
	}
	assert.Equal(t, []string{
		`s.csv:2:1 a survey of another boat, found "skerry-light", expected kittiwake; `,
		`s.csv:3:11 device given twice, found "helm", expected each device once; `,
		`s.csv:4:2 no such device, found "hlm", expected one of helm, radar; or a model, for a device that is new; helm`,
		`s.csv:5:8 another model, found "fennick-plot-9", expected fennick-sweep-2, as in the vessel's file; change the vessel's file by hand where the device was exchanged`,
		`s.csv:6:7 another model, found "fennick-sweep-3", expected a model of the catalogue; fennick-sweep-2`,
	}, told)
}

// Of a capture that is taken over which is certain; the rest is counted for a person.
func TestOnlyWhatIsCertainIsTakenOffTheNetwork(t *testing.T) {
	s, left := record.SurveyFromNetwork([]survey.Line{
		{State: survey.Same, Device: "helm"},
		{State: survey.New, Model: "fennick-sweep-2", Serial: "R9", Version: "1.8"},
		{State: survey.Unclear},
		{State: survey.UnknownModel},
		{State: survey.NotSeen, Device: "radar"},
	}, time.Now())
	assert.Equal(t, 2, left)
	assert.Equal(t, []edit.NewDevice{{Model: "fennick-sweep-2", Serial: "R9", Version: "1.8"}}, s.Fresh)
	assert.Empty(t, s.Changes)
	assert.Equal(t, ledger.FromCapture, s.How)
}

// The table and the page's file are recognised by how they begin, as spreadsheets
// and phones save them; what is neither is reported as a mistake in that file.
func TestReadSurvey(t *testing.T) {
	shop, _ := surveyed(t)
	saved := `{"format": 1, "kind": "survey", "vessel": "kittiwake", "by": "T. Arkwright", "found": "2026-03-02", "devices": [{"device": "helm", "version": "3.5"}], "also": []}`
	for _, text := range []string{saved, "\ufeff\r\n " + saved} {
		f, err := record.ReadSurvey("s", []byte(text), shop)
		require.NoError(t, err)
		assert.Equal(t, []string{"T. Arkwright", "2026-03-02", "3.5"}, []string{f.By, f.Found, f.Table.Rows[0].Get("version")})
	}
	f, err := record.ReadSurvey("s", []byte("\ufeffdevice;version\r\nhelm;v3.5\r\n"), shop)
	require.NoError(t, err)
	assert.Equal(t, []string{"", "v3.5"}, []string{f.By, f.Table.Rows[0].Get("version")})
	assert.False(t, f.Latin1)
	f, err = record.ReadSurvey("s", []byte("device,note\nhelm,Gr\xfcn\n"), shop)
	require.NoError(t, err)
	assert.Equal(t, "Grün", f.Table.Rows[0].Get("note"))
	assert.True(t, f.Latin1)
	for text, what := range map[string]string{
		`{"format": 1`: "not a saved survey",
		`{"format": 1, "kind": "survey", "vessel": 7, "devices": [], "also": []}`: "not as a saved survey is, at /vessel",
		"device\n": "empty table",
	} {
		_, err := record.ReadSurvey("s", []byte(text), shop)
		var ms manifest.Mistakes
		require.ErrorAs(t, err, &ms, text)
		assert.Equal(t, what, ms[len(ms)-1].What)
		assert.Equal(t, "s", ms[0].At.File)
	}
}
