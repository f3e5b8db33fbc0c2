package edit_test

import (
	"encoding/json"
	"maps"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"cardwright/manifest"
	"cardwright/manifest/edit"
)

// The schemas, made from the types that the loader reads, have every key: a new one
// gets its place here, or would go to the end of whatever file it is put into.
func TestEveryKeyHasItsPlace(t *testing.T) {
	for _, c := range []struct {
		schema, kind string
		order        edit.KeyOrder
	}{
		{"model", "Model", edit.ModelKeys},
		{"model", "CardRules", edit.CardKeys},
		{"model", "Release", edit.ReleaseKeys},
		{"model", "File", edit.FileKeys},
		{"vessel", "Vessel", edit.VesselKeys},
		{"vessel", "Device", edit.DeviceKeys},
	} {
		text, err := manifest.Schemas.ReadFile("schema/" + c.schema + ".schema.json")
		require.NoError(t, err)
		type mapping struct {
			Properties map[string]any `json:"properties"`
		}
		var file struct {
			mapping
			Defs map[string]mapping `json:"$defs"`
		}
		require.NoError(t, json.Unmarshal(text, &file))
		of, below := file.Defs[c.kind]
		if !below {
			of = file.mapping
		}
		keys := slices.Collect(maps.Keys(of.Properties))
		require.NotEmpty(t, keys, c.kind)
		assert.ElementsMatch(t, keys, c.order, c.kind)
		assert.Len(t, slices.Compact(slices.Sorted(slices.Values(c.order))), len(c.order), "%s: each once", c.kind)
	}
}

// A key that is put into a file of other hands goes behind what comes before it there,
// whatever else is in between.
func TestPlaceOfANewKey(t *testing.T) {
	text, err := edit.Parse("m.yaml", []byte("model: m\nkind: radar\nreleases:\n  - version: 1.0\n    released: 2026-03-02\n    files: [{name: a, size: 1, unpack: zip}]\n"))
	require.NoError(t, err)
	require.NoError(t, text.Set(edit.Way{"signing_key"}, "k", edit.ModelKeys))
	require.NoError(t, text.Set(edit.Way{"alike"}, edit.Plain("true"), edit.ModelKeys))
	require.NoError(t, text.Set(edit.Way{"releases", 0, "withdrawn"}, "melts", edit.ReleaseKeys))
	require.NoError(t, text.Set(edit.Way{"releases", 0, "files", 0, "trust"}, "ours", edit.FileKeys))
	require.NoError(t, text.Insert(edit.Way{"history"}, 0, "h", edit.ModelKeys))
	assert.Equal(t, "model: m\nkind: radar\nalike: true\nsigning_key: k\nreleases:\n  - version: 1.0\n    released: 2026-03-02\n    withdrawn: melts\n"+
		"    files: [{name: a, size: 1, trust: ours, unpack: zip}]\nhistory: [h]\n", string(text.Bytes()))
}
