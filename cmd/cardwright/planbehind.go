package main

import (
	"fmt"
	"io"
	"slices"
	"strings"

	"cardwright/manifest"
	"cardwright/manifest/order"
)

type stay = order.Stay

// behind are the devices that a plan leaves on older releases, and why.
type behind struct {
	stays []stay
	more  bool     // there are others, not explained
	only  []string // what alone was asked for
	empty bool     // the plan does nothing
}

// staysBehind explains what a plan leaves behind; nothing where there is no plan.
func staysBehind(shop *manifest.Shop, vessel *manifest.Vessel, o askOptions, plan order.Plan) behind {
	b := behind{stays: []stay{}, only: o.only, empty: len(plan.Steps) == 0}
	ask, err := o.ask()
	if err != nil || plan.Conflict != nil || plan.WayBack || len(plan.Later) > 0 || len(plan.Unknown) > 0 && len(plan.Steps) == 0 { // what is left for later is told with the part
		return b
	}
	stays, more, err := order.Stays(shop, vessel, ask, plan)
	b.more = more || err != nil
	b.stays = append(b.stays, stays...)
	return b
}

// blocked tells whether something keeps the only devices that were asked for from
// being updated.
func (b behind) blocked() bool {
	return b.empty && slices.ContainsFunc(b.stays, func(s stay) bool {
		return slices.Contains(b.only, s.Device) && len(s.Because) > 0
	})
}

func (b behind) write(w io.Writer) {
	shown := 0
	for _, s := range b.stays {
		if len(b.only) > 0 && !slices.Contains(b.only, s.Device) {
			continue // left alone because it was asked
		}
		if shown++; shown == 1 {
			fmt.Fprintln(w, "\nWhat stays behind, and why")
		}
		text := fmt.Sprintf("%s ends on %s, not on %s: %s", s.Device, s.Ends, s.Newest, whyBehind(s))
		fmt.Fprintf(w, "  - %s\n", wrapped(text, "    "))
	}
	switch {
	case shown > 0 && b.more:
		fmt.Fprintln(w, "  The others, and the whole of it: cardwright plan VESSEL --why DEVICE")
	case shown > 0:
		fmt.Fprintln(w, "  The whole of it: cardwright plan VESSEL --why DEVICE")
	}
}

// whyBehind is the short form: what the catalogue has and what is installed goes
// without saying where something else is in the way.
func whyBehind(s stay) string {
	if s.Instead != "" {
		return s.Instead
	}
	var facts, others []string
	for _, f := range s.Because {
		if f.Kind == order.KindCatalogue || f.Kind == order.KindInstalled {
			others = append(others, f.Fact)
		} else {
			facts = append(facts, f.Fact)
		}
	}
	if len(facts) == 0 {
		facts = others
	}
	return strings.Join(facts, "; ")
}

// without leaves out the notes that are told with their reasons.
func (b behind) without(notes []string) []string {
	return slices.DeleteFunc(slices.Clone(notes), func(n string) bool {
		return strings.HasPrefix(n, "warning: this is a PART of the work: it leaves out ") || strings.HasPrefix(n, "there is another conflict, ") || slices.ContainsFunc(b.stays, func(s stay) bool {
			return n == fmt.Sprintf("%s ends on %s, not on %s, the newest", s.Device, s.Ends, s.Newest)
		})
	})
}
