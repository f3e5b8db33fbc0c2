package fatread

import (
	"errors"
	"fmt"

	"cardwright/manifest/problem"
)

const (
	entryBytes   = 32
	mostEntries  = 65536 // of one directory (FAT32 specification: 2 MiB)
	mostPath     = 259   // UTF-16 units; 260 with the NUL
	entryWeight  = 200   // bytes held for an entry besides its names and runs
	runWeight    = 8
	folderWeight = 100
)

// folder is a directory that is yet to be read.
type folder struct {
	path  string // "" for the root
	units int    // length of path in UTF-16 units
	depth int
	first uint32 // 0 for the fixed root of FAT12 and FAT16
	size  int64  // exFAT alone: bytes of its clusters, as its entry tells
	up    *folder
	entry int // index of its Entry; -1 for the root
}

func (f *folder) shown() string {
	if f.path == "" {
		return "/"
	}
	return f.path
}

// child gives the path of a name in this folder.
func (f *folder) child(name string) string {
	if f.path == "" {
		return name
	}
	return f.path + "/" + name
}

// walker goes through a volume's directories, then through its files' chains.
type walker struct {
	card    *Card
	v       *Volume
	fat     *fat
	p       *Partition
	boot    boot
	claimed *claims
	pending []*folder
	whole   bool // nothing was left out, so that lost clusters can be told
	rootCut bool // the root folder was not read to its end
	behind  *behind
}

func (w *walker) run() {
	w.claimed = newClaims(w.fat.last)
	w.behind = newBehind(w, looseFAT(w))
	w.checkFirstEntries()
	w.walk(w.enter)
	w.behind.follow()
	w.checkLabels()
	// By ascending place, a FAT is read from front to back on all but the most
	// scattered of cards.
	for _, e := range w.v.filesByPlace() {
		w.checkFile(e)
	}
	w.count()
}

// walk enters the root folder and all that it leads to.
func (w *walker) walk(enter func(f *folder)) {
	w.pending = []*folder{w.root()}
	for len(w.pending) > 0 && !w.card.full {
		f := w.pending[len(w.pending)-1]
		w.pending = w.pending[:len(w.pending)-1]
		enter(f)
	}
}

func (w *walker) fault(kind FaultKind, path string, off int64, expected, found string) {
	w.card.add(Fault{Kind: kind, Partition: w.p.Number, Path: path, Offset: off, Problem: problem.Problem{Expected: expected, Found: found}})
}

// twice tells of two names in one folder that are the same.
func (w *walker) twice(path, other string, off int64) {
	w.card.add(Fault{
		Kind: NameTwice, Partition: w.p.Number, Path: path, Other: other, Offset: off,
		Problem: problem.Problem{Expected: "a name of its own", Found: fmt.Sprintf("also the name of %q", other)},
	})
}

// hold takes room for the listing, while there is some.
func (w *walker) hold(path string, weight int) bool {
	if w.card.listed+int64(weight) > w.card.limits.Listing {
		w.card.full = true
		w.stop(path, fmt.Sprintf("%d bytes of listing at most", w.card.limits.Listing), "more")
		return false
	}
	w.card.listed += int64(weight)
	return true
}

// room asks for room to keep an entry of a folder.
func (w *walker) room(f *folder, names int) bool {
	if w.card.entries >= w.card.limits.Entries {
		w.card.full = true
		w.stop(f.shown(), fmt.Sprintf("%d entries at most", w.card.limits.Entries), "more")
		return false
	}
	if !w.hold(f.shown(), entryWeight+names) {
		return false
	}
	w.card.entries++
	return true
}

func (w *walker) stop(path, bound, found string) {
	w.whole = false
	w.card.limit(w.p.Number, path, bound, found)
}

// checkFirstEntries looks at FAT[0] and FAT[1], which belong to no cluster.
func (w *walker) checkFirstEntries() {
	v, err := w.fat.get(0)
	if want := w.fat.mask&^0xFF | uint32(w.fat.media); err == nil && v != want {
		w.fault(FATMedia, "", w.fat.place(0), fmt.Sprintf("0x%x", want), fmt.Sprintf("0x%x", v))
	}
	v, err = w.fat.get(1)
	if err != nil || w.fat.width == 12 {
		return
	}
	clean := w.fat.mask>>1 + 1
	if v&clean == 0 {
		w.fault(DirtyFlag, "", w.fat.place(1), "the FAT's flag for a clean volume", fmt.Sprintf("not set in 0x%x", v))
	}
	if v&(clean>>1) == 0 {
		w.fault(ErrorFlag, "", w.fat.place(1), "the FAT's flag for no read errors", fmt.Sprintf("not set in 0x%x", v))
	}
}

