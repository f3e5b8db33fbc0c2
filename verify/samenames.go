package verify

import (
	"fmt"
	"path"
	"slices"
	"sync"

	"cardwright/manifest/samename"
	"cardwright/verify/fatread"
)

// pair is two paths that a device may take for one.
type pair struct{ first, second string }

// takenForOne are the pairs of names in one folder that a device may take for
// one, by whatever it compares: letter case, accents, the short names of 8 and 3
// characters. Those that the file system itself takes for one come first; of the
// others each but the first stands with the first.
func takenForOne(card onCard) (pairs []pair, bySystem int) {
	if card.system != nil {
		for _, f := range card.system.Faults {
			if f.Kind == fatread.NameTwice {
				pairs = append(pairs, pair{f.Other, f.Path})
			}
		}
	}
	bySystem = len(pairs)
	first := map[string]*file{}
	for _, f := range card.files.all {
		told := false
		for _, k := range keysOf(f) {
			other, twice := first[k]
			if !twice {
				first[k] = f
				continue
			}
			if p := (pair{other.Path, f.Path}); !told && !slices.Contains(pairs[:bySystem], p) {
				told = true
				pairs = append(pairs, p)
			}
		}
	}
	return pairs, bySystem
}

// keysOf are the names that a device may know a file or folder by, each once.
func keysOf(f *file) []string {
	parent := samename.Key(parentOf(f.Path)) + "/"
	keys := []string{parent + samename.Key(path.Base(f.Path))}
	if short := parent + samename.Key(f.short); f.short != "" && short != keys[0] {
		keys = append(keys, short)
	}
	return keys
}

// judgeSameNames reports two names that a device may take for one. Where one of
// them is wanted, or leads to what is, the device may find the other.
func judgeSameNames(m matched, report func(Finding)) {
	leads := leading(m)
	pairs, bySystem := takenForOne(m.card)
	for i, p := range pairs {
		d := sameNames
		switch wanted := leads[p.first] || leads[p.second]; {
		case wanted && i < bySystem:
			d = nameTwiceWanted
		case wanted:
			d = sameNamesWanted
		case i < bySystem:
			d = nameTwice
		}
		report(d.at(p.second, "a name of its own", fmt.Sprintf("also the name of %q", p.first)))
	}
}

// leading are the paths of what is wanted and of the record's own files, as
// they stand on the card, and of the folders that lead there.
func leading(m matched) map[string]bool {
	leads := map[string]bool{}
	for _, f := range m.card.files.all {
		if !f.dir && m.inPlace(f) || m.isMoved(f) || m.isOwn(f) {
			for p := f.Path; p != ""; p = parentOf(p) {
				leads[p] = true
			}
		}
	}
	return leads
}

// lookAlikes finds something that only some devices may take for a wanted file
// that isn't there.
func (l files) lookAlikes() func(want string) (*file, bool) {
	byName := sync.OnceValue(func() map[string]*file {
		names := map[string]*file{}
		for _, f := range l.all {
			names[samename.Key(f.Path)] = f
		}
		return names
	})
	return func(want string) (*file, bool) {
		f, ok := byName()[samename.Key(want)]
		return f, ok && key(f.Path) != key(want)
	}
}
