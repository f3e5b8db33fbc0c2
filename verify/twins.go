package verify

import (
	"fmt"
	"path"
	"slices"
	"strings"

	"cardwright/manifest"
	"cardwright/manifest/samename"
	"cardwright/media"
	"cardwright/verify/fatread"
)

// pair is two paths that a device may take for one.
type pair struct{ first, second string }

// twiceOf are the names that the file system itself takes for one.
func twiceOf(faults []fatread.Fault) (pairs []pair) {
	for _, f := range faults {
		if f.Kind == fatread.NameTwice {
			pairs = append(pairs, pair{f.Other, f.Path})
		}
	}
	return pairs
}

// twins tells of two names in one folder that a device may take for one, by
// whatever it goes by: letter case, accents, the short names of 8 and 3
// characters. Where one of them is wanted, or leads to what is, the device may
// find the other.
func (j *judging) twins() {
	leads := j.leading()
	for _, p := range j.pairs() {
		f := Finding{
			Kind: SameName, Severity: Warn, Path: p.second, Expected: "a name of its own", Found: fmt.Sprintf("also the name of %q", p.first),
			Meaning: "Two names in one folder are the same to some devices: they may take either (name-twice).",
			Advice:  "Nothing, as long as neither is needed; else prepare a card of your own.",
		}
		damage := slices.Contains(j.twice, p)
		if damage {
			f.Kind = MinorDamage
		}
		if leads[p.first] || leads[p.second] {
			f.Severity = Stop
			if damage {
				f.Kind = Structure
			}
			f.Advice = "Prepare a card of your own: " + j.report.repair()
		}
		j.report.add(f)
	}
}

// pairs are all such names on the card, each but the first with the first.
func (j *judging) pairs() []pair {
	pairs := slices.Clone(j.twice)
	first := map[string]file{}
	for _, e := range j.files {
		told := false
		for _, k := range keysOf(e) {
			other, twice := first[k]
			if !twice {
				first[k] = e
				continue
			}
			if p := (pair{other.path, e.path}); !told && !slices.Contains(j.twice, p) {
				told = true
				pairs = append(pairs, p)
			}
		}
	}
	return pairs
}

// keysOf are the names that a device may know a file or folder by, each once.
func keysOf(e file) []string {
	parent := samename.Key(parentOf(e.path)) + "/"
	keys := []string{parent + samename.Key(path.Base(e.path))}
	if short := parent + samename.Key(e.short); e.short != "" && short != keys[0] {
		keys = append(keys, short)
	}
	return keys
}

// leading are the paths of what is wanted and of the record's own files, as
// they stand on the card, and of the folders that lead there.
func (j *judging) leading() map[string]bool {
	leads := map[string]bool{}
	for _, e := range j.files {
		if !e.dir && j.isWanted(e) || j.placed[e.path] || j.isOwn(e) {
			for p := e.path; p != ""; p = parentOf(p) {
				leads[p] = true
			}
		}
	}
	return leads
}

// lookAlike is something that only some devices may take for a wanted file
// that isn't there.
func (j *judging) lookAlike(want string) (file, bool) {
	if j.byName == nil {
		j.byName = map[string]file{}
		for _, e := range j.files {
			j.byName[samename.Key(e.path)] = e
		}
	}
	e, ok := j.byName[samename.Key(want)]
	return e, ok && key(e.path) != key(want)
}

// behindMarks tells of what stands behind the end mark of a folder and would be
// something to install for a device that doesn't stop there.
func (j *judging) behindMarks() {
	if len(j.behind) == 0 {
		return
	}
	leads := j.wantedNames()
	for _, e := range j.behind {
		why := j.couldTake(e, leads)
		if why == "" {
			continue
		}
		j.report.add(Finding{
			Kind: BehindEnd, Severity: Stop, Path: e.Path, Expected: "nothing behind the end of a folder", Found: why,
			Meaning: "Not every device stops where a folder ends: one that goes on may take this.",
			Advice:  "Prepare a card of your own: " + j.report.repair(),
		})
	}
}

// couldTake says what a device could take an entry behind an end mark for; "":
// for nothing.
func (j *judging) couldTake(e fatread.Entry, leads map[string]bool) string {
	long := samename.Key(e.Path)
	short := samename.Key(path.Join(parentOf(e.Path), e.ShortName))
	switch {
	case leads[long] || leads[short]:
		return "an entry with the name of what is wanted, or of a folder that leads there"
	case e.Dir || e.Size == 0:
		return ""
	case j.named()[path.Base(long)] || j.named()[path.Base(short)]:
		return "an entry with the name of a package"
	case j.endings()[strings.ToLower(path.Ext(e.Path))] || j.endings()[strings.ToLower(path.Ext(e.ShortName))]:
		return "an entry whose name ends like a package's"
	case j.knownSizes()[uint64(e.Size)]:
		return "an entry with the size of a package, " + media.Bytes(e.Size)
	case j.someInstallAtPowerUp():
		return "an entry of " + media.Bytes(e.Size) + ", where a device installs by itself at power-up"
	}
	return ""
}

// wantedNames are the keys of wanted paths, of the folders that lead there, and
// of the fixed folders where devices aboard look.
func (j *judging) wantedNames() map[string]bool {
	names := map[string]bool{}
	add := func(p string) {
		for ; p != "" && p != "."; p = parentOf(p) {
			names[samename.Key(p)] = true
		}
	}
	for _, f := range j.wanted {
		add(f.Path)
	}
	for p := range j.placed {
		add(p)
	}
	for _, p := range ownPaths {
		add(p)
	}
	if j.vessel() != nil {
		for _, d := range j.vessel().Devices {
			if m := j.expected.Aboard.Shop.Model(d.Model); m != nil && m.Card != nil && m.Card.Folder != manifest.AnyFolder {
				add(strings.Trim(m.Card.Folder, "/"))
			}
		}
	}
	return names
}

// named are the names of all packages that are known or wanted, by key.
func (j *judging) named() map[string]bool {
	if j.packageNames == nil {
		j.packageNames = map[string]bool{}
		for _, all := range j.known {
			for _, r := range all {
				j.packageNames[samename.Key(path.Base(r.name))] = true
			}
		}
		for _, f := range j.wanted {
			j.packageNames[samename.Key(path.Base(f.Path))] = true
		}
	}
	return j.packageNames
}
