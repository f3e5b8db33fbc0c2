package known_test

import (
	"testing"

	"github.com/stretchr/testify/assert"

	"cardwright/verify/ledger"
	"cardwright/verify/ledger/known"
)

func renamed(from, to string) ledger.Entry {
	return ledger.Entry{Kind: ledger.VesselRenamed, Vessel: from, VesselChange: &ledger.VesselChange{ID: to, Was: &ledger.Called{ID: from, Name: "Kittiwake"}}}
}

// One vessel keeps its history under any id that it had; renaming it back, two vans
// that renamed it apart, and a renaming that was taken back, too.
func TestAVesselIsOneUnderAllItsIDs(t *testing.T) {
	ids := func(diaries ...*diary) known.Names {
		var events []ledger.Event
		for _, d := range diaries {
			events = append(events, d.events...)
		}
		facts, _ := known.Facts(events, nil)
		return known.Renamed(facts)
	}
	a := newDiary("Ada")
	assert.Equal(t, []string{"kittiwake"}, ids(a).All("kittiwake"))
	a.write(renamed("kittiwake", "kitty-wake"))
	assert.Equal(t, []string{"kitty-wake", "kittiwake"}, ids(a).All("kittiwake"))
	assert.Equal(t, "kitty-wake", ids(a).Now("kittiwake"))
	assert.Equal(t, "skerry-light", ids(a).Now("skerry-light"))
	again := a.write(renamed("kitty-wake", "kw-2"))
	assert.Equal(t, []string{"kw-2", "kittiwake", "kitty-wake"}, ids(a).All("kitty-wake"))
	assert.Equal(t, []string{"kw-2"}, ids(a).Renames())
	a.write(correcting(again, nil))
	assert.Equal(t, "kitty-wake", ids(a).Now("kittiwake"))
	a.write(renamed("kitty-wake", "kittiwake"))
	assert.Equal(t, []string{"kittiwake", "kitty-wake"}, ids(a).All("kitty-wake"))

	b := newDiary("Ben")
	b.clock = noon.AddDate(0, 0, 1)
	b.write(renamed("kittiwake", "kw"))
	assert.Equal(t, []string{"kw", "kittiwake", "kitty-wake"}, ids(a, b).All("kittiwake"))
}

// What is known of it is what was noted under all of them.
func TestWhatIsKnownUnderAnEarlierID(t *testing.T) {
	a := newDiary("Ada")
	a.write(shown("1.6"))
	a.write(renamed("kittiwake", "kitty-wake"))
	late := shown("1.8")
	late.Vessel = "kitty-wake"
	a.write(late)
	v := known.Of("kitty-wake", a.events, known.Ask{Formerly: []string{"kittiwake"}})
	assert.EqualValues(t, "1.8", v.Device("radar").Version)
	a.write(shown("1.9")) // of a laptop that hadn't heard yet
	v = known.Of("kitty-wake", a.events, known.Ask{Formerly: []string{"kittiwake"}})
	assert.EqualValues(t, "1.9", v.Device("radar").Version)
}
