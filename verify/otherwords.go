package verify

import (
	"slices"
	"strconv"
	"strings"

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

// rewordedOrder tells whether the install order on the card, as its record names
// it, may stand though it isn't the one that is written here: by another
// edition's words, or another language's.
//
// One that a known shop has signed may. One that nobody known has signed may
// where it says the steps of this plan and no others: whoever can write a card
// can write a record that fits any order, and no rule tells harmless words
// beside the steps from harmful ones.
func rewordedOrder(m matched) reworded {
	f := m.card.files.fileAt(media.InstallOrderPath)
	want := m.expected.Record.InstallOrder.SHA256
	_, another := m.anothersRecord()
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
	if err != nil || !saysSteps(string(text), m.expected.Aboard.Plan.Steps) {
		return notReworded
	}
	return unsignedWords
}

// saysSteps tells whether a text names these steps, in their order, and no
// other: before each change of version the step's number and device, behind it
// the folder and the files. The text may be in any language that sheets are
// written in.
func saysSteps(text string, steps []order.Step) bool {
	words := strings.Fields(text)
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
		if !strings.Contains(joined(words[from:at]...), heading) || !hasFiles(joined(words[at:to]...), s) {
			return false
		}
		from = at
	}
	return true
}

// hasFiles tells whether a step's folder and files stand in a text without
// spaces; a long name may have gone over the end of a line.
func hasFiles(text string, s order.Step) bool {
	names := []string{s.Folder}
	for _, f := range s.Files {
		names = append(names, f.Name)
	}
	return !slices.ContainsFunc(names, func(name string) bool { return !strings.Contains(text, joined(strings.Fields(shown(name))...)) })
}

func shown(s string) string         { return visible.Visible(s) }
func joined(words ...string) string { return strings.Join(words, "") }

// arrow stands between the version that a step finds and the one it brings.
const arrow = "→"
