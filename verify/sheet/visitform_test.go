package sheet_test

import (
	"bytes"
	"encoding/json"
	"testing"

	"github.com/santhosh-tekuri/jsonschema/v6"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"cardwright/manifest"
	"cardwright/verify/ledger/record"
	"cardwright/verify/sheet"
)

// validForm holds a filled-in order against record's schema, by an outside
// library of JSON Schema.
func validForm(t *testing.T, data []byte) {
	t.Helper()
	schema, err := jsonschema.UnmarshalJSON(bytes.NewReader(record.Schema))
	require.NoError(t, err)
	c := jsonschema.NewCompiler()
	require.NoError(t, c.AddResource("form.json", schema))
	s, err := c.Compile("form.json")
	require.NoError(t, err)
	doc, err := jsonschema.UnmarshalJSON(bytes.NewReader(data))
	require.NoError(t, err)
	assert.NoError(t, s.Validate(doc))
}

// The blank form is one that record reads: its steps and checks are the sheet's.
func TestBlankForm(t *testing.T) {
	s := made(t, provenKittiwake())
	data, err := json.Marshal(s.Form)
	require.NoError(t, err)
	validForm(t, data)
	form, err := record.ReadJSON(data)
	require.NoError(t, err)
	assert.Less(t, sheet.FormFormat, record.Format, "an earlier build reads what says nothing of who agreed")
	assert.Equal(t, "kittiwake", form.Vessel)
	assert.Equal(t, provenKittiwake().Plan.ID(), form.Plan)
	steps := blocks[sheet.Step](s)
	require.Len(t, form.Steps, len(steps))
	for i, step := range steps {
		assert.Equal(t, step.Number, form.Steps[i].Number)
	}
	var checks []sheet.Check
	for _, table := range blocks[sheet.Checks](s) {
		checks = append(checks, table...)
	}
	require.Len(t, form.Checks, len(checks))
	for i, c := range form.Checks {
		assert.Contains(t, manifest.Checks, c.Check)
		assert.Equal(t, checks[i].Device, c.Device)
	}
}

// blocks are a sheet's blocks of one kind.
func blocks[B sheet.Block](s sheet.Sheet) []B {
	var all []B
	for _, section := range s.Sections {
		for _, b := range section.Blocks {
			if one, ok := b.(B); ok {
				all = append(all, one)
			}
		}
	}
	return all
}
