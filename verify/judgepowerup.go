package verify

import (
	"fmt"
	"strings"

	"cardwright/manifest/order"
	"cardwright/media"
)

// judgePowerUp reports what would happen were a device that installs by itself
// powered up with this card in.
func judgePowerUp(m matched, report func(Finding)) {
	visit := m.expected.visit()
	for _, d := range visit.atPowerUp() {
		model := visit.Shop.Model(d.Model)
		found := m.known.releases(model, m.card.files.all)
		if len(found) == 0 {
			continue
		}
		if names, ok := oneOf(found); ok {
			report(wouldTake.at("", "", fmt.Sprintf("%s (%s) would install %s", d.ID, d.Place, names)))
		} else {
			report(severalAtPowerUp.meaningOf(d.ID, d.Place).at("", "one release of "+model.ID, strings.Join(releaseNames(found), ", ")))
		}
	}
}

// judgePlan reports a signed card whose plan isn't today's: an older card of the
// vessel, which is right by its own record and may be out of date.
func judgePlan(m matched, report func(Finding)) {
	shop, found := m.expected.shop(), m.record.is
	if found == nil || found.WayBack || shop == nil || !m.expected.FromRecord || !m.signer.vouches() {
		return
	}
	vessel := shop.VesselOnce(found.Vessel)
	if vessel == nil {
		return
	}
	plan, err := order.Make(shop, vessel.Under(found.Vessel))
	if err != nil || plan.ID() == found.Plan {
		return
	}
	report(superseded.adviceFor(found.Vessel).at(media.RecordPath, "plan "+plan.ID()+", today's for "+found.VesselName, "plan "+found.Plan))
}
