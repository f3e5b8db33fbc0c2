package main

import (
	"fmt"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"cardwright/manifest"
)

// A vessel is found by its id or its name, whatever the case; half a word is no name
// of hers, and is only offered.
func TestVesselsByTheirNames(t *testing.T) {
	shop := &manifest.Shop{Vessels: []*manifest.Vessel{
		{ID: "kittiwake", Name: "Kittiwake"},
		{ID: "skerry-light", Name: "Skerry Light"},
		{ID: "skerry-2", Name: "Skerry"},
		{ID: "morven-rose", Name: "Morven Rose"},
		{ID: "rose", Name: "Kittiwake"},
	}}
	for word, id := range map[string]string{
		"skerry-light": "skerry-light", "Skerry Light": "skerry-light", "SKERRY LIGHT": "skerry-light",
		"skerry": "skerry-2", "kittiwake": "kittiwake",
	} {
		v, err := vesselCalled(shop, word)
		require.NoError(t, err, word)
		assert.Equal(t, id, v.ID)
	}
	for word, says := range map[string]string{
		"morven":      "; try morven-rose; there are:",
		"skery-light": "; try skerry-light; there are:",
		"Kittiwake":   "2 vessels are called",
		"sk":          `no vessel "sk" in ; there are:`, // two begin so
		"-":           `no vessel "-" in ; there are:`,
		"":            `no vessel "" in ; there are:`,
	} {
		_, err := vesselCalled(shop, word)
		require.ErrorContains(t, err, says, word)
		assert.Equal(t, exitUsage, code(err))
	}
	_, err := vesselCalled(&manifest.Shop{}, "kittiwake")
	assert.ErrorContains(t, err, "there are: none")
}

// Of a large fleet an error names a few vessels.
func TestAnErrorNamesAFewVessels(t *testing.T) {
	shop := &manifest.Shop{}
	for i := range 1000 {
		shop.Vessels = append(shop.Vessels, &manifest.Vessel{ID: fmt.Sprintf("boat-%d", i), Name: fmt.Sprintf("Boat %d", i)})
	}
	_, err := vesselCalled(shop, "kittiwake")
	assert.ErrorContains(t, err, "boat-19, and 980 more")
	assert.NotContains(t, err.Error(), "boat-20")
}
