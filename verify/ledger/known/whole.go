package known

import (
	"bytes"
	"slices"
	"time"

	"cardwright/manifest"
	"cardwright/verify/ledger"
)

// Whole is the device of what a file says of the vessel herself.
const Whole = ""

// The keys of a vessel herself. Served says whether she is served at all.
const (
	IDKey     = "id"
	NameKey   = "name"
	BerthKey  = "berth"
	HullKey   = "hull"
	MMSIKey   = "mmsi"
	IMOKey    = "imo"
	ServedKey = "served"
)

// wordKeys are those of what is said about her.
var wordKeys = []string{NameKey, BerthKey, HullKey, MMSIKey, IMOKey}

// whole is what the ledger has of a vessel herself.
type whole struct {
	words map[string]string   // as they were last said
	ever  map[string][]string // all that were said
	gone  time.Time           // zero: she is served
}

// wordsOver is how many of what was last said of a vessel count.
const wordsOver = 500

// wholeOf takes it from what stands of events about her.
func wholeOf(facts []Fact, ids []string, ask Ask) whole {
	w := whole{map[string]string{}, map[string][]string{}, time.Time{}}
	var said []*Fact
	for i := range facts {
		f := &facts[i]
		if !slices.Contains(ids, f.Entry.Vessel) || !ask.Until.IsZero() && f.Entry.At.After(ask.Until) {
			continue
		}
		if f.Entry.Kind == ledger.VesselGone {
			w.gone = f.Entry.At
		}
		if _, says := ledger.WordsOf(&f.Entry); says {
			said = append(said, f)
		}
	}
	slices.SortFunc(said, func(a, b *Fact) int { return bytes.Compare(ordOfFact(a), ordOfFact(b)) })
	said = said[max(0, len(said)-wordsOver):]
	for _, i := range ask.Seen.inOrder(len(said), func(i int) place { return placeOfFact(said[i]) }) {
		said, _ := ledger.WordsOf(&said[i].Entry)
		for key, word := range map[string]string{NameKey: said.Name, BerthKey: said.Berth, HullKey: said.Hull, MMSIKey: said.MMSI, IMOKey: said.IMO} {
			if word != "" {
				w.words[key] = word
				w.ever[key] = append(w.ever[key], word)
			}
		}
	}
	return w
}

// FileWords are what a vessel's file says of her, by key.
func FileWords(v *manifest.Vessel) map[string]string {
	return map[string]string{NameKey: v.Name, BerthKey: v.Berth, HullKey: v.Identity.Hull, MMSIKey: v.Identity.MMSI, IMOKey: v.Identity.IMO}
}

// setWord changes what a vessel in memory says of her.
func setWord(v *manifest.Vessel, key, word string) {
	switch key {
	case NameKey:
		v.Name = word
	case BerthKey:
		v.Berth = word
	case HullKey:
		v.Identity.Hull = word
	case MMSIKey:
		v.Identity.MMSI = word
	case IMOKey:
		v.Identity.IMO = word
	}
}

// wholeBeside compares what a file says of the vessel herself with the ledger. What one
// of the two doesn't say doesn't differ.
func (v *Vessel) wholeBeside(file *manifest.Vessel, wrote map[string]string) (list []FileDiffers) {
	if v.ID != file.ID {
		list = append(list, FileDiffers{Whole, IDKey, Behind, file.ID, v.ID})
	}
	if !v.whole.gone.IsZero() {
		list = append(list, FileDiffers{Whole, ServedKey, Behind, "", ""})
	}
	inFile := FileWords(file)
	for _, key := range wordKeys {
		f, l := inFile[key], v.whole.words[key]
		if f == "" || l == "" || f == l {
			continue
		}
		b, remembered := wrote[key]
		kind := BothWays
		switch {
		case remembered && f == b, !remembered && slices.Contains(v.whole.ever[key], f):
			kind = Behind
		case !remembered, l == b:
			kind = ByHand
		}
		list = append(list, FileDiffers{Whole, key, kind, f, l})
	}
	return list
}

// agreeWhole is what an agreement says of the vessel herself; nil where nothing
// differs that a person has to agree to.
func agreeWhole(differs []FileDiffers, file *manifest.Vessel) *ledger.Words {
	w := ledger.Words{Name: file.Name}
	some := false
	for _, d := range differs {
		if d.Device != Whole || d.Kind == Behind {
			continue
		}
		some = true
		switch d.Key {
		case BerthKey:
			w.Berth = d.File
		case HullKey:
			w.Hull = d.File
		case MMSIKey:
			w.MMSI = d.File
		case IMOKey:
			w.IMO = d.File
		}
	}
	if !some {
		return nil
	}
	return &w
}
