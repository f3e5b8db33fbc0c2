package order

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// A hold that conflicts with nothing still keeps a device behind.
func TestHoldingTellsHoldsThatKeepADeviceBehind(t *testing.T) {
	for _, test := range []struct{ name, hold, newest, want string }{
		{"behind", "hold[< 3]", "3", "hold keeps helm on 2, not on 3: < 3"},
		{"newest allowed", "hold[< 4]", "3", ""},
		{"newest withdrawn", "hold[< 3]", "3 withdrawn[it fails]", ""},
		{"no hold", "", "3", ""},
		{"newest installed", "hold[< 3]", "", ""},
	} {
		t.Run(test.name, func(t *testing.T) {
			shop, vessel := scene("model plot card\n1\n2\n" + test.newest + "\ndevice helm plot 1 " + test.hold)
			plan, err := Make(shop, vessel)
			require.NoError(t, err)
			got := ""
			for _, f := range Holding(shop, vessel, plan) {
				got += f.Fact
			}
			assert.Equal(t, test.want, got)
		})
	}
}

func TestHoldingOfADeviceWithoutAModelTellsNothing(t *testing.T) {
	shop, vessel := scene("model plot card\n1\n2\ndevice helm plot 1 hold[< 2]")
	shop.Models = nil
	assert.Empty(t, Holding(shop, vessel, Plan{}))
}
