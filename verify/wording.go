package verify

import (
	"slices"
	"strconv"
	"strings"

	"cardwright/manifest/order"
	"cardwright/media"
	"cardwright/verify/visible"
)

// otherWords tells whether the install order on the card may stand though it
// isn't, byte for byte, what is written here: by another edition's words, or
// another language's. The caller has compared it with the card's record.
//
// One that a known shop has signed may. One that nobody known has signed may
// where it says the steps of this plan and no others, and that is told as a
// warning: whoever can write a card can write a record that fits any order, and
// no rule tells harmless words beside the steps from harmful ones.
func (j *judging) otherWords(e file) bool {
	f := Finding{
		Kind: OtherWording, Severity: Note, Path: media.InstallOrderPath,
		Expected: "the install order as it is written here", Found: "other words for the same plan",
		Meaning: "It was written by another edition of cardwright, or from a vessel file that said other things beside the plan.",
	}
	if !j.vouched() {
		if j.expected.Aboard == nil || e.size > media.MaxRecordBytes {
			return false
		}
		text, err := e.content()
		if err != nil || !saysSteps(string(text), j.expected.Aboard.Plan.Steps) {
			return false
		}
		f.Severity = Warn
		f.Meaning += " Nobody known has signed it: it names this plan's steps in their order, and what else it says is not vouched for."
		f.Advice = "Work by the order that is written from here: " + j.report.command("--order install-order.txt")
	}
	j.report.add(f)
	return true
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
