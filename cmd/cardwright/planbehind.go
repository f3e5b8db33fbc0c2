package main

import (
	"fmt"
	"io"
	"slices"
	"strings"

	"cardwright/manifest"
	"cardwright/manifest/order"
)

// behind are the devices that a plan leaves on older releases, and why.
type behind struct {
	stays   []order.Stay
	more    bool     // there are others, not explained
	only    []string // what alone was asked for
	blocked bool     // and can't be updated alone
}

// staysBehind explains what a plan leaves behind; nothing where there is no plan.
func staysBehind(shop *manifest.Shop, vessel *manifest.Vessel, o askOptions, plan order.Plan) behind {
	b := behind{stays: []order.Stay{}, only: o.only}
	ask, err := o.ask()
	if err != nil {
		return b
	}
	stays, more, err := order.Stays(shop, vessel, ask, plan)
	b.more = more || err != nil
	b.stays = append(b.stays, stays...)
	b.blocked = order.BlockedAlone(plan, o.only, stays)
	return b
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
		fmt.Fprintln(w, "  The others, and more on each: cardwright plan VESSEL --why DEVICE")
	case shown > 0:
		fmt.Fprintln(w, "  More on each: cardwright plan VESSEL --why DEVICE")
	}
}

// whyBehind is the short form: what the catalogue has and what is installed goes
// without saying where something else is in the way.
func whyBehind(s order.Stay) string {
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
