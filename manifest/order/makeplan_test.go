package order

import (
	"encoding/json"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// The worked examples are our own; the rules they follow are in doc.go.
func TestMakeWorkedExamples(t *testing.T) {
	for _, c := range []struct{ name, scene, order string }{
		{"nothing to do", `
			model plot card
			3.1
			device helm plot 3.1`, ""},
		{"a version written differently is the same", `
			model plot card
			4.1
			device helm plot 4.01`, ""},
		{"a display's new release that wants a newer radar first", `
			model plot card
			3.1
			4.0 needs[radar >= 1.8 by start]
			model radar card
			1.6
			1.8
			device helm plot 3.1
			device radar radar 1.6`, "radar 1.6>1.8, helm 3.1>4.0"},
		{"a stepping stone", `
			model plot card
			2.0
			3.0
			4.0 over[>= 3.0]
			device helm plot 2.0`, "helm 2.0>3.0, helm 3.0>4.0"},
		{"two displays that must match", `
			model plot card alike
			3.0
			4.0 variant[EU]
			3.0 variant[EU]
			3.5
			3.5 variant[EU]
			device helm plot 3.0
			device flybridge plot 3.0 variant[EU]`, "helm 3.0>3.5, flybridge 3.0>3.5"},
		{"a radar that goes through the raised display", `
			model plot card passes[radar]
			3.1
			4.0 needs[radar >= 1.8 by end]
			model radar
			1.6
			1.8 passed[>= 4.0]
			device helm plot 3.1
			device radar radar 1.6 through[helm]`, "helm 3.1>4.0, radar 1.6>1.8 through helm"},
		{"any one host will do", `
			model plot card passes[radar]
			4.0
			model old card passes[radar]
			1.0
			model radar
			1.6
			1.8 passed[>= 4.0]
			device helm old 1.0
			device flybridge plot 4.0
			device radar radar 1.6 through[helm flybridge]`, "radar 1.6>1.8 through flybridge"},
		{"withdrawn releases are not chosen", `
			model plot card
			3.1
			4.0 withdrawn[charts vanish]
			device helm plot 3.1`, ""},
		{"a customer's hold", `
			model plot card
			3.1
			3.5
			4.0
			device helm plot 3.1 hold[< 4]`, "helm 3.1>3.5"},
		{"a held radar keeps the display back", `
			model plot card
			3.1
			4.0 needs[radar >= 1.8 by end]
			model radar card
			1.6
			1.8
			device helm plot 3.1
			device radar radar 1.6 hold[= 1.6]`, ""},
		{"what is installed and untouched still needs", `
			model plot card
			4.0 needs[radar >= 1.8 by end]
			model radar card
			1.6
			1.8
			device helm plot 4.0
			device radar radar 1.6`, "radar 1.6>1.8"},
		{"a device that nothing can update stays", `
			model radar
			1.6
			1.8
			device radar radar 1.6`, ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			plan, err := Make(scene(c.scene))
			require.NoError(t, err)
			require.Nil(t, plan.Conflict)
			assert.Equal(t, c.order, short(plan))
		})
	}
}

func TestMakeOutOfService(t *testing.T) {
	plan, err := Make(scene(`
		model plot card passes[radar]
		3.1
		4.0 needs[radar >= 1.8 by end] minutes[20]
		model radar
		1.6
		1.8 passed[>= 4.0]
		model pilot card
		1.0
		2.0 needs[plot >= 4.0 by end]
		device pilot pilot 1.0
		device helm plot 3.1
		device radar radar 1.6 through[helm]`))
	require.NoError(t, err)
	assert.Equal(t, "helm 3.1>4.0, radar 1.6>1.8 through helm, pilot 1.0>2.0", short(plan))
	assert.Equal(t, []OutOfService{{"radar", 1, 2, 20, true}}, plan.OutOfService)
}

func TestMakeConflict(t *testing.T) {
	plan, err := Make(scene(`
		model plot card
		4.0 needs[radar >= 1.8 by end]
		model radar card
		1.6
		1.8
		device helm plot 4.0
		device radar radar 1.6 hold[< 1.8]`))
	require.NoError(t, err)
	require.NotNil(t, plan.Conflict)
	text, err := json.Marshal(plan.Conflict)
	require.NoError(t, err)
	assert.JSONEq(t, `{
		"because": [
			{"kind": "hold", "fact": "radar is held to < 1.8", "at": "scene:8"},
			{"kind": "need", "fact": "plot 4.0 needs radar >= 1.8 when the visit ends", "at": "scene:3:1"},
			{"kind": "installed", "fact": "helm runs plot 4.0", "at": "scene:7"},
			{"kind": "catalogue", "fact": "of plot the catalogue has only 4.0", "at": "scene:2"}],
		"would_free": [
			"lift the hold on radar (scene:8)",
			"exchange helm for one that runs a version after 4.0",
			"add to the catalogue a release of plot that fits, a version after 4.0"]}`, string(text))
}

func TestMakeUpperBoundThatDoesNotMatter(t *testing.T) {
	plan, err := Make(scene(`
		model plot card
		3.1
		4.0 needs[radar < 5 by end]
		model radar card
		1.6
		1.8
		device helm plot 3.1
		device radar radar 1.6`))
	require.NoError(t, err)
	assert.Equal(t, "helm 3.1>4.0, radar 1.6>1.8", short(plan))
}
