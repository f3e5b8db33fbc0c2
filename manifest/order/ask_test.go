package order

import (
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"cardwright/manifest/version"
)

func TestWhatIsAskedMustBeThere(t *testing.T) {
	shop, vessel := scene(`
		model plot card
		1
		2
		model radar card
		1
		device helm plot 1
		device mast radar 1`)
	for _, c := range []struct {
		ask     Ask
		message string
	}{
		{Ask{Hold: []string{"helmm"}}, `vessel kittiwake has no device "helmm"; it has helm, mast`},
		{Ask{Only: []string{"radar"}}, `vessel kittiwake has no device "radar"; it has helm, mast`},
		{Ask{Aim: map[string]version.V{"sounder": "1"}}, `vessel kittiwake has no device of model "sounder" aboard`},
		{Ask{Aim: map[string]version.V{"plot": "7"}}, `the catalogue has no release 7 of plot for the devices aboard kittiwake; it has 1, 2`},
	} {
		_, err := WhatIf(shop, vessel, c.ask)
		var bad *BadAsk
		require.ErrorAs(t, err, &bad)
		assert.EqualError(t, err, c.message)
	}
	_, err := Why(shop, vessel, Ask{}, "nobody")
	assert.EqualError(t, err, `vessel kittiwake has no device "nobody"; it has helm, mast`)
}

func TestWhyTellsOfWithdrawnReleasesAndConflicts(t *testing.T) {
	shop, vessel := scene(`
		model plot card
		1
		2
		3 withdrawn[charts vanish]
		device helm plot 1`)
	reason, err := Why(shop, vessel, Ask{}, "helm")
	require.NoError(t, err)
	assert.Equal(t, version.V("2"), reason.Ends)
	require.Len(t, reason.Newer, 1)
	assert.Equal(t, "plot 3 was withdrawn: charts vanish", reason.Newer[0].Because[0].Fact)

	reason, err = Why(shop, vessel, Ask{Hold: []string{"helm"}, Aim: map[string]version.V{"plot": "2"}}, "helm")
	require.NoError(t, err)
	assert.NotNil(t, reason.Conflict)
	assert.Empty(t, reason.Ends)
}

func TestTooMuchIsRefused(t *testing.T) {
	var b strings.Builder
	b.WriteString("model plot card alike\n1\n2\n")
	for i := range maxDevices + 1 {
		fmt.Fprintf(&b, "device d%d plot 1\n", i)
	}
	_, err := Make(scene(b.String()))
	var gaveUp *GaveUp
	require.ErrorAs(t, err, &gaveUp)
	assert.ErrorContains(t, err, "201 connected devices, and at most 200 can be planned at once")

	b.WriteString("model radar card\n1\n2\ndevice radar radar 1\n") // not connected with them
	plan, err := Make(scene(b.String()))
	require.NoError(t, err)
	assert.Equal(t, "radar 1>2", short(plan))
	assert.Equal(t, "201 connected devices, and at most 200 can be planned at once", plan.LeftOut[0].GaveUp)

	b.Reset()
	b.WriteString("model plot card\n1\n2\n")
	for i := range maxAboard + 1 {
		fmt.Fprintf(&b, "device d%d plot 1\n", i)
	}
	_, err = Make(scene(b.String()))
	require.ErrorAs(t, err, &gaveUp)
	assert.ErrorContains(t, err, "1001 devices aboard, and at most 1000 can be planned")

	b.Reset()
	b.WriteString("model plot card\n")
	for v := range 900 {
		fmt.Fprintf(&b, "%d needs[plot >= 0 by end]\n", v)
	}
	b.WriteString("device helm plot 1\n")
	_, err = Make(scene(b.String()))
	require.ErrorAs(t, err, &gaveUp)
	assert.ErrorContains(t, err, "more than 200000 rules of releases for each other")
}

func TestHostsThatAreNotAboardAreAMistake(t *testing.T) {
	_, err := Make(scene("model plot card\n1\ndevice helm plot 1 through[mast]"))
	assert.EqualError(t, err, "scene:3: device helm is updated through mast, which is not aboard")
}
