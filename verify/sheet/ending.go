package sheet

import (
	"strconv"
)

// ending is what ends the visit, with room for what stays open, and signatures.
func ending(w speech, in Input) Section {
	s := Section{ID: "finish", Title: w.say("finish"), Whole: true}
	if len(in.Plan.Steps) > 0 {
		if len(in.Plan.Cards) > 0 {
			s.Blocks = append(s.Blocks, tick(w, "finish.cards", "cards", counted(w, "cards", len(in.Plan.Cards))))
		}
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
