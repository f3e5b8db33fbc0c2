package verify

import (
	"slices"
	"strings"

	"cardwright/manifest/digest"
	"cardwright/manifest/order"
	"cardwright/manifest/samename"
	"cardwright/media"
)

// placement is where on a card the wanted files are.
type placement struct {
	files   files
	wanted  []media.RecordFile // by path
	byKey   map[string]media.RecordFile
	pairs   []pairing
	absent  []absence
	moved   []movedStep
	movedTo map[string]string // by key of the wanted path
}

// pairing is a wanted file and what is in its place.
type pairing struct {
	want       media.RecordFile
	found      *file
	beginning  bool   // it is the beginning of what is wanted
	difference string // where it begins to differ, in words; "": not known
}

// absence is a wanted file that isn't in its place.
type absence struct {
	media.RecordFile
	instead string // what was found of it elsewhere, in words; "": nothing
}

// movedStep is a step whose files are complete, but in a folder of another name.
type movedStep struct {
	order.Step
	folder string
	files  []*file // in the order of the step's
}

// place finds the wanted files on a card: in their places, or, of a whole step, in a
// folder of another name.
func place(comparing comparer, on files, wanted []media.RecordFile) placement {
	p := placement{files: on, wanted: wanted, byKey: map[string]media.RecordFile{}}
	for _, w := range wanted {
		p.byKey[key(w.Path)] = w
		if f := on.fileAt(w.Path); f != nil {
			p.pairs = append(p.pairs, comparing.pair(w, f))
		} else {
			p.absent = append(p.absent, absence{RecordFile: w})
		}
	}
	p.moved, p.absent = movedSteps(comparing.expected.visit(), on, p.absent)
	p.movedTo = placesOf(p.moved)
	return p
}

// movedSteps finds the steps whose files are complete, but in a folder of another
// name, on a card that somebody else made: where the folder is chosen on the
// device's screen, that is no fault. left are the files that are absent still.
func movedSteps(visit *Aboard, l files, absent []absence) (moved []movedStep, left []absence) {
	left = absent
	if visit == nil {
		return nil, left
	}
	for _, s := range visit.steps() {
		if !visit.choosesFolder(s) || !allAbsent(s, left) {
			continue
		}
		folder, found := folderWith(l, s.Files)
		if found == nil {
			continue
		}
		moved = append(moved, movedStep{s, folder, found})
		left = slices.DeleteFunc(left, func(a absence) bool {
			return slices.ContainsFunc(s.Files, func(f digest.File) bool { return key(a.Path) == key(below(s.Folder, f.Name)) })
		})
	}
	return moved, left
}

func allAbsent(s order.Step, absent []absence) bool {
	for _, f := range s.Files {
		if !slices.ContainsFunc(absent, func(a absence) bool { return key(a.Path) == key(below(s.Folder, f.Name)) }) {
			return false
		}
	}
	return len(s.Files) > 0
}

// placesOf is where the files of moved steps stand, by key of the wanted path.
func placesOf(moved []movedStep) map[string]string {
	places := map[string]string{}
	for _, s := range moved {
		for i, f := range s.Files {
			places[key(below(s.Folder, f.Name))] = s.files[i].Path
		}
	}
	return places
}

// folderWith is a folder that has all of these files, right and whole, and what
// stands there for each; nil: there is none. What was thrown away, is hidden by
// its name, or stands where only the record may be, doesn't count.
func folderWith(l files, wanted []digest.File) (string, []*file) {
	for _, f := range l.all {
		if f.dir || !f.is(wanted[0].SHA256) || isClutter(f.Path) || strings.HasPrefix(f.Path, ".") || strings.Contains(f.Path, "/.") || samename.Within(f.Path, media.RecordFolder) {
			continue
		}
		folder := above(f.Path, wanted[0].Name)
		if samename.ButCase(f.Path, below(folder, wanted[0].Name)) {
			if found := wholeIn(l, folder, wanted); found != nil {
				return folder, found
			}
		}
	}
	return "", nil
}

func wholeIn(l files, folder string, wanted []digest.File) (found []*file) {
	for _, w := range wanted {
		f := l.at(below(folder, w.Name))
		if !f.is(w.SHA256) {
			return nil
		}
		found = append(found, f)
	}
	return found
}

func below(folder, name string) string {
	if folder == "" {
		return name
	}
	return folder + "/" + name
}

// above is the folder in which a path has as many parts as a name.
func above(path, name string) string {
	for range strings.Count(name, "/") + 1 {
		path = parentOf(path)
	}
	return path
}

func parentOf(path string) string {
	i := strings.LastIndexByte(path, '/')
	return path[:max(i, 0)]
}

// inPlace reports whether this is where a wanted file belongs.
func (p placement) inPlace(f *file) bool {
	w, ok := p.byKey[key(f.Path)]
	return ok && p.files.isAt(f, w.Path)
}

// isMoved reports whether this is a wanted file in a folder of another name.
func (p placement) isMoved(f *file) bool {
	for _, path := range p.movedTo {
		if path == f.Path {
			return true
		}
	}
	return false
}

// wantedOnCard are the wanted files in right places, in the order of
// the card.
func (p placement) wantedOnCard() (all []*file) {
	for _, f := range p.files.all {
		if !f.dir && (p.inPlace(f) || p.isMoved(f)) {
			all = append(all, f)
		}
	}
	return all
}

// folderOf is where a step's files are on this card.
func (p placement) folderOf(s order.Step) string {
	for _, f := range s.Files {
		if at, ok := p.movedTo[key(below(s.Folder, f.Name))]; ok {
			return above(at, f.Name)
		}
	}
	return s.Folder
}

// fileOf is the file in the place of a step's, or where it was found.
func (p placement) fileOf(s order.Step, f digest.File) *file {
	want := below(s.Folder, f.Name)
	if at, ok := p.movedTo[key(want)]; ok {
		want = at
	}
	return p.files.at(want)
}
