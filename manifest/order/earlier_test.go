package order

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// No step without a way back comes before one with a way back,
// unless the rules force it. What the maker doesn't say is not counted on.
func TestAnUnsaidWayBackCountsAsNone(t *testing.T) {
	const boat = `
		model echo card
		1
		2 UNSAID
		model ais card
		1
		2 back
		device depth echo 1
		device ais ais 1`
	for _, test := range []struct{ name, said, now, unsaidGoesBack, swapsOnly string }{
		{"not said", "", "ais 1>2, depth 1>2", "depth 1>2, ais 1>2", "depth 1>2, ais 1>2"},
		{"none", "noback", "ais 1>2, depth 1>2", "ais 1>2, depth 1>2", "depth 1>2, ais 1>2"},
		{"one", "back", "depth 1>2, ais 1>2", "depth 1>2, ais 1>2", "depth 1>2, ais 1>2"},
	} {
		t.Run(test.name, func(t *testing.T) {
			for earlier, want := range map[Earlier]string{0: test.now, UnsaidGoesBack: test.unsaidGoesBack, SwapsOnly: test.swapsOnly} {
				shop, vessel := scene(strings.ReplaceAll(boat, "UNSAID", test.said))
				plan, err := WhatIf(shop, vessel, Ask{Earlier: earlier})
				require.NoError(t, err)
				assert.Equal(t, want, short(plan), "%d", earlier)
			}
		})
	}
}

// Of two without, the one whose maker gives none comes last.
func TestAStepThatCertainlyHasNoWayBackComesLast(t *testing.T) {
	for earlier, want := range map[Earlier]string{0: "ais 1>2, depth 1>2", UnsaidGoesBack: "ais 1>2, depth 1>2", SwapsOnly: "depth 1>2, ais 1>2"} {
		shop, vessel := scene("model echo card\n1\n2 noback\nmodel ais card\n1\n2\ndevice depth echo 1\ndevice ais ais 1")
		plan, err := WhatIf(shop, vessel, Ask{Earlier: earlier})
		require.NoError(t, err)
		assert.Equal(t, want, short(plan), "%d", earlier)
	}
}

// The step says so where it waits for that, and only there.
func TestAStepWithAnUnsaidWayBackSaysWhyItIsLate(t *testing.T) {
	const why = "as late as the rules allow, since the maker doesn't say if there is a way back"
	plan, err := Make(scene("model echo card\n1\n2\nmodel ais card\n1\n2 back\ndevice depth echo 1\ndevice ais ais 1"))
	require.NoError(t, err)
	assert.Contains(t, plan.Steps[1].Why, why)
	plan, err = Make(scene("model echo card\n1\n2\nmodel ais card\n1\n2\ndevice depth echo 1\ndevice ais ais 1"))
	require.NoError(t, err)
	for _, s := range plan.Steps {
		assert.NotContains(t, s.Why, why)
	}
}
