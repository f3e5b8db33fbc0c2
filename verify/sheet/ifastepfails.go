package sheet

import (
	"slices"

	"cardwright/manifest"
	"cardwright/manifest/order"
)

// ifAStepFails is what to do and whom to call.
func ifAStepFails(w speech, in Input) Section {
	s := Section{ID: "fails", Title: w.say("fails"), Whole: true, Folded: true}
	s.Blocks = append(s.Blocks, Caution(w.say("fails.stop")), Caution(w.say("fails.power")))
	if call := clause(in.Shop.Call); call == "" {
		s.Blocks = append(s.Blocks, Blanks{blank(w, "fails.call.blank")})
	} else {
		s.Blocks = append(s.Blocks, Heading(w.say("fails.call", "call", call)))
	}
	s.Blocks = append(s.Blocks, Paragraph(w.say("fails.write")))
	var told []string
	for _, d := range in.updated() {
		model := in.model(d.Model)
		if model.IfItFails == "" || slices.Contains(told, model.ID) {
			continue
		}
		told = append(told, model.ID)
		s.Blocks = append(s.Blocks, Paragraph(w.say("fails.model", "model", in.modelName(model.ID), "text", prose(model.IfItFails))))
	}
	if told != nil && !everyModelTold(in, told) {
		s.Blocks = append(s.Blocks, Paragraph(w.say("fails.rest")))
	}
	if slices.ContainsFunc(in.Plan.Steps, func(s order.Step) bool { return s.Back != nil && s.Back.To != "" }) {
		s.Blocks = append(s.Blocks, Paragraph(w.say("back.fails")))
	}
	s.Blocks = append(s.Blocks, Paragraph(w.say("fails.tell")))
	return s
}

func everyModelTold(in Input, told []string) bool {
	return !slices.ContainsFunc(in.updated(), func(d *manifest.Device) bool { return !slices.Contains(told, d.Model) })
}
