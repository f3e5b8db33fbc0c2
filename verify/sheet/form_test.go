package sheet_test

import (
	"bytes"
	"encoding/json"
	"reflect"
	"strings"
	"testing"

	"github.com/santhosh-tekuri/jsonschema/v6"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"cardwright/manifest"
	"cardwright/verify/sheet"
)

// schema is the form's, compiled by an outside library of JSON Schema.
func schema(t *testing.T) *jsonschema.Schema {
	t.Helper()
	doc, err := jsonschema.UnmarshalJSON(bytes.NewReader(sheet.FormSchema))
	require.NoError(t, err)
	c := jsonschema.NewCompiler()
	require.NoError(t, c.AddResource("form.json", doc))
	s, err := c.Compile("form.json")
	require.NoError(t, err)
	return s
}

func validForm(t *testing.T, data []byte) {
	t.Helper()
	doc, err := jsonschema.UnmarshalJSON(bytes.NewReader(data))
	require.NoError(t, err)
	assert.NoError(t, schema(t).Validate(doc))
}

func blankForm(t *testing.T) []byte {
	t.Helper()
	data, err := json.Marshal(made(t, provenKittiwake()).Form)
	require.NoError(t, err)
	return data
}

func TestBlankForm(t *testing.T) {
	data := blankForm(t)
	validForm(t, data)
	form, err := sheet.ReadForm(bytes.NewReader(data))
	require.NoError(t, err)
	assert.Equal(t, made(t, provenKittiwake()).Form, form)
	for _, c := range form.Checks {
		assert.Contains(t, manifest.Checks, c.Check)
	}
}

// The schema and the types have the same keys.
func TestSchemaHasTheKeysOfTheForm(t *testing.T) {
	var doc struct {
		Required   []string
		Properties map[string]struct {
			Items struct {
				Required   []string
				Properties map[string]any
			}
		}
	}
	require.NoError(t, json.Unmarshal(sheet.FormSchema, &doc))
	assert.ElementsMatch(t, keys(sheet.Form{}), doc.Required)
	assert.Len(t, doc.Properties, len(doc.Required))
	for key, v := range map[string]any{"steps": sheet.FormStep{}, "checks": sheet.FormCheck{}} {
		assert.ElementsMatch(t, keys(v), doc.Properties[key].Items.Required)
		assert.Len(t, doc.Properties[key].Items.Properties, len(keys(v)))
	}
}

func keys(v any) []string {
	var all []string
	for f := range reflect.TypeOf(v).Fields() {
		all = append(all, f.Tag.Get("json"))
	}
	return all
}

// Wrong forms are refused by the schema and by ReadForm, with the place.
func TestReadFormRefuses(t *testing.T) {
	good := string(blankForm(t))
	for name, c := range map[string]struct{ old, with, says string }{
		"format":       {`"format":1`, `"format":2`, "format 2, expected 1: a newer cardwright made it"},
		"vessel":       {`"vessel":"kittiwake"`, `"vessel":""`, "vessel: "},
		"plan":         {`"plan":"9945`, `"plan":"XY45`, "plan: found"},
		"step result":  {`"result":""`, `"result":"fine"`, `steps[0].result: found "fine"`},
		"minutes":      {`"minutes":0`, `"minutes":-1`, "steps[0].minutes: found -1"},
		"number":       {`"number":1`, `"number":0`, "steps[0].number: found 0"},
		"part number":  {`"number":1`, `"number":1.5`, "number"},
		"long note":    {`"note":""`, `"note":"` + strings.Repeat("x", 201) + `"`, "steps[0].note: more than 200"},
		"long version": {`"after":""`, `"after":"` + strings.Repeat("1", 65) + `"`, "more than 64"},
		"unknown key":  {`"by":`, `"bye":1,"by":`, "bye"},
		"another type": {`"vessel":"kittiwake"`, `"vessel":7`, "vessel"},
		"no device":    {`"device":"flybridge"`, `"device":""`, "steps[0].device"},
	} {
		t.Run(name, func(t *testing.T) {
			require.Contains(t, good, c.old)
			bad := strings.Replace(good, c.old, c.with, 1)
			_, err := sheet.ReadForm(strings.NewReader(bad))
			assert.ErrorContains(t, err, c.says)
			assert.ErrorContains(t, err, "reading filled-in order: ")
			doc, err := jsonschema.UnmarshalJSON(strings.NewReader(bad))
			require.NoError(t, err)
			assert.Error(t, schema(t).Validate(doc))
		})
	}
	for name, text := range map[string]string{
		"empty": "", "two": good + good, "not UTF-8": "{\"by\":\"\xff\"}", "huge": strings.Repeat(" ", sheet.MaxFormBytes+1),
		"another check": strings.Replace(good, `"check":"settings and waypoints"`, `"check":"vibes"`, 1),
	} {
		_, err := sheet.ReadForm(strings.NewReader(text))
		assert.ErrorContains(t, err, "reading filled-in order: ", name)
	}
}

func FuzzReadForm(f *testing.F) {
	s, err := sheet.Make(provenKittiwake())
	require.NoError(f, err)
	seed, err := json.Marshal(s.Form)
	require.NoError(f, err)
	f.Add(seed)
	f.Fuzz(func(t *testing.T, data []byte) {
		form, err := sheet.ReadForm(bytes.NewReader(data))
		if err != nil {
			return
		}
		again, err := json.Marshal(form)
		require.NoError(t, err)
		back, err := sheet.ReadForm(bytes.NewReader(again))
		require.NoError(t, err, "what is read is written so that it can be read")
		assert.Equal(t, form, back)
	})
}
