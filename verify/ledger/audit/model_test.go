package audit_test

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"cardwright/verify/ledger"
	"cardwright/verify/ledger/audit"
	"cardwright/verify/ledger/ledgertest"
	"cardwright/verify/ledger/store"
)

// The answers about releases, for random work, are those that a plain walk
// through the entries gives: no table, no index, no SQL.
func TestAnswersAreThoseOfAPlainWalk(t *testing.T) {
	onBoth(t, func(t *testing.T, l *store.Ledger) {
		const vessels, days = 12, 5
		w := ledgertest.NewWorld(99)
		var all []ledger.Entry
		for n := range vessels {
			all = append(all, w.TakeOn(n, 0))
		}
		for day := range days {
			for n := range vessels {
				if rand.IntN(3) > 0 {
					all = append(all, w.Visit(n, 10*(day+1))...)
				}
			}
		}
		runs := map[string]string{}             // vessel/device: the version key it runs
		ran := map[string]map[string]bool{}     // release: devices that ever ran it
		carried := map[string]map[string]bool{} // release: devices that cards carried it for
		note := func(m map[string]map[string]bool, release, device string) {
			if m[release] == nil {
				m[release] = map[string]bool{}
			}
			m[release][device] = true
		}
		for _, e := range all {
			for _, r := range ledger.Readings(&e) {
				runs[e.Vessel+"/"+r.Device.ID] = r.Device.Model + " " + string(r.Version)
				note(ran, r.Device.Model+" "+string(r.Version), e.Vessel+"/"+r.Device.ID)
			}
			for _, c := range ledger.CarriedBy(&e) {
				note(carried, c.Release.Model+" "+string(c.Release.Version), e.Vessel+"/"+c.Release.Device)
			}
		}
		rand.Shuffle(len(all), func(i, j int) { all[i], all[j] = all[j], all[i] }) // events that came late count the same
		appendTo(t, l, "Ada", all...)

		for _, d := range ledgertest.Equipment {
			for n := range 10 {
				v := ledgertest.Release(n)
				release := d.Model + " " + string(v)
				u, err := audit.OfRelease(ctx, l, d.Model, v, none)
				require.NoError(t, err)
				var has, had, cards []string
				for device := range ran[release] {
					if runs[device] == release {
						has = append(has, device)
					} else {
						had = append(had, device)
					}
				}
				for device := range carried[release] {
					cards = append(cards, device)
				}
				var gotCards []string
				for _, c := range u.Carried {
					gotCards = append(gotCards, c.Vessel.ID+"/"+c.Device)
				}
				for _, pair := range [][2][]string{{has, who(u.Has)}, {had, who(u.Had)}, {cards, gotCards}} {
					slices.Sort(pair[0])
					slices.Sort(pair[1])
					assert.Equal(t, fmt.Sprint(pair[0]), fmt.Sprint(pair[1]), release)
				}
			}
		}
	})
}
