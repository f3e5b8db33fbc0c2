package known_test

import (
	"testing"

	"github.com/stretchr/testify/assert"

	"cardwright/verify/ledger"
	"cardwright/verify/ledger/known"
)

// What builds on an event is told by kind and by what both are about: taking it back
// first would leave a box, a name or an id that never was.
func TestWhatStandsOnAnEvent(t *testing.T) {
	change := func(kind ledger.Kind, id string) ledger.Entry {
		d := ledger.Device{ID: id, Model: "fennick-sweep-2", Place: "mast"}
		return ledger.Entry{Kind: kind, DeviceChange: &ledger.DeviceChange{Device: d, Was: ledger.Fitted{Device: ledger.Device{ID: id}}}}
	}
	called := func(id, name string) ledger.Entry {
		return ledger.Entry{Kind: ledger.VesselRenamed, VesselChange: &ledger.VesselChange{ID: id, Name: name, Was: &ledger.Called{ID: "kittiwake", Name: "Kittiwake"}}}
	}
	noting := func(kind ledger.Kind) ledger.Entry {
		return ledger.Entry{Kind: kind, VesselChange: &ledger.VesselChange{}}
	}
	under := func(id string, e ledger.Entry) ledger.Entry { e.Vessel = id; return e }
	notDone := shown("1.8")
	notDone.Kind = ledger.CheckNotDone
	fitted := []ledger.Fitted{{Device: radar, Version: "1.6"}}
	takenOn := ledger.Entry{Kind: ledger.VesselTakenOn, TakenOn: &ledger.TakenOn{Name: "Kittiwake", Devices: fitted}}
	byHand := ledger.Entry{Kind: ledger.WrittenByHand, ByHand: &ledger.ByHand{Devices: fitted}}
	takenOut := ledger.Entry{Kind: ledger.WrittenByHand, ByHand: &ledger.ByHand{Removed: []string{"radar"}}}
	lost := ledger.Entry{Kind: ledger.CardLost, CardFate: &ledger.CardFate{Card: "ab"}}
	replaced := change(ledger.DeviceReplaced, "radar")

	for name, c := range map[string]struct {
		on, later ledger.Entry
		stands    bool
	}{
		"replaced again":                  {replaced, change(ledger.DeviceReplaced, "radar"), true},
		"replaced, then moved":            {replaced, change(ledger.DeviceMoved, "radar"), true},
		"moved, then replaced":            {change(ledger.DeviceMoved, "radar"), replaced, true},
		"moved, then taken off":           {change(ledger.DeviceMoved, "radar"), change(ledger.DeviceTakenOff, "radar"), true},
		"taken off, then written by hand": {change(ledger.DeviceTakenOff, "radar"), byHand, true},
		"replaced, then taken out":        {replaced, takenOut, true},
		"replaced, then taken on":         {replaced, takenOn, true},
		"replaced, then a step":           {replaced, step(ledger.StepDone, "1.6", "1.8", "1.8"), true},
		"replaced, then a failed step":    {replaced, step(ledger.StepFailed, "1.6", "", "1.8"), true},
		"replaced, then read":             {replaced, shown("1.8"), true},
		"replaced, then gone":             {replaced, noting(ledger.VesselGone), true},
		"replaced, then a step put off":   {replaced, step(ledger.StepPutOff, "", "", "1.8"), false},
		"replaced, then a check not done": {replaced, notDone, false},
		"another device":                  {replaced, change(ledger.DeviceMoved, "helm"), false},
		"replaced, then sold":             {replaced, noting(ledger.VesselSold), false},
		"replaced, then renamed":          {replaced, called("kitty", "Kitty"), false},
		"name after name":                 {called("", "Kitty"), called("", "Wake"), true},
		"name, then taken on":             {called("", "Kitty"), takenOn, true},
		"name, then gone":                 {called("", "Kitty"), noting(ledger.VesselGone), true},
		"id, then gone":                   {called("kitty", ""), noting(ledger.VesselGone), true},
		"name after id":                   {called("kitty", ""), called("", "Wake"), false},
		"id after name":                   {called("", "Kitty"), called("kitty", ""), false},
		"id after id":                     {called("kitty", ""), under("kitty", called("kw", "")), true},
		"id, by two vans":                 {called("kitty", ""), called("kw", ""), true},
		"id, then a step under it":        {called("kitty", ""), under("kitty", step(ledger.StepDone, "1.6", "1.8", "1.8")), true},
		"name, then a step":               {called("", "Kitty"), step(ledger.StepDone, "1.6", "1.8", "1.8"), false},
		"gone, then taken on":             {noting(ledger.VesselGone), takenOn, false},
		"sold twice":                      {noting(ledger.VesselSold), noting(ledger.VesselSold), false},
		"a step after a step":             {step(ledger.StepDone, "1.6", "1.8", "1.8"), step(ledger.StepDone, "1.8", "1.9", "1.9"), false},
		"a card's fate after another":     {lost, lost, false},
	} {
		a := newDiary("Ada")
		on := a.write(c.on)
		later := a.write(c.later)
		stands := func() (ids []ledger.ID) {
			facts, _ := known.Facts(a.events, nil)
			for _, f := range known.StandingOn(facts, on.ID, nil) {
				ids = append(ids, f.Event.ID)
			}
			return ids
		}
		want := []ledger.ID{later.ID}
		if !c.stands {
			want = nil
		}
		assert.Equal(t, want, stands(), name)
		a.write(correcting(later, nil))
		assert.Empty(t, stands(), "%s: the later one was taken back", name)
	}
}

// Later is by when it happened, not by when it was noted; the last comes first.
func TestWhatStandsOnAnEventIsLater(t *testing.T) {
	a := newDiary("Ada")
	place := func(p string) ledger.Entry {
		return ledger.Entry{Kind: ledger.DeviceMoved, DeviceChange: &ledger.DeviceChange{Device: ledger.Device{ID: "radar", Model: "fennick-sweep-2", Place: p}, Was: ledger.Fitted{Device: radar}}}
	}
	first := a.write(place("mast"))
	earlier := a.write(at(place("arch"), noon.AddDate(0, 0, -3)))
	last := a.write(place("roof"))
	facts, _ := known.Facts(a.events, nil)
	of := func(e ledger.Event) (ids []ledger.ID) {
		for _, f := range known.StandingOn(facts, e.ID, nil) {
			ids = append(ids, f.Event.ID)
		}
		return ids
	}
	assert.Equal(t, []ledger.ID{last.ID}, of(first))
	assert.Equal(t, []ledger.ID{last.ID, first.ID}, of(earlier))
	assert.Empty(t, of(last))
}
