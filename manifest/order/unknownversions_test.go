package order

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"cardwright/manifest/version"
)

func TestUnknownVersionIsReadFirst(t *testing.T) {
	plan, err := Make(scene(`
		model plot card
		2.0
		3.0
		4.0 over[>= 3.0] needs[radar >= 1.8 by end]
		model radar card
		1.6
		1.8
		device helm plot unknown
		device radar radar 1.6`))
	var unread *Unread
	require.ErrorAs(t, err, &unread)
	assert.EqualError(t, err, "version unknown: read it off the device and write it down for helm (scene:9)")
	assert.Empty(t, plan.Steps)
	require.Len(t, plan.Unknown, 1)
	assert.Equal(t, []version.V{"2.0", "3.0", "4.0"}, plan.Unknown[0].Likely)
	var follows []string
	for _, a := range plan.Answers {
		follows = append(follows, string(a.Found[0])+": "+short(a.Then))
	}
	assert.Equal(t, []string{
		"2.0: helm 2.0>3.0, radar 1.6>1.8, helm 3.0>4.0",
		"3.0: radar 1.6>1.8, helm 3.0>4.0",
		"4.0: radar 1.6>1.8",
	}, follows)
}

func TestUnknownVersionsCombine(t *testing.T) {
	plan, err := Make(scene(`
		model plot card
		1
		2
		model radar card
		1
		2
		3
		device helm plot unknown
		device radar radar unknown`))
	var unread *Unread
	require.ErrorAs(t, err, &unread)
	require.Len(t, plan.Answers, 6)
	assert.Equal(t, []version.V{"1", "1"}, plan.Answers[0].Found)
	assert.Equal(t, []version.V{"1", "2"}, plan.Answers[1].Found)
	assert.Equal(t, []version.V{"2", "3"}, plan.Answers[5].Found)
}

func TestTooManyUnknownVersionsAreJustRead(t *testing.T) {
	plan, err := Make(scene(`
		model plot card
		1
		2
		3
		4
		5
		device a plot unknown
		device b plot unknown
		device c plot unknown`))
	var unread *Unread
	require.ErrorAs(t, err, &unread)
	assert.Empty(t, plan.Answers) // 5 × 5 × 5 is more than maxAnswers
	assert.Equal(t, []string{"more than 64 combinations of versions are likely: read the versions, then plan"}, plan.Notes)
}
