package verify

import (
	"path"
	"strings"

	"cardwright/manifest/samename"
)

// judgePassedOver reports right files that a device may pass over: hidden ones,
// and ones whose short name, all that the simplest devices read, says something
// else. The folders above them count as well.
func judgePassedOver(m matched, report func(Finding)) {
	told := map[string]bool{}
	for _, f := range m.wantedOnCard() {
		for p := f.Path; p != ""; p = parentOf(p) {
			at, ok := m.card.files.byPath[p]
			if !ok || told[p] {
				continue
			}
			told[p] = true
			if at.hidden {
				report(hiddenWanted.at(at.Path, "nothing hidden", markedHidden))
			}
			if want := expectedShort(at); want != "" {
				report(otherShortName.at(at.Path, want, at.short))
			}
		}
	}
}

// expectedShort is what a file's short name should be, where it is another; "":
// it does.
func expectedShort(f *file) string {
	name := path.Base(f.Path)
	switch {
	case f.short == "":
		return ""
	case isShort(name):
		if samename.ButCase(f.short, name) {
			return ""
		}
		return strings.ToUpper(name)
	case strings.EqualFold(path.Ext(f.short), shortEnding(name)):
		return ""
	}
	return "a name that ends in " + shortEnding(name)
}

const inShortNames = "ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789$%'-_@~`!(){}^#&"

// isShort reports whether a name fits 8 and 3 characters as it is (FAT32
// specification, "FAT Directory Structure").
func isShort(name string) bool {
	base, ending, dot := strings.Cut(strings.ToUpper(name), ".")
	return base != "" && len(base) <= 8 && len(ending) <= 3 && dot == (ending != "") &&
		strings.Trim(base+ending, inShortNames) == ""
}

// shortEnding is the ending that a long name's short one has: the first three
// characters that may stand there.
func shortEnding(name string) string {
	ending := strings.TrimPrefix(path.Ext(name), ".")
	var kept strings.Builder
	for _, r := range strings.ToUpper(ending) {
		if strings.ContainsRune(inShortNames, r) && kept.Len() < 3 {
			kept.WriteRune(r)
		}
	}
	if kept.Len() == 0 {
		return ""
	}
	return "." + kept.String()
}
