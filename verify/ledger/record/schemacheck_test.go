package record_test

import (
	"bytes"
	"encoding/json"
	"errors"
	"slices"
	"strings"
	"testing"

	"github.com/santhosh-tekuri/jsonschema/v6"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"cardwright/verify/ledger/record"
)

// The form that is read here and a library for JSON Schema (santhosh-tekuri's)
// find the same places wrong in sheets that are changed at random.
func TestTheFormAgreesWithALibrary(t *testing.T) {
	good, err := json.Marshal(filled())
	require.NoError(t, err)
	agrees(t, record.Schema, good, func(text []byte) error {
		_, err := record.ReadJSON(text)
		return err
	})
}

// The same of a survey's answers.
func TestTheFormOfAnswersAgreesWithALibrary(t *testing.T) {
	agrees(t, record.AnswersSchema, []byte(answersText), func(text []byte) error {
		_, err := record.ReadAnswers(text)
		return err
	})
}

func agrees(t *testing.T, form, good []byte, read func([]byte) error) {
	t.Helper()
	doc, err := jsonschema.UnmarshalJSON(bytes.NewReader(form))
	require.NoError(t, err)
	c := jsonschema.NewCompiler()
	require.NoError(t, c.AddResource("filled", doc))
	schema, err := c.Compile("filled")
	require.NoError(t, err)
	seen := map[bool]int{}
	rapid.Check(t, func(rt *rapid.T) {
		sheet, err := jsonschema.UnmarshalJSON(bytes.NewReader(good))
		require.NoError(rt, err)
		for range rapid.IntRange(1, 3).Draw(rt, "changes") {
			sheet = changed(rt, sheet)
		}
		text, err := json.Marshal(sheet)
		require.NoError(rt, err)
		want := placesOf(schema.Validate(sheet))
		got := []string{}
		err = read(text)
		var problems record.Mistakes
		if errors.As(err, &problems) && !strings.Contains(err.Error(), "without a point") {
			for _, p := range problems {
				got = append(got, p.Where)
			}
		}
		slices.Sort(got)
		got = slices.Compact(got)
		require.Equal(rt, want, got, "%s", text)
		seen[len(want) == 0]++
	})
	require.NotZero(t, seen[true])
	require.NotZero(t, seen[false])
}

// changed changes one thing anywhere in a document.
func changed(rt *rapid.T, doc any) any {
	others := []any{
		nil, true, "", "done", "put off", "x", strings.Repeat("é", 201), strings.Repeat("0", 64), strings.Repeat("g", 64),
		json.Number("1"), json.Number("0"), json.Number("-1"), json.Number("2.5"), json.Number("3.0"), json.Number("1e3"), json.Number("1e4"), json.Number("10081"),
		[]any{},
		map[string]any{},
		make([]any, 3),
	}
	switch d := doc.(type) {
	case map[string]any:
		if len(d) == 0 || rapid.IntRange(0, 5).Draw(rt, "here") == 0 {
			d[rapid.SampledFrom([]string{"by", "plan", "note", "who", "$schema"}).Draw(rt, "key")] = rapid.SampledFrom(others).Draw(rt, "value")
			return d
		}
		keys := make([]string, 0, len(d))
		for k := range d {
			keys = append(keys, k)
		}
		slices.Sort(keys)
		k := rapid.SampledFrom(keys).Draw(rt, "key")
		if rapid.IntRange(0, 5).Draw(rt, "gone") == 0 {
			delete(d, k)
			return d
		}
		d[k] = changed(rt, d[k])
		return d
	case []any:
		if len(d) > 0 && rapid.IntRange(0, 5).Draw(rt, "within") > 0 {
			i := rapid.IntRange(0, len(d)-1).Draw(rt, "entry")
			d[i] = changed(rt, d[i])
			return d
		}
	}
	return rapid.SampledFrom(others).Draw(rt, "value")
}

func placesOf(err error) []string {
	places := []string{}
	var invalid *jsonschema.ValidationError
	if !errors.As(err, &invalid) {
		return places
	}
	var walk func(*jsonschema.ValidationError)
	walk = func(e *jsonschema.ValidationError) {
		for _, cause := range e.Causes {
			walk(cause)
		}
		if len(e.Causes) == 0 {
			places = append(places, "/"+strings.Join(e.InstanceLocation, "/"))
		}
	}
	walk(invalid)
	slices.Sort(places)
	return slices.Compact(places)
}
