package verify

import (
	"fmt"
	"slices"

	"cardwright/manifest"
	"cardwright/manifest/digest"
	"cardwright/manifest/order"
	"cardwright/media"
)

// fitting is a vessel of the shop for which files on a card would do.
type fitting struct {
	vessel       *manifest.Vessel
	whole, steps int // of its plan: with all their files there, and all
}

// fittings are the vessels that the files on a card are for: any where none was
// named; else, on a card with no record and with packages that aren't wanted,
// those whose whole plan it holds.
func fittings(m matched) (all []fitting) {
	shop, visit := m.expected.shop(), m.expected.visit()
	if shop == nil || visit != nil && !strange(m) {
		return nil
	}
	have := map[digest.SHA256]bool{}
	for _, f := range m.card.files.all {
		have[f.SHA256] = true
	}
	for _, v := range shop.Vessels {
		if visit != nil && v.ID == visit.Vessel.ID {
			continue
		}
		plan, err := order.Make(shop, v)
		if err != nil || plan.Conflict != nil {
			continue // such a vessel's own plan says why
		}
		whole := 0
		for _, s := range plan.Steps {
			if !slices.ContainsFunc(s.Files, func(f digest.File) bool { return !have[f.SHA256] }) {
				whole++
			}
		}
		if whole > 0 && (visit == nil || whole == len(plan.Steps)) {
			all = append(all, fitting{v, whole, len(plan.Steps)})
		}
	}
	return all
}

// strange reports a card with packages that aren't wanted on it, and with no
// record that says whose it is.
func strange(m matched) bool {
	_, hasRecord := m.card.own[media.RecordPath]
	known := func(it identified) bool { return len(m.known.of(it.file)) > 0 }
	return !hasRecord && slices.ContainsFunc(m.others, known)
}

// judgeVessels reports which vessels of the shop the files on the card are for.
func judgeVessels(m matched, report func(Finding)) {
	for _, f := range m.fits {
		d := fitsVessel.meaningOf(f.vessel.ID)
		switch {
		case m.expected.Nothing:
			d = fitsNotNeeded
		case m.expected.visit() != nil:
			d = fitsAnother
		}
		report(d.at("", "", fmt.Sprintf("the files for %d of the %d steps of %s (%s)", f.whole, f.steps, f.vessel.Name, f.vessel.ID)))
	}
}