// root is the folder to begin with.
func (w *walker) root() *folder {
	f := &folder{entry: -1}
	w.v.Root = Entry{Path: "/", Dir: true}
	if w.boot.fat32 {
		f.first = w.boot.root
		w.v.Root.First = f.first
	}
	return f
}

func (w *walker) entryOf(f *folder) *Entry {
	if f.entry < 0 {
		return &w.v.Root
	}
	return &w.v.Entries[f.entry]
}

// enter follows a folder's chain and lists what is its own.
func (w *walker) enter(f *folder) {
	l := newLister(w, f)
	if f.entry < 0 && !w.boot.fat32 {
		off := w.p.Start + w.boot.rootSector()*w.boot.sector
		l.read(off, w.boot.rootEntries*entryBytes)
		l.finish()
		return
	}
	e := w.entryOf(f)
	if e.First == 0 {
		w.fault(DirectoryNone, f.shown(), -1, "a cluster", "none")
		return
	}
	if w.inside(f) {
		w.fault(DirectoryLoop, f.shown(), -1, "a folder of its own", "the cluster of a folder that holds it")
		return
	}
	ch := w.follow(e.First)
	w.keep(e, ch)
	w.tellChain(f.shown(), ch)
	w.rootCut = w.rootCut || f.entry < 0 && ch.stop != ""
	w.list(l, ch)
}

// inside tells whether a folder is one that it stands in.
func (w *walker) inside(f *folder) bool {
	for up := f.up; up != nil; up = up.up {
		first := up.first
		if up.entry < 0 && !w.boot.fat32 {
			continue
		}
		if first == f.first {
			return true
		}
	}
	return false
}

// list reads a folder's clusters.
func (w *walker) list(l *lister, ch chain) {
	most := int64(mostEntries * entryBytes)
	for _, r := range ch.runs {
		n := int64(r.Count) * int64(w.v.ClusterBytes)
		if !l.read(w.v.Place(r.First), min(n, most)) {
			break
		}
		if most -= n; most <= 0 {
			break
		}
	}
	if all := ch.clusters * int64(w.v.ClusterBytes); all > mostEntries*entryBytes {
		w.fault(DirectoryLong, l.f.shown(), -1, "at most 65536 entries", fmt.Sprint(all/entryBytes))
		w.whole = w.whole && l.ended
	}
	l.finish()
}

// chain is what following one gave: clusters that nothing else had claimed,
// and why it stopped.
type chain struct {
	runs     []Run
	clusters int64
	stop     FaultKind // "": at an end mark
	at       uint32    // the cluster that it stopped at
	from     uint32    // the one before; 0: none
	err      error
}

// follow claims the clusters of a chain up to the first that isn't its own.
func (w *walker) follow(first uint32) chain {
	var ch chain
	for c := first; ; {
		ch.at = c
		if c < 2 || c > w.fat.last {
			ch.stop = ChainRange
			return ch
		}
		v, err := w.fat.get(c)
		switch {
		case err != nil:
			ch.stop, ch.err = ReadFailed, err
		case v == 0:
			ch.stop = ChainFree
		case v == w.fat.badMark():
			ch.stop = ChainBad
		case !w.claimed.room(c):
			ch.stop = LimitReached
		case !w.claimed.set(c):
			ch.stop = w.crossOrLoop(first, c, ch.clusters)
		}
		if ch.stop != "" {
			return ch
		}
		ch.push(c, w.mostRuns())
		if v >= w.fat.end {
			return ch
		}
		ch.from, c = c, v
	}
}

// mostRuns is enough for every directory: 65,536 entries in the smallest of
// clusters.
func (w *walker) mostRuns() int { return mostEntries * entryBytes / sectorBytes }

func (ch *chain) push(c uint32, most int) {
	ch.clusters++
	if n := len(ch.runs); n > 0 && ch.runs[n-1].First+ch.runs[n-1].Count == c {
		ch.runs[n-1].Count++
		return
	}
	if len(ch.runs) < most {
		ch.runs = append(ch.runs, Run{c, 1})
	}
}

// crossOrLoop tells a chain's own clusters from another's.
func (w *walker) crossOrLoop(first, c uint32, clusters int64) FaultKind {
	for at, n := first, int64(0); n < clusters; n++ {
		if at == c {
			return ChainLoop
		}
		v, err := w.fat.get(at)
		if err != nil {
			break
		}
		at = v
	}
	return ChainCross
}

// keep writes a chain into its entry, no more runs than there is room for.
func (w *walker) keep(e *Entry, ch chain) {
	e.ChainClusters = ch.clusters
	room := (w.card.limits.Listing - w.card.listed) / runWeight
	n := int(min(int64(len(ch.runs)), int64(w.card.limits.Runs), room))
	w.card.listed += int64(n * runWeight)
	e.Chain = append([]Run(nil), ch.runs[:n]...)
}

