package main

import (
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/stretchr/testify/assert"
)

func TestWideLinesAreBrokenBetweenWords(t *testing.T) {
	wide := "cardwright: opening image nothere.img: there is no such file or drive: check the name and the folder (no such file)\n" +
		"  found:    " + strings.Repeat("word ", 20) + "\n" +
		"  cardwright verify " + strings.Repeat("x", 100) + ".img\nshort"
	got := fitted(wide)
	for line := range strings.Lines(got) {
		if strings.HasPrefix(line, "  cardwright ") {
			assert.Equal(t, "  cardwright verify "+strings.Repeat("x", 100)+".img\n", line, "a command can be copied")
			continue
		}
		assert.True(t, utf8.RuneCountInString(strings.TrimSpace(line)) <= columns || !strings.Contains(strings.TrimSpace(line), " "), line)
	}
	assert.Equal(t, strings.Fields(wide), strings.Fields(got), "no word is lost or cut")
	assert.Contains(t, got, "\n  found:", "what was indented stays so")
	assert.Equal(t, "a  b", fitted("a  b"), "what fits is left alone")
}
