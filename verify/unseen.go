package verify

import (
	"path"
	"strings"

	"cardwright/manifest/samename"
)

// unseen tells of right files that a device may pass over: hidden ones, and
// ones whose short name, all that the simplest devices read, says something
// else. The folders above them count as well.
func (j *judging) unseen() {
	told := map[string]bool{}
	for _, e := range j.files {
		if e.dir || !j.isWanted(e) && !j.placed[e.path] {
			continue
		}
		for p := e.path; p != ""; p = parentOf(p) {
			if at, ok := j.paths[p]; ok && !told[p] {
				told[p] = true
				j.hiddenWanted(at)
				j.shortName(at)
			}
		}
	}
}

func (j *judging) hiddenWanted(e file) {
	if !e.hidden {
		return
	}
	j.report.add(Finding{
		Kind: HiddenFile, Severity: Stop, Path: e.path, Expected: "nothing hidden", Found: "marked as hidden or as the system's",
		Meaning: "The device may leave it out of its list, or pass it over.",
		Advice:  "Prepare a card of your own: " + j.report.repair(),
	})
}

func (j *judging) shortName(e file) {
	want, name := "", path.Base(e.path)
	switch {
	case e.short == "":
		return
	case isShort(name):
		want = strings.ToUpper(name)
		if samename.ButCase(e.short, name) {
			return
		}
	case strings.EqualFold(path.Ext(e.short), shortEnding(name)):
		return
	default:
		want = "a name that ends in " + shortEnding(name)
	}
	j.report.add(Finding{
		Kind: OtherShortName, Severity: Stop, Path: e.path, Expected: want, Found: e.short,
		Meaning: "Beside its name the card has a short one for simple devices, which says something else: they would not find the file.",
		Advice:  "Prepare a card of your own: " + j.report.repair(),
	})
}

const inShortNames = "ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789$%'-_@~`!(){}^#&"

// isShort tells whether a name fits 8 and 3 characters as it is (FAT32
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