// tellChain tells why a chain stopped, where that is wrong.
func (w *walker) tellChain(path string, ch chain) {
	if ch.stop == "" {
		return
	}
	off := int64(-1)
	if ch.from != 0 {
		off = w.fat.place(ch.from)
	}
	expected := fmt.Sprintf("a cluster from 2 to %d, or an end mark", w.fat.last)
	switch ch.stop {
	case ReadFailed:
		w.tellUnread(path, ch.err)
	case LimitReached:
		w.stop(path, fmt.Sprintf("clusters in %d groups of %d at most", markPages, markPage), "more")
	case ChainRange:
		w.fault(ChainRange, path, off, expected, fmt.Sprintf("cluster %d", ch.at))
	case ChainFree:
		w.fault(ChainFree, path, off, "a cluster in use", fmt.Sprintf("cluster %d, marked free", ch.at))
	case ChainBad:
		w.fault(ChainBad, path, off, "a cluster that can be read", fmt.Sprintf("cluster %d, marked bad", ch.at))
	case ChainLoop:
		w.fault(ChainLoop, path, off, "an end mark", fmt.Sprintf("cluster %d again", ch.at))
	case ChainCross:
		w.fault(ChainCross, path, off, "a cluster of its own", fmt.Sprintf("cluster %d, which %s has", ch.at, w.owner(ch.at)))
	}
}

func (w *walker) tellUnread(path string, err error) {
	w.whole = false
	if errors.Is(err, errScattered) {
		w.stop(path, fmt.Sprintf("%d bytes of a FAT read again at most", rereads*pieceBytes), err.Error())
		return
	}
	off := int64(-1)
	var re *readError
	if errors.As(err, &re) {
		off, err = re.Offset, re.Err
	}
	w.card.unread(w.p.Number, path, off, "chain", err)
}

// owner names what a cluster was claimed by. Past the faults that are kept
// nobody reads the name.
func (w *walker) owner(c uint32) string {
	if len(w.card.Faults) >= w.card.limits.Faults {
		return "another"
	}
	if owns(&w.v.Root, c) {
		return `"/"`
	}
	for i := range w.v.Entries {
		if e := &w.v.Entries[i]; owns(e, c) {
			return fmt.Sprintf("%q", e.Path)
		}
	}
	return "another"
}

func owns(e *Entry, c uint32) bool {
	for _, r := range e.Chain {
		if c-r.First < r.Count {
			return true
		}
	}
	return false
}

func (w *walker) checkFile(e *Entry) {
	if e.First != 0 {
		w.checkLength(e, w.follow(e.First))
	} else if e.Size > 0 {
		w.fault(SizeNoCluster, e.Path, -1, fmt.Sprintf("a cluster for %d bytes", e.Size), "none")
	}
}

// clustersFor counts the clusters that a size takes.
func (w *walker) clustersFor(size int64) int64 {
	cluster := int64(w.v.ClusterBytes)
	return size/cluster + min(size%cluster, 1)
}

// checkLength keeps a file's chain and compares it with its size.
func (w *walker) checkLength(e *Entry, ch chain) {
	w.keep(e, ch)
	w.tellChain(e.Path, ch)
	need := w.clustersFor(e.Size)
	expected, found := count(int(need), "cluster"), count(int(ch.clusters), "cluster")
	switch {
	case e.Size == 0:
		w.fault(ClusterNoSize, e.Path, -1, "no cluster", fmt.Sprintf("cluster %d", e.First))
	case ch.clusters > need:
		w.fault(ChainLong, e.Path, w.v.Place(e.First), expected, found)
	case ch.clusters < need && ch.stop == "":
		w.fault(ChainShort, e.Path, w.v.Place(e.First), expected, found)
	}
}

// count takes the census, and tells of clusters in use by nothing.
func (w *walker) count() {
	n := w.fat.census(w.claimed)
	w.v.Bad = n.bad
	if !n.whole {
		return
	}
	if int64(w.fat.last) == w.v.Clusters+1 {
		w.v.Free = n.free
	}
	if !w.whole {
		return
	}
	w.v.Lost = n.lost
	if n.lost > 0 {
		w.fault(ClustersLost, "", w.fat.place(n.firstLost), "0 clusters in use by nothing",
			fmt.Sprintf("%d, the first of them %d", n.lost, n.firstLost))
	}
}

// checkLabels compares the label in the boot sector with the root folder's.
func (w *walker) checkLabels() {
	if w.v.Label != w.v.BootLabel && !w.rootCut {
		w.fault(LabelDiffers, "", -1, fmt.Sprintf("%q, as in the root folder", w.v.Label), fmt.Sprintf("%q", w.v.BootLabel))
	}
}
