package verify

import (
	"slices"
	"strconv"
	"strings"

	"cardwright/manifest"
	"cardwright/manifest/order"
	"cardwright/media"
	"cardwright/verify/visible"
)

// reworded is whether an install order that isn't, byte for byte, the one that
// is written here says the same.
type reworded int

const (
	notReworded   reworded = iota
	signedWords            // a known shop has signed it
	unsignedWords          // nobody known has
)

// rewordedOrder reports whether the install order on the card, as its record names
// it, may stand though it isn't the one that is written here: by another
// edition's words, or another language's.
//
// One that a known shop has signed may. One that nobody known has signed may
// where it says the steps of this plan and no others: whoever can write a card
// can write a record that fits any order, and no rule separates harmless words
// around the steps from harmful ones.
func rewordedOrder(m matched) reworded {
	f := m.card.files.fileAt(media.InstallOrderPath)
	want := m.expected.Record.InstallOrder.SHA256
	_, another := anothersRecord(m.record.is, m.expected)
	switch {
	case f == nil || m.expected.FromRecord || m.expected.Alone || want == "" || f.is(want):
		return notReworded
	case another || m.record.is == nil || !f.is(m.record.is.InstallOrder.SHA256):
		return notReworded
	case m.signer.vouches():
		return signedWords
	case m.expected.Aboard == nil || f.Size > media.MaxRecordBytes:
		return notReworded
	}
	text, err := f.content()
	if err != nil || !saysSteps(string(text), m.expected.Aboard) {
		return notReworded
	}
	return unsignedWords
}

// saysSteps reports whether a text names a plan's steps, in their order, and no
// other: before each change of version the step's number and device, behind it
// the folder and the files that a person touches. The text may be in any
// language that sheets are written in.
func saysSteps(text string, a *Aboard) bool {
	words, steps := strings.Fields(text), a.Plan.Steps
	var changes []int // places of the arrows
	for i, w := range words {
		if w == arrow {
			changes = append(changes, i)
		}
	}
	if len(changes) != len(steps) || len(steps) == 0 {
		return false
	}
	from := 0
	for i, s := range steps {
		at, to := changes[i], len(words)
		if i+1 < len(changes) {
			to = changes[i+1]
		}
		if at == 0 || at+1 == len(words) || words[at-1] != shown(string(s.From)) || words[at+1] != shown(string(s.To)) {
			return false
		}
		heading := joined(strconv.Itoa(s.Number), shown(s.Device), "(")
		if !strings.Contains(joined(words[from:at]...), heading) || !hasAll(joined(words[at:to]...), namedInStep(a, s)) {
			return false
		}
		from = at
	}
	return true
}

// namedInStep are a step's folder and those of its files that an install order
// names: all, or the ones to touch where the catalogue says which.
func namedInStep(a *Aboard, s order.Step) []string {
	var release *manifest.Release
	if model, device := a.Shop.Model(s.Model), a.Vessel.Device(s.Device); model != nil && device != nil {
		release = model.Release(s.To, device.Variant)
	}
	names := []string{s.Folder}
	for _, f := range s.Files {
		if release == nil || release.Touches(f.Name) {
			names = append(names, f.Name)
		}
	}
	return names
}

// hasAll reports whether names stand in a text without spaces; a long name may
// have gone over the end of a line.
func hasAll(text string, names []string) bool {
	return !slices.ContainsFunc(names, func(name string) bool { return !strings.Contains(text, joined(strings.Fields(shown(name))...)) })
}

func shown(s string) string         { return visible.Visible(s) }
func joined(words ...string) string { return strings.Join(words, "") }

// arrow stands between the version that a step finds and the one it brings.
const arrow = "→"
