package order

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"cardwright/manifest"
	"cardwright/manifest/version"
)

func TestFleet(t *testing.T) {
	shop, due := scene(`
		model plot card
		1 minutes[10]
		2 minutes[15]
		3 minutes[20] over[>= 2]
		device helm plot 1
		device flybridge plot 2`)
	_, upToDate := scene("device helm plot 3")
	_, blocked := scene("device helm plot 3 hold[< 3]")
	_, unread := scene("device helm plot unknown")
	_, stray := scene("device helm sounder 1")
	due.ID, due.Name, due.Berth = "kittiwake", "Kittiwake", "Hollin Quay, C 14"
	shop.Vessels = []*manifest.Vessel{due, upToDate, blocked, unread, stray}

	fleet, err := Fleet(shop, Ask{})
	require.NoError(t, err)
	for i := range fleet {
		fleet[i].Plan = Plan{}
	}
	assert.Equal(t, []Standing{
		{Vessel: "kittiwake", Name: "Kittiwake", Berth: "Hollin Quay, C 14", State: Due, Devices: 2, Steps: 3, Minutes: 55},
		{Vessel: "kittiwake", State: UpToDate},
		{Vessel: "kittiwake", State: Blocked, Why: "helm is held to < 3"},
		{Vessel: "kittiwake", State: ToBeRead, Why: "version unknown: read it off the device and write it down for helm (scene:1)"},
		{Vessel: "kittiwake", State: NotPlanned, Why: "scene:1: device helm is of model sounder, which the catalogue doesn't have"},
	}, fleet)
	fleet, err = Fleet(&manifest.Shop{}, Ask{})
	require.NoError(t, err)
	assert.Empty(t, fleet)

	upToDate.ID = "skerry-light"
	shop.Vessels = []*manifest.Vessel{due, upToDate}
	fleet, err = Fleet(shop, Ask{Hold: []string{"flybridge"}, Aim: map[string]version.V{"plot": "2"}})
	require.NoError(t, err)
	assert.Equal(t, Due, fleet[0].State)
	assert.Equal(t, "helm 1>2", short(fleet[0].Plan))
	assert.Equal(t, Blocked, fleet[1].State, "it can't go back to 2")
	assert.Equal(t, []string{"skerry-light"}, Blockers(fleet)[0].Vessels)
	_, err = Fleet(shop, Ask{Hold: []string{"mast"}})
	assert.EqualError(t, err, `no vessel has a device "mast"`)
	_, err = Fleet(shop, Ask{Aim: map[string]version.V{"sonar": "2"}})
	assert.EqualError(t, err, `no vessel has a device of model "sonar" aboard`)
}
