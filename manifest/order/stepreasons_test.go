package order

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// The worked example is our own; the rules are those of the scene.
func TestEveryStepSaysWhy(t *testing.T) {
	plan, err := Make(scene(`
		model plot card
		3.1
		4.0 needs[radar >= 1.8 by start] noback
		model radar
		1.6
		1.7
		1.8 over[>= 1.7] passed[>= 3.1]
		device helm plot 3.1
		device radar radar 1.6 through[helm]`))
	require.NoError(t, err)
	require.Equal(t, "radar 1.6>1.7 through helm, radar 1.7>1.8 through helm, helm 3.1>4.0", short(plan))
	assert.Equal(t, []string{"for step 2: radar 1.8 can only be installed over >= 1.7"}, plan.Steps[0].Why)
	assert.Equal(t, []string{
		"the newest release",
		"for step 3: plot 4.0 needs radar >= 1.8 before it is installed",
		"after step 1: radar 1.8 can only be installed over >= 1.7",
	}, plan.Steps[1].Why)
	assert.Equal(t, []string{
		"the newest release",
		"after step 2: plot 4.0 needs radar >= 1.8 before it is installed",
		"as late as the rules allow, since there is no way back",
	}, plan.Steps[2].Why)
}

func TestWhatStaysBehindSaysWhy(t *testing.T) {
	shop, vessel := scene(`
		model plot card
		3.1
		4.0 needs[radar >= 1.8 by start]
		model radar card
		1.6
		1.8
		device helm plot 3.1
		device radar radar 1.6`)
	ask := Ask{Only: []string{"helm"}}
	plan, err := WhatIf(shop, vessel, ask)
	require.NoError(t, err)
	require.Empty(t, plan.Steps)
	stays, more, err := Stays(shop, vessel, ask, plan)
	require.NoError(t, err)
	assert.False(t, more)
	require.Len(t, stays, 2)
	assert.Equal(t, "helm", stays[0].Device)
	var facts []string
	for _, f := range stays[0].Because {
		facts = append(facts, f.Fact)
	}
	assert.Contains(t, facts, "asked: radar is left alone")
	assert.Contains(t, facts, "plot 4.0 needs radar >= 1.8 before it is installed")

	assert.True(t, BlockedAlone(plan, []string{"helm"}, stays))
	assert.False(t, BlockedAlone(plan, nil, stays), "nothing was asked for alone")
	plan.Notes = append(plan.Notes, "a note of its own")
	assert.Equal(t, []string{"a note of its own"}, plan.NotesBeside(stays))
	assert.Greater(t, len(plan.NotesBeside(nil)), 1)
}

// What a plan leaves out is reported once where a page has it with its reasons; all
// else that is noted stays.
func TestNotesBesideWhatIsLeftOut(t *testing.T) {
	for _, l := range []LeftOut{
		{Devices: []string{"radar", "helm"}, Conflict: &Conflict{}},
		{Devices: []string{"pilot"}, Unknown: []string{"pilot"}},
		{Devices: []string{"pilot"}, GaveUp: "too many orders"},
	} {
		v := visit{plan: Plan{LeftOut: []LeftOut{l}}}
		v.noteLeftOut()
		v.note("%s", l.conflictNote())
		require.Len(t, v.plan.Notes, 2)
		v.note("risk: no way back")
		assert.Equal(t, []string{"risk: no way back"}, v.plan.NotesBeside(nil))
	}
}
