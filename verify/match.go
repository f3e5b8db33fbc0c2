package verify

import (
	"context"
	"slices"
	"strings"

	"cardwright/manifest/digest"
	"cardwright/manifest/order"
	"cardwright/manifest/samename"
	"cardwright/media"
)

// matched is what was read of a card beside what is wanted on it: the second
// value on the way to a report. Nothing is read after it.
type matched struct {
	card     onCard
	expected Expected
	known    catalogue
	record   recordOnCard
	signer   signer

	wanted   []media.RecordFile // by path
	byKey    map[string]media.RecordFile
	pairs    []pairing
	absent   []absence
	moved    []movedStep
	movedTo  map[string]string // by key of the wanted path
	others   []identified
	reworded reworded
	fits     []fitting
}

// pairing is a wanted file and what stands in its place.
type pairing struct {
	want       media.RecordFile
	found      *file
	beginning  bool   // it is the beginning of what is wanted
	difference string // where it begins to differ, in words; "": not known
}

// absence is a wanted file that doesn't stand in its place.
type absence struct {
	media.RecordFile
	instead string // what was found of it elsewhere, in words; "": nothing
}

// movedStep is a step whose files stand whole in a folder of another name.
type movedStep struct {
	order.Step
	folder string
	files  []*file // in the order of the step's
}

// match finds out which of the files on a card are wanted, by digest and by
// place, and what the others are.
func match(ctx context.Context, card onCard, expected Expected) matched {
	m := matched{card: card, expected: expected}
	if !card.hasFiles() {
		return m
	}
	m.record = readRecord(card, expected)
	m.signer = signerOf(card, expected)
	m.wanted = wantedFiles(expected, m.record.is)
	m.byKey = map[string]media.RecordFile{}
	for _, w := range m.wanted {
		m.byKey[key(w.Path)] = w
	}
	m.known = catalogueOf(expected.shop(), m.wanted)
	m.pairs, m.absent = pairUp(comparer{ctx, card.own, expected}, card.files, m.wanted)
	m.moved, m.absent = movedSteps(expected.visit(), card.files, m.absent)
	m.movedTo = placesOf(m.moved)
	m.others, m.absent = identifyOthers(ctx, m)
	m.reworded = rewordedOrder(m)
	m.fits = m.fittings()
	return m
}

// wantedFiles are those of the plan's record, or, where nothing else is known,
// of the record on the card.
func wantedFiles(expected Expected, record *media.Record) []media.RecordFile {
	all := expected.Record.Files
	if expected.FromRecord {
		if all = nil; record != nil {
			all = record.Files
		}
	}
	last := map[string]media.RecordFile{} // of two at one place the later
	for _, f := range all {
		last[key(f.Path)] = f
	}
	wanted := make([]media.RecordFile, 0, len(last))
	for _, f := range last {
		wanted = append(wanted, f)
	}
	slices.SortFunc(wanted, func(a, b media.RecordFile) int { return strings.Compare(a.Path, b.Path) })
	return wanted
}

// pairUp sets what stands where wanted files should beside them; the others are
// absent.
func pairUp(comparing comparer, l files, wanted []media.RecordFile) (pairs []pairing, absent []absence) {
	for _, w := range wanted {
		if f := l.fileAt(w.Path); f != nil {
			pairs = append(pairs, comparing.pair(w, f))
		} else {
			absent = append(absent, absence{RecordFile: w})
		}
	}
	return pairs, absent
}

// movedSteps finds the steps whose files stand whole in a folder of another
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

// inPlace tells whether this stands where a wanted file should.
func (m matched) inPlace(f *file) bool {
	w, ok := m.byKey[key(f.Path)]
	return ok && m.card.files.isAt(f, w.Path)
}

// isMoved tells whether this is a wanted file in a folder of another name.
func (m matched) isMoved(f *file) bool {
	for _, path := range m.movedTo {
		if path == f.Path {
			return true
		}
	}
	return false
}

// isOwn tells whether a file or folder belongs to the record's folder as it
// should be.
func (m matched) isOwn(f *file) bool {
	return !m.expected.Alone && slices.ContainsFunc(ownPaths, func(p string) bool { return m.card.files.isAt(f, p) })
}

// wantedOnCard are the wanted files that stand somewhere right, in the order of
// the card.
func (m matched) wantedOnCard() (all []*file) {
	for _, f := range m.card.files.all {
		if !f.dir && (m.inPlace(f) || m.isMoved(f)) {
			all = append(all, f)
		}
	}
	return all
}

// folderOf is where a step's files are on this card.
func (m matched) folderOf(s order.Step) string {
	for _, f := range s.Files {
		if at, ok := m.movedTo[key(below(s.Folder, f.Name))]; ok {
			return above(at, f.Name)
		}
	}
	return s.Folder
}

// fileOf is what stands where a step's file should, or where it was found.
func (m matched) fileOf(s order.Step, f digest.File) *file {
	want := below(s.Folder, f.Name)
	if at, ok := m.movedTo[key(want)]; ok {
		want = at
	}
	return m.card.files.at(want)
}

// brings tells which steps of the plan the card can do.
func (m matched) brings() []Bring {
	all := []Bring{}
	visit := m.expected.visit()
	if visit == nil || !m.card.hasFiles() {
		return all
	}
	for _, s := range visit.Plan.Steps {
		b := Bring{Step: s.Number, Device: s.Device, From: s.From, To: s.To, Card: s.Card, Folder: m.folderOf(s), Missing: []string{}}
		for _, f := range s.Files {
			if !m.fileOf(s, f).is(f.SHA256) {
				b.Missing = append(b.Missing, below(s.Folder, f.Name))
			}
		}
		b.Whole = len(b.Missing) == 0
		all = append(all, b)
	}
	return all
}

// counts of what was read and of how it compares.
func (m matched) counts() Counts {
	c := Counts{BytesOfCard: int(m.card.bytes)}
	if m.card.volume != nil {
		c.ClusterBytes = m.card.volume.ClusterBytes
	}
	for _, f := range m.card.files.all {
		switch {
		case f.dir:
			c.Folders++
			continue
		case f.err != nil:
			c.FilesUnreadable++
		}
		c.Files++
		c.BytesOfFiles += int(f.Size)
	}
	for _, p := range m.pairs {
		switch p.state() {
		case same:
			c.FilesMatching++
		case differs:
			c.FilesDiffering++
		}
	}
	for _, s := range m.moved {
		c.FilesMatching += len(s.files)
	}
	c.FilesMissing, c.FilesUnexpected = len(m.absent), len(m.others)
	return c
}
