package sheet

import (
	"slices"

	"cardwright/manifest"
	"cardwright/manifest/order"
	"cardwright/media"
)

// routeFacts are what the technician looks for in a step that comes from no card:
// how it is done, and the files in the shop.
func routeFacts(w speech, in Input, s order.Step) []Fact {
	facts := []Fact{{w.say("route"), w.say("route." + s.Route), false}}
	if s.Route != manifest.ByMaker {
		for _, path := range media.InShop(in.Shop, in.Vessel, s) {
			facts = append(facts, Fact{w.say("step.file"), name(path), true})
		}
	}
	model := in.model(s.Model)
	return filled(append(facts,
		Fact{w.say("step.shown"), shownAt(w, in, s.Model), false},
		Fact{w.say("step.restarts"), clause(model.Restarts), false},
		Fact{w.say("step.leave"), clause(model.LeaveAlone), false},
	)...)
}

// byRoute is what is done in such a step, in order: in the maker's words where the
// catalogue has them.
func byRoute(w speech, in Input, s order.Step) []string {
	if s.Route == "" {
		return nil
	}
	all := []string{w.say("step."+s.Route, "device", name(s.Device))}
	if text := in.model(s.Model).Install; text != "" {
		all = append(all, prose(text))
	}
	if s.Route == manifest.ByCable {
		all = append(all, w.say("step.cable.off", "device", name(s.Device)))
	}
	return all
}

// filesToTake are the files that the steps without a card need.
func filesToTake(in Input) string {
	var all []string
	for _, s := range in.Plan.Steps {
		if s.Route == "" || s.Route == manifest.ByMaker {
			continue
		}
		for _, path := range media.InShop(in.Shop, in.Vessel, s) {
			if !slices.Contains(all, path) {
				all = append(all, path)
			}
		}
	}
	return names(all)
}
