package fatread

import "fmt"

// fatWalker goes through the folders of a FAT volume, then through its files'
// chains.
type fatWalker struct {
	walker
	fat       *fat
	fixedRoot int64 // bytes from the start of the card to FAT12's and FAT16's root folder; 0: it has clusters
	rootBytes int64
	rootCut   bool // the root folder was not read to its end
}

func walkFAT(f fatVolume) {
	w := &fatWalker{walker: newWalker(f.start, f.v), fat: f.v.fat}
	if !f.boot.fat32 {
		w.fixedRoot, w.rootBytes = f.p.Start+f.boot.rootSector()*f.boot.sector, f.boot.rootEntries*entryBytes
	}
	w.behind = newBehind(&w.walker, looseFAT(w.fat))
	w.checkFirstEntries()
	w.walk(f.boot.root, w.enter)
	w.behind.follow()
	w.checkLabels()
	w.checkFiles()
	w.count()
}

// checkFirstEntries looks at FAT[0] and FAT[1], which belong to no cluster.
func (w *fatWalker) checkFirstEntries() {
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
		w.fault(DirtyFlag, "", w.fat.place(1), "the FAT's flag for a clean volume set", fmt.Sprintf("not set in 0x%x", v))
	}
	if v&(clean>>1) == 0 {
		w.fault(ErrorFlag, "", w.fat.place(1), "the FAT's flag for no read errors set", fmt.Sprintf("not set in 0x%x", v))
	}
}

// enter follows a folder's chain and lists what is its own.
func (w *fatWalker) enter(f *folder) {
	l := &fatLister{w: w, f: f, names: map[string]string{}}
	if f.entry < 0 && w.fixedRoot > 0 {
		l.read(w.fixedRoot, w.rootBytes)
		l.finish()
		return
	}
	e := w.entryOf(f)
	if e.First == 0 {
		w.fault(DirectoryNone, f.shown(), -1, "a cluster", "none")
		return
	}
	if w.leadsToItself(f) {
		return
	}
	ch := w.chains.of(e, 0)
	w.keep(e, ch)
	w.chains.tell(f.shown(), ch)
	w.rootCut = w.rootCut || f.entry < 0 && ch.stop != ""
	w.list(l, ch)
}

// list reads a folder's clusters.
func (w *fatWalker) list(l *fatLister, ch chain) {
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
		w.partial = w.partial || !l.ended
	}
	l.finish()
}

// count takes the census, and reports clusters in use by nothing.
func (w *fatWalker) count() {
	n := w.fat.census(w.chains.claimed)
	w.v.Bad = n.bad
	if !n.whole {
		return
	}
	if int64(w.fat.last) == w.v.Clusters+1 {
		w.v.Free = n.free
	}
	if w.partial {
		return
	}
	w.v.Lost = n.lost
	if n.lost > 0 {
		w.fault(ClustersLost, "", w.fat.place(n.firstLost), "0 clusters in use by nothing",
			fmt.Sprintf("%d, the first of them %d", n.lost, n.firstLost))
	}
}

// checkLabels compares the label in the boot sector with the root folder's.
func (w *fatWalker) checkLabels() {
	if w.v.Label != w.v.BootLabel && !w.rootCut {
		w.fault(LabelDiffers, "", -1, fmt.Sprintf("%q, as in the root folder", w.v.Label), fmt.Sprintf("%q", w.v.BootLabel))
	}
}
