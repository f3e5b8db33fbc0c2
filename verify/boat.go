package verify

import (
	"fmt"
	"slices"
	"strings"

	"cardwright/manifest/order"
	"cardwright/media"
)

// judgePowerUp tells what would happen were a device that installs by itself
// powered up with this card in.
func judgePowerUp(m matched, tell teller) {
	visit := m.expected.visit()
	for _, d := range visit.atPowerUp() {
		model := visit.Shop.Model(d.Model)
		found := m.known.releases(model, m.card.files.all)
		if len(found) == 0 {
			continue
		}
		if names, ok := oneOf(found); ok {
			tell(wouldTake.at("", "", fmt.Sprintf("%s (%s) would install %s", d.ID, d.Place, names)))
		} else {
			tell(severalAtPowerUp.meaningOf(d.ID, d.Place).at("", "one release of "+model.ID, strings.Join(releaseNames(found), ", ")))
		}
	}
}

// judgePlan tells of a signed card whose plan isn't today's: an older card of the
// vessel, which is right by its own record and may be out of date.
func judgePlan(m matched, tell teller) {
	shop, found := m.expected.shop(), m.record.is
	if found == nil || shop == nil || !m.expected.FromRecord || !m.signer.vouches() {
		return
	}
	vessel := shop.Vessel(found.Vessel)
	if vessel == nil {
		return
	}
	plan, err := order.Make(shop, vessel)
	if err != nil || plan.ID() == found.Plan {
		return
	}
	tell(superseded.adviceFor(found.Vessel).at(media.RecordPath, "plan "+plan.ID()+", today's for "+found.VesselName, "plan "+found.Plan))
}

// judgeVessels tells for which vessels of the shop the card would do, where none
// was named.
func judgeVessels(m matched, tell teller) {
	shop := m.expected.shop()
	if shop == nil || m.expected.visit() != nil {
		return
	}
	have := map[string]bool{}
	for _, f := range m.card.files.all {
		have[f.SHA256] = true
	}
	for _, v := range shop.Vessels {
		plan, err := order.Make(shop, v)
		if err != nil || plan.Conflict != nil {
			continue // such a vessel's own plan says why
		}
		whole := 0
		for _, s := range plan.Steps {
			if !slices.ContainsFunc(s.Files, func(f order.File) bool { return !have[f.SHA256] }) {
				whole++
			}
		}
		if whole > 0 {
			tell(fitsVessel.meaningOf(v.ID).at("", "", fmt.Sprintf("the files for %d of the %d steps of %s (%s)", whole, len(plan.Steps), v.Name, v.ID)))
		}
	}
}
