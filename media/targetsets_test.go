package media_test

import (
	"testing"

	"github.com/stretchr/testify/assert"

	"cardwright/media"
)

func TestTargetsAreSharedOutInSets(t *testing.T) {
	two := media.TargetSets{8e9, 4e9, 7e9, 5e9} // two sets of two cards
	assert.True(t, two.Whole(2))
	assert.False(t, two.Whole(3))
	assert.Equal(t, []int64{8e9, 4e9, 7e9, 5e9}, two.Smallest(1))
	assert.Equal(t, []int64{7e9, 4e9}, two.Smallest(2), "each card has to fit its smallest copy")
	assert.Equal(t, [][]int{{0, 2}, {1, 3}}, two.Together(2))
	assert.Equal(t, [][]int{{0, 1, 2, 3}}, two.Together(1))

	folder := media.TargetSets{8e9, 0, 7e9}
	assert.Equal(t, []int64{7e9}, folder.Smallest(3))
	assert.Equal(t, [][]int{{1}, {0, 2}}, folder.Together(1), "a folder is written on its own")
	assert.Empty(t, media.TargetSets{0, 0}.Smallest(1))
}
