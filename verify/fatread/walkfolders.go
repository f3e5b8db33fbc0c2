package fatread

import "fmt"

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
	size  int64  // exFAT alone: bytes of its clusters, by its entry
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

// volumeLog takes the faults of one volume.
type volumeLog struct {
	*Log
	partition int
	partial   bool // something was left out, so lost clusters can't be identified
}

func (l *volumeLog) fault(kind FaultKind, path string, off int64, expected, found string) {
	f := faultOf(kind, l.partition, off, expected, found)
	f.Path = path
	l.add(f)
}

// twice reports two names in one folder that are the same.
func (l *volumeLog) twice(path, other string, off int64) {
	f := faultOf(NameTwice, l.partition, off, "a name of its own", fmt.Sprintf("also the name of %q", other))
	f.Path, f.Other = path, other
	l.add(f)
}

// stop reports that a bound left something out.
func (l *volumeLog) stop(path, bound, found string) {
	l.partial = true
	l.limit(l.partition, path, bound, found)
}

// listing is how much of a card is held in memory.
type listing struct {
	entries int
	bytes   int64
	full    bool // no more is listed
}

// walker is what walking through a FAT volume and an exFAT one have in common: the
// folders that are yet to be read, and room for what is found in them.
type walker struct {
	*volumeLog
	card    *Card
	v       *Volume
	chains  *chains
	behind  *behind
	pending []*folder
}

func newWalker(s start, v *Volume) walker {
	log := &volumeLog{Log: &s.card.Log, partition: s.p.Number}
	return walker{volumeLog: log, card: s.card, v: v, chains: &chains{log, v, v.fat, newClaims(v.fat.last)}}
}

// walk enters the root folder, which begins at a cluster (0: at none), and all
// that it leads to.
func (w *walker) walk(root uint32, enter func(f *folder)) {
	w.v.Root = Entry{Path: "/", Dir: true, First: root}
	w.pending = []*folder{{entry: -1, first: root}}
	for len(w.pending) > 0 && !w.card.listing.full {
		f := w.pending[len(w.pending)-1]
		w.pending = w.pending[:len(w.pending)-1]
		enter(f)
	}
}

// line puts a folder's folders in line, so that they are read in their order.
func (w *walker) line(children []*folder) {
	for i := len(children) - 1; i >= 0; i-- {
		w.pending = append(w.pending, children[i])
	}
}

// hold takes room for the listing, while there is some.
func (w *walker) hold(path string, weight int) bool {
	if most := w.card.limits.Listing; w.card.listing.bytes+int64(weight) > most {
		w.card.listing.full = true
		w.stop(path, fmt.Sprintf("%d bytes of listing at most", most), "more")
		return false
	}
	w.card.listing.bytes += int64(weight)
	return true
}

// room asks for room to keep an entry of a folder.
func (w *walker) room(f *folder, names int) bool {
	if most := w.card.limits.Entries; w.card.listing.entries >= most {
		w.card.listing.full = true
		w.stop(f.shown(), fmt.Sprintf("%d entries at most", most), "more")
		return false
	}
	if !w.hold(f.shown(), entryWeight+names) {
		return false
	}
	w.card.listing.entries++
	return true
}

func (w *walker) entryOf(f *folder) *Entry {
	if f.entry < 0 {
		return &w.v.Root
	}
	return &w.v.Entries[f.entry]
}

// leadsToItself reports whether a folder with a cluster is one of its own parents, and
// reports it.
func (w *walker) leadsToItself(f *folder) bool {
	for up := f.up; up != nil; up = up.up {
		if up.first == f.first {
			w.fault(DirectoryLoop, f.shown(), -1, "a folder that no folder within it leads to", "the cluster of a folder that holds it")
			return true
		}
	}
	return false
}

// keep writes a chain into its entry, no more runs than there is room for.
func (w *walker) keep(e *Entry, ch chain) {
	e.ChainClusters = ch.clusters
	room := (w.card.limits.Listing - w.card.listing.bytes) / runWeight
	n := int(min(int64(len(ch.runs)), int64(w.card.limits.Runs), room))
	w.card.listing.bytes += int64(n * runWeight)
	e.Chain = append([]Run(nil), ch.runs[:n]...)
}

// checkFile follows a file's clusters and compares them with its size.
func (w *walker) checkFile(e *Entry) {
	if e.First == 0 {
		if e.Size > 0 {
			w.fault(SizeNoCluster, e.Path, -1, fmt.Sprintf("a cluster for %d bytes", e.Size), "none")
		}
		return
	}
	ch := w.chains.of(e, e.Size)
	w.keep(e, ch)
	w.chains.tell(e.Path, ch)
	need := w.v.clustersFor(e.Size)
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

// checkFiles checks all of them by ascending place: so a FAT is read from front to
// back on all but the most scattered of cards.
func (w *walker) checkFiles() {
	for _, e := range w.v.filesByPlace() {
		w.checkFile(e)
	}
}
