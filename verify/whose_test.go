package verify_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

	"cardwright/media"
	"cardwright/verify"
)

// Whose card it is stands before all else, in one sentence, only where it isn't the
// one that was asked for.
func TestWhoseCardItIs(t *testing.T) {
	asked := verify.AskedFor{Shop: "Hollin Quay", Vessel: "Kittiwake", Card: media.Card{Number: 1, Of: 2}}
	on := &media.Record{Shop: "Hollin Quay", Vessel: "skerry-light", VesselName: "Skerry Light", Card: 2, Of: 2}
	back := *on
	back.WayBack = true
	nameless := *on
	nameless.VesselName = ""
	stranger := *on
	stranger.Shop = "Another"
	made := &verify.Making{At: time.Date(2026, 3, 2, 12, 0, 0, 0, time.Local)}
	found := func(k verify.Kind, path string) verify.Report {
		return verify.Report{Findings: []verify.Finding{{Kind: k, Path: path}}}
	}
	for name, c := range map[string]struct {
		report verify.Report
		on     *media.Record
		made   *verify.Making
		want   string
	}{
		"no record":                {found(verify.OtherVessel, media.RecordPath), nil, nil, ""},
		"the one asked for":        {verify.Report{}, on, made, ""},
		"another file's finding":   {found(verify.OtherVessel, "01-radar/a.upd"), on, made, ""},
		"another vessel's":         {found(verify.OtherVessel, media.RecordPath), on, nil, "This is Skerry Light's card; you asked for Kittiwake."},
		"and when it was made":     {found(verify.OtherVessel, media.RecordPath), on, made, "This is Skerry Light's card, made 2 March 2026; you asked for Kittiwake."},
		"by another shop":          {found(verify.OtherVessel, media.RecordPath), &stranger, nil, "This is Skerry Light's card, made by Another; you asked for Kittiwake."},
		"of a vessel with no name": {found(verify.OtherVessel, media.RecordPath), &nameless, nil, "This is skerry-light's card; you asked for Kittiwake."},
		"needs nothing now":        {found(verify.NothingNeeded, ""), on, nil, "This is Skerry Light's card; Skerry Light needs nothing from a card now."},
		"a way back, asked for":    {found(verify.WayBackCard, media.RecordPath), &back, nil, "This is Skerry Light's WAY BACK card; you asked for the card of the update."},
		"not the way back":         {found(verify.WayBackCard, media.RecordPath), on, nil, "This is Skerry Light's card of updates; you asked for the WAY BACK card."},
		"another plan":             {found(verify.OtherPlan, media.RecordPath), on, nil, "This is Skerry Light's card, for another plan than today's."},
		"another way back":         {found(verify.OtherPlan, media.RecordPath), &back, nil, "This is Skerry Light's WAY BACK card, for another way back than the one asked for."},
		"another of the set":       {found(verify.OtherCard, media.RecordPath), on, nil, "This is card 2 of 2 for Skerry Light; you asked for card 1 of 2."},
	} {
		assert.Equal(t, c.want, c.report.Whose(c.on, asked, c.made), name)
	}
}
