package verify

import (
	"fmt"
	"slices"
	"strings"

	"cardwright/media"
)

// AskedFor is the card that a verdict was asked about.
type AskedFor struct {
	Shop   string // the name of who asks
	Vessel string // its name
	Card   media.Card
}

// Whose says whose card it is and when it was made, where it isn't the one that
// was asked for: that explains all else. on is its record, nil where it has none
// that can be read; made is what the ledger has of it, nil for nothing. "": it is
// the one, or no record tells.
func (r Report) Whose(on *media.Record, asked AskedFor, made *Making) string {
	if names := r.Fits(); on == nil && len(names) > 0 {
		return fmt.Sprintf("By its files this is a card for %s; you asked for %s.", strings.Join(names, " or "), asked.Vessel)
	}
	if on == nil {
		return ""
	}
	name, when := on.VesselName, ""
	if name == "" {
		name = on.Vessel
	}
	switch {
	case made != nil:
		when = ", made " + made.At.Local().Format("2 January 2006")
	case on.Shop != asked.Shop:
		when = ", made by " + on.Shop
	}
	switch {
	case r.ofRecord(OtherVessel):
		return fmt.Sprintf("This is %s's card%s; you asked for %s.", name, when, asked.Vessel)
	case r.ofRecord(NothingNeeded):
		return fmt.Sprintf("This is %s's card%s; %s needs nothing from a card now.", name, when, name)
	case r.ofRecord(WayBackCard) && on.WayBack:
		return fmt.Sprintf("This is %s's WAY BACK card%s; you asked for the card of the update.", name, when)
	case r.ofRecord(WayBackCard):
		return fmt.Sprintf("This is %s's card of updates%s; you asked for the WAY BACK card.", name, when)
	case r.ofRecord(OtherPlan) && on.WayBack:
		return fmt.Sprintf("This is %s's WAY BACK card%s, for another way back than the one asked for.", name, when)
	case r.ofRecord(OtherPlan):
		return fmt.Sprintf("This is %s's card%s, for another plan than today's.", name, when)
	case r.ofRecord(OtherCard):
		return fmt.Sprintf("This is card %d of %d for %s%s; you asked for card %d of %d.", on.Card, on.Of, name, when, asked.Card.Number, asked.Card.Of)
	}
	return ""
}

// ofRecord reports whether a kind of finding speaks of the record, and so of the whole
// card.
func (r Report) ofRecord(k Kind) bool {
	return slices.ContainsFunc(r.Findings, func(f Finding) bool {
		return f.Kind == k && (f.Path == media.RecordPath || f.Kind == NothingNeeded)
	})
}
