package verify

import "cardwright/media"

// Overwriting is a target that is about to be written, and what is on it.
type Overwriting struct {
	Holds Listing
	Meant media.Record // of the card that the target is to become
	// Unread is a file system that the system names and that can't be read here; ""
	// for none.
	Unread string
	Loop   bool // a loop drive, no card in a reader
}

// Agreement is what somebody agreed to before a target is written.
type Agreement struct {
	Yes      bool // without being asked again
	Lose     bool // files that nobody here wrote go
	Save     bool // the whole card is copied first
	Named    bool // this very card, by its own code
	NamedNot bool // cards were named by their codes, and this is none of them
}

// Consent says what is missing before a drive may be erased.
type Consent string

// The closed list of them.
const (
	Given      Consent = "nothing"
	LosesFiles Consent = "a word on files that nobody here wrote"
	NotNamed   Consent = "its own code among those that were named"
	TypeCode   Consent = "its own code, from a person"
)

// OthersFiles reports whether files would be lost that nobody here wrote, or may be.
func (o *Overwriting) OthersFiles() bool {
	return o.Holds.HasOthers() || o.Holds.FileSystem == "" && o.Unread != ""
}

// AnotherCard reports whether a card was made there that isn't the one that the
// target is to become; an earlier making of this very card isn't another.
func (o *Overwriting) AnotherCard() bool {
	on := o.Holds.Record
	return on != nil && (on.Shop != o.Meant.Shop || on.Vessel != o.Meant.Vessel || on.Card != o.Meant.Card)
}

// Consent reports what is missing before a drive may be erased. A yes beforehand is
// enough for a loop drive that holds nothing, an earlier making of this very card,
// or what was given up or is saved. Every other card is named by its own code: a
// real one always, and a card that was made for something else.
func (o *Overwriting) Consent(a Agreement) Consent {
	switch {
	case o.OthersFiles() && !a.Lose && !a.Save:
		return LosesFiles
	case o.Loop && a.Yes && !o.AnotherCard(), a.Named:
		return Given
	case a.NamedNot:
		return NotNamed
	}
	return TypeCode
}

// LosesNothing reports whether an image file can be replaced without a word: it is
// empty of anything, as zeros says, or holds this very card.
func (o *Overwriting) LosesNothing(zeros bool) bool {
	return o.Holds.FileSystem == "" && o.Holds.Blank && zeros || o.Holds.Is(o.Meant)
}

// NothingToSave reports whether a card holds nothing that a copy would keep.
func (o *Overwriting) NothingToSave() bool {
	return o.Holds.Blank && o.Holds.FileSystem == "" || o.Holds.Is(o.Meant)
}
