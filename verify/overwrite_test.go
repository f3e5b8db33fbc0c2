package verify_test

import (
	"testing"

	"github.com/stretchr/testify/assert"

	"cardwright/media"
	"cardwright/verify"
)

// What stands on a target, in all sorts that somebody may be sorry for.
func targets() map[string]verify.Overwriting {
	meant := media.Record{Shop: "Hollin Quay", Vessel: "kittiwake", Card: 1}
	other, shop, card := meant, meant, meant
	other.Vessel, shop.Shop, card.Card = "skerry-light", "Another", 2
	file := []verify.ListedFile{{Path: "tracks.gpx", Size: 7}}
	return map[string]verify.Overwriting{
		"blank":                  {Meant: meant, Holds: verify.Listing{Blank: true}},
		"this very card":         {Meant: meant, Holds: verify.Listing{FileSystem: "FAT32", Record: &meant}},
		"another vessel's":       {Meant: meant, Holds: verify.Listing{FileSystem: "FAT32", Record: &other}},
		"another shop's":         {Meant: meant, Holds: verify.Listing{FileSystem: "FAT32", Record: &shop}},
		"another of the set":     {Meant: meant, Holds: verify.Listing{FileSystem: "FAT32", Record: &card}},
		"somebody's files":       {Meant: meant, Holds: verify.Listing{FileSystem: "FAT32", Foreign: file}},
		"this card, and a track": {Meant: meant, Holds: verify.Listing{FileSystem: "FAT32", Record: &meant, Foreign: file}},
		"what can't be read":     {Meant: meant, Holds: verify.Listing{}, Unread: "ntfs"},
		"partly unread":          {Meant: meant, Holds: verify.Listing{FileSystem: "FAT32", Unread: true}},
	}
}

// Whatever was agreed to: files of others never go without a word on them, a real
// card only by its own code, and a card made for something else never by a yes
// alone (README, "Cards in readers").
func TestNoCardGoesWithoutTheWordThatItTakes(t *testing.T) {
	other := map[string]bool{"another vessel's": true, "another shop's": true, "another of the set": true}
	lost := map[string]bool{"somebody's files": true, "this card, and a track": true, "what can't be read": true, "partly unread": true}
	given := 0
	for name, o := range targets() {
		assert.Equal(t, other[name], o.AnotherCard(), name)
		assert.Equal(t, lost[name], o.OthersFiles(), name)
		for bits := range 1 << 6 {
			is := func(n int) bool { return bits>>n&1 == 1 }
			a := verify.Agreement{Yes: is(0), Lose: is(1), Save: is(2), Named: is(3), NamedNot: is(4)}
			o.Loop = is(5)
			if a.Named && a.NamedNot {
				continue
			}
			got := o.Consent(a)
			switch {
			case lost[name] && !a.Lose && !a.Save:
				assert.Equal(t, verify.LosesFiles, got, "%s %+v", name, a)
			case a.Named:
				assert.Equal(t, verify.Given, got, "%s %+v", name, a)
			case !o.Loop || !a.Yes || other[name]:
				assert.NotEqual(t, verify.Given, got, "%s %+v", name, a)
				assert.Equal(t, a.NamedNot, got == verify.NotNamed, "%s %+v", name, a)
			default:
				assert.Equal(t, verify.Given, got, "%s %+v", name, a)
				given++
			}
		}
	}
	assert.Positive(t, given)
}

// An image is replaced without a word, and a card erased without a copy, only
// where nothing is lost with it.
func TestWhatIsReplacedWithoutAWord(t *testing.T) {
	for name, o := range targets() {
		nothing := name == "blank" || name == "this very card"
		assert.Equal(t, nothing, o.LosesNothing(true), name)
		assert.Equal(t, name == "this very card", o.LosesNothing(false), name)
		assert.Equal(t, nothing, o.NothingToSave(), name)
	}
}
