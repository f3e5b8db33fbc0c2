package order

import (
	"testing"

	"github.com/stretchr/testify/assert"
)

func TestDaysStayAtOnePlace(t *testing.T) {
	due := func(id, berth string, minutes int) Standing {
		return Standing{Vessel: id, Berth: berth, Steps: 1, Minutes: minutes}
	}
	fleet := []Standing{
		due("kittiwake", "Hollin Quay, C 14", 300), due("morven-rose", "Hollin Quay, B 2", 200),
		due("skerry-light", "North Yard", 100), due("curlew", "Hollin Quay, C 15", 180),
		due("dunlin", "", 60), due("avocet", "", 60), due("gannet", "Hollin Quay, A 1", 1000),
		{Vessel: "up-to-date", Berth: "Hollin Quay, D 1"},
	}
	fleet[3].AtLeast = true
	assert.Equal(t, []Day{
		{Number: 1, Vessels: []string{"dunlin"}, Minutes: 60, Days: 1}, // nobody knows where they lie
		{Number: 2, Vessels: []string{"avocet"}, Minutes: 60, Days: 1},
		{Number: 3, Place: "Hollin Quay", Vessels: []string{"gannet"}, Minutes: 1000, Days: 3},
		{Number: 6, Place: "Hollin Quay", Vessels: []string{"morven-rose", "curlew"}, Minutes: 380, AtLeast: true, Days: 1},
		{Number: 7, Place: "Hollin Quay", Vessels: []string{"kittiwake"}, Minutes: 300, Days: 1},
		{Number: 8, Place: "North Yard", Vessels: []string{"skerry-light"}, Minutes: 100, Days: 1},
	}, Days(fleet, UsualDay))
}
