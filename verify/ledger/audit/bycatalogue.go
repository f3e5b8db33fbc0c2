package audit

import (
	"slices"

	"cardwright/manifest"
	"cardwright/manifest/version"
	"cardwright/verify/ledger/known"
)

// ByCatalogue reports devices on releases that the catalogue withdrew, too: which of
// the two says so makes no difference.
func (h *History) ByCatalogue(catalogue []*manifest.Model) {
	withdrawn := known.WithdrawalsOf(catalogue, nil, nil)
	for i := range h.Devices {
		d := &h.Devices[i]
		for _, v := range []version.V{d.Version, d.Other} {
			told := func(o known.Open) bool { return o.Kind == known.OnWithdrawn && o.What == string(v) }
			if w := withdrawn.Of(d.Model, d.Variant, v); w != nil && !d.Gone && !slices.ContainsFunc(d.Open, told) {
				d.Open = append(d.Open, known.Open{Kind: known.OnWithdrawn, What: string(v), Why: w.Why})
			}
		}
		slices.SortStableFunc(d.Open, func(a, b known.Open) int {
			return slices.Index(known.OpenKinds, a.Kind) - slices.Index(known.OpenKinds, b.Kind)
		})
	}
}
