package record

import (
	"cardwright/manifest"
	"cardwright/manifest/order"
	"cardwright/media"
)

// PlanFor takes the plan that a sheet is filled in for: today's, which the job has, or
// the one that an earlier build made of the same steps, or that was made under an id which
// the vessel had before. Where it is none of them the job
// stays as it is, and Belongs says what differs.
func (j *Job) PlanFor(f *Filled, shop *manifest.Shop, ask order.Ask) {
	sheet := *f
	if sheet.Plan == j.Plan.ID() {
		sheet.Plan = "" // also where the sheet, a table, doesn't say: its steps do
	}
	if sheet.FilledFor(j.Plan) {
		return
	}
	for _, then := range append([]string{j.Vessel.ID}, j.Vessel.Formerly...) {
		for _, ask.Earlier = range append([]order.Earlier{0}, order.AllEarlier...) {
			if _, plan, err := media.Visit(shop, j.Vessel.Under(then), ask); err == nil && sheet.FilledFor(plan) {
				j.Plan = plan
				if f.Plan != "" {
					f.Plan = plan.ID()
				}
				return
			}
		}
	}
}
