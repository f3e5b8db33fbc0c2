package readiness

import (
	"cardwright/manifest"
	"cardwright/manifest/order"
	"cardwright/media"
)

// Serve fills in which cards to make for a fleet, and what holds up
// how many vessels: causes of conflicts, versions that nobody has read, and
// packages that the shop hasn't got, by name and size.
func Serve(shop *manifest.Shop, fleet []order.Standing) []order.Blocker {
	all := order.Blockers(fleet)
	packages := media.PackagesOf(shop)
	for i := range fleet {
		s := &fleet[i]
		v := shop.Vessel(s.Vessel)
		for _, f := range order.Holding(shop, v, s.Plan) {
			all = order.Block(all, s.Vessel, f.Fact, f.At)
		}
		if s.Cards = []order.Card{}; s.Steps == 0 {
			continue
		}
		layout, plan, err := media.Lay(shop, v, s.Plan)
		if err != nil {
			all = order.Block(all, s.Vessel, err.Error(), v.At(""))
			continue
		}
		s.Plan, s.Cards = plan, plan.Cards
		for _, step := range plan.Steps {
			if len(step.Files) == 0 && step.Route != manifest.ByMaker { // the maker brings his own
				release := shop.Model(step.Model).Release(step.To, v.Device(step.Device).Variant)
				all = order.Block(all, s.Vessel, "the catalogue has no file for "+step.Model+" "+string(step.To), release.At("version"))
			}
		}
		for _, lack := range media.LaptopLacks(shop, v, plan) {
			all = order.Block(all, s.Vessel, lack.Err.Error(), manifest.Pos{})
		}
		for _, c := range layout.Cards {
			for _, f := range c.Files {
				if err := packages.There(f.Source); err != nil {
					all = order.Block(all, s.Vessel, err.Error(), manifest.Pos{})
				}
			}
		}
	}
	return order.MostFirst(all)
}
