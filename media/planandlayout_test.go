package media_test

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"cardwright/manifest/order"
	"cardwright/media"
	"cardwright/media/mediatest/shoptest"
)

// A card is judged by the plan that it names, whichever build ordered its steps.
func TestVisitNamedFindsThePlanOfEveryBuild(t *testing.T) {
	shop := shoptest.New(t, "")
	for _, d := range []struct {
		id   string
		back *bool
	}{{"helm", new(bool)}, {"sounder", nil}, {"ais", new(true)}} {
		shop.Model(d.id, shoptest.AnyCard())
		shop.Device(d.id, d.id)
		shop.Step(d.id, "2.0", "", shoptest.File{Name: d.id + ".upd", Content: []byte(d.id)})
		shop.Shop.Model(d.id).Releases[0].WayBack = d.back
	}
	visit := func(earlier order.Earlier) order.Plan {
		_, plan, err := media.Visit(shop.Shop, shop.Vessel, order.Ask{Earlier: earlier})
		require.NoError(t, err)
		return plan
	}
	named := func(id string) order.Plan {
		_, plan, err := media.VisitNamed(id, shop.Shop, shop.Vessel, order.Ask{})
		require.NoError(t, err)
		return plan
	}
	for earlier, want := range map[order.Earlier][]string{
		0:                    {"ais", "sounder", "helm"},
		order.UnsaidGoesBack: {"sounder", "ais", "helm"},
		order.SwapsOnly:      {"helm", "sounder", "ais"},
	} {
		var got []string
		for _, s := range named(visit(earlier).ID()).Steps {
			got = append(got, s.Device)
		}
		assert.Equal(t, want, got)
	}
	assert.Equal(t, visit(0).ID(), named("of none of them").ID())
}
