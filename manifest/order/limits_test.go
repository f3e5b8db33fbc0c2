package order

import (
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// Four devices whose packages can't share cards.
const apart = `
	model a card alone
	1
	2
	3 over[= 2]
	model b card alone
	1
	2 needs[a >= 2 by start]
	3 over[= 2] needs[a >= 3 by start]
	device a1 a 1
	device b1 b 1
	device a2 a 1
	device b2 b 1`

func TestFewerCardSwapsAreLookedForWithinALimit(t *testing.T) {
	shop, vessel := scene(apart)
	plan, err := Make(shop, vessel)
	require.NoError(t, err)
	assert.Equal(t, "a1 1>2, a2 1>2, a1 2>3, a2 2>3, b1 1>2, b2 1>2, b1 2>3, b2 2>3", short(plan))
	assert.Empty(t, plan.Notes)

	few := standard
	few.swapTries = 0
	shop, vessel = scene(apart)
	plan, err = whatIf(shop, vessel, Ask{}, few)
	require.NoError(t, err)
	checkWindows(t, &oracle{shop: shop, vessel: vessel}, plan, "few")
	assert.Equal(t, []string{"the order is safe and as short as can be; whether another order has fewer card swaps was not settled"}, plan.Notes)
}

func TestSearchIsGivenUpAtItsLimits(t *testing.T) {
	shop, vessel := denseScene(1, 12, 6)
	for _, tight := range []limits{
		{ruleTests: 20, states: 1000, ends: 24, swapTries: 1000},
		{ruleTests: 1_000_000, states: 2, ends: 24, swapTries: 1000},
	} {
		_, err := whatIf(shop, vessel, Ask{}, tight)
		var gaveUp *GaveUp
		require.ErrorAs(t, err, &gaveUp)
		assert.Len(t, gaveUp.Devices, 12)
		assert.True(t, strings.HasPrefix(err.Error(), "gave up without an answer (more than"), err)
	}
}

// However tight the limits, what is planned is right, and what is proven is.
func TestTightLimitsOnlyGiveUp(t *testing.T) {
	gaveUp, planned, conflicts := 0, 0, 0
	for seed := range uint64(400) {
		r := rand.New(rand.NewPCG(seed, 8))
		text, top := randomScene(r, small)
		shop, vessel := scene(text)
		tight := limits{ruleTests: 1 + r.IntN(100), states: 1 + r.IntN(20), ends: 1 + r.IntN(3), swapTries: r.IntN(20)}
		plan, err := whatIf(shop, vessel, Ask{}, tight)
		if err != nil {
			gaveUp++
			continue
		}
		var out []string
		for _, l := range plan.LeftOut {
			if out = append(out, l.Devices...); l.GaveUp != "" {
				gaveUp++
				continue
			}
			conflicts++
			alone := having(vessel, func(id string) bool { return slices.Contains(l.Devices, id) })
			require.Nil(t, (&oracle{shop: shop, vessel: alone, top: top}).newest(), text)
		}
		planned++
		o := &oracle{shop: shop, vessel: having(vessel, func(id string) bool { return !slices.Contains(out, id) }), top: top}
		checkWindows(t, o, plan, text)
		require.Equal(t, o.newest(), o.after(plan), text)
	}
	t.Logf("gave up %d, planned %d, conflicts %d", gaveUp, planned, conflicts)
	for _, n := range []int{gaveUp, planned, conflicts} {
		require.Greater(t, n, 20)
	}
}

// after is the state that a plan ends in.
func (o *oracle) after(plan Plan) []int {
	s := o.starts()[0]
	for i, d := range o.vessel.Devices {
		s[i] = number(plan.ends(d))
	}
	return s
}
