package main

import (
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/stretchr/testify/assert"
)

// atScreen has text written for a screen of 80 columns while a test runs: what
// isn't read at one is not broken.
func atScreen(t *testing.T) {
	before := columns
	columns = 80
	t.Cleanup(func() { columns = before })
}

func TestWideLinesAreBrokenBetweenWords(t *testing.T) {
	wide := "cardwright: opening image nothere.img: there is no such file or drive: check the name and the folder (no such file)\n" +
		"  found:    " + strings.Repeat("word ", 20) + "\n" +
		"  cardwright verify " + strings.Repeat("x", 100) + ".img\nshort"
	got := fitted(80, wide)
	for line := range strings.Lines(got) {
		if strings.HasPrefix(line, "  cardwright ") {
			assert.Equal(t, "  cardwright verify "+strings.Repeat("x", 100)+".img\n", line, "a command can be copied")
			continue
		}
		assert.True(t, utf8.RuneCountInString(strings.TrimSpace(line)) <= 80 || !strings.Contains(strings.TrimSpace(line), " "), line)
	}
	assert.Equal(t, strings.Fields(wide), strings.Fields(got), "no word is lost or cut")
	assert.Contains(t, got, "\n  found:", "what was indented stays so")
	assert.Equal(t, wide, fitted(unbroken, wide), "a file or a program gets its lines whole")
	assert.Equal(t, "a  b", fitted(80, "a  b"), "what fits is left alone")
}
