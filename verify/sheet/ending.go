package sheet

import (
	"slices"
	"strconv"

	"cardwright/manifest"
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
	s.Blocks = append(s.Blocks, Paragraph(w.say("fails.tell")))
	return s
}

func everyModelTold(in Input, told []string) bool {
	return !slices.ContainsFunc(in.updated(), func(d *manifest.Device) bool { return !slices.Contains(told, d.Model) })
}

// ending is what ends the visit, with room for what stays open, and signatures.
func ending(w speech, in Input) Section {
	s := Section{ID: "finish", Title: w.say("finish"), Whole: true}
	if len(in.Plan.Steps) > 0 {
		s.Blocks = append(s.Blocks, tick(w, "finish.cards", "cards", counted(w, "cards", len(in.Plan.Cards))))
		if rest := in.untouched(); len(rest) > 0 {
			ids := make([]string, len(rest))
			for i, d := range rest {
				ids[i] = d.ID
			}
			s.Blocks = append(s.Blocks, tick(w, "finish.rest", "devices", names(ids)))
		}
		s.Blocks = append(s.Blocks, tick(w, "finish.helms"), tick(w, "finish.told"), tick(w, "finish.log"))
	}
	var open Blanks
	for i := range 2 {
		open = append(open, Blank{ID: "open-" + strconv.Itoa(i+1), Label: w.say("open.blank"), Wide: true})
	}
	s.Blocks = append(s.Blocks, open)
	var signs Signs
	for _, who := range []string{"sign.technician", "sign.owner"} {
		sign := Sign{Who: w.say(who)}
		for _, what := range []string{"sign.name", "sign.hand", "sign.when"} {
			sign.Blanks = append(sign.Blanks, Blank{ID: id(who + "." + what), Label: w.say(what)})
		}
		signs = append(signs, sign)
	}
	s.Blocks = append(s.Blocks, signs)
	return s
}
