package manifest_test

import (
	"testing"

	"github.com/stretchr/testify/assert"

	"cardwright/manifest"
)

func TestVesselsCalled(t *testing.T) {
	shop := &manifest.Shop{Vessels: []*manifest.Vessel{
		{ID: "kitty-wake", Name: "Kitty Wake", Formerly: []string{"kittiwake"}},
		{ID: "skerry-light", Name: "Skerry Light"},
		{ID: "skerry-light-2", Name: "Skerry Light"},
		{ID: "aero", Name: "Ærø"},
	}}
	for word, want := range map[string][]string{
		"kitty-wake": {"kitty-wake"}, "Kitty Wake": {"kitty-wake"}, "KITTY_WAKE": {"kitty-wake"},
		"kittiwake":      {"kitty-wake"},   // the id that she had
		"skerry-light":   {"skerry-light"}, // an id is an id, whatever others are called
		"skerry-light-2": {"skerry-light-2"},
		"Skerry Light":   {"skerry-light", "skerry-light-2"},
		"ærø":            {"aero"}, "": nil, " ": nil, "-": nil, "kitty": nil,
	} {
		var got []string
		for _, v := range shop.VesselsCalled(word) {
			got = append(got, v.ID)
		}
		assert.Equal(t, want, got, "%q", word)
	}
}
