package fatread

import (
	"fmt"
	"io"
	"math"
	"time"

	"cardwright/manifest/samename"
)

// Types of directory entries (section 7). A type with the bit inUse clear is
// a deleted one.
const (
	exfatInUse     = 0x80
	exfatSecondary = 0x40
	exfatBenign    = 0x20

	exfatBitmap = 0x81
	exfatUpcase = 0x82
	exfatLabel  = 0x83
	exfatFile   = 0x85
	exfatStream = 0xC0
	exfatName   = 0xC1
	exfatVendor = 0xE1 // has clusters of its own

	flagAllocation = 1
	flagContiguous = 2 // the FAT isn't to be asked

	upcaseSize = 1 << 16
)

// stream is where an entry's clusters are.
type stream struct {
	off   int64 // of the entry on the card
	first uint32
	size  int64
	sum   uint32 // of the up-case table
}

func streamOf(off int64, e []byte) stream {
	return stream{off: off, first: le.Uint32(e[20:]), size: size64(e[24:])}
}

func size64(b []byte) int64 { return int64(min(le.Uint64(b), math.MaxInt64)) }

type exfatWalker struct {
	walker
	ex     exfatBoot
	upcase []uint16 // nil: there is none to go by

	bitmaps, tables, labels int
	bitmap, table           stream
	bitmapRuns              []Run // nil: it can't be gone by
}

func (w *exfatWalker) run() {
	w.claimed = newClaims(w.fat.last)
	if v, err := w.fat.get(0); err == nil && v>>8 != 0xFFFFFF {
		w.fault(FATMedia, "", w.fat.place(0), "0xfffffff8", fmt.Sprintf("0x%08x", v))
	}
	w.behind = newBehind(&w.walker, looseExFAT())
	w.walk(w.enter)
	w.behind.follow()
	for _, e := range w.v.filesByPlace() {
		w.checkFile(e)
	}
	w.checkBitmap()
}

// enter follows a folder's clusters and lists what is its own.
func (w *exfatWalker) enter(f *folder) {
	e := w.entryOf(f)
	if e.First == 0 { // allowed for a folder of size 0
		if f.size > 0 {
			w.fault(DirectoryNone, f.shown(), -1, fmt.Sprintf("a cluster for %d bytes", f.size), "none")
		}
		return
	}
	if w.inside(f) {
		w.fault(DirectoryLoop, f.shown(), -1, "a folder of its own", "the cluster of a folder that holds it")
		return
	}
	ch := w.allocation(e, f.size)
	w.keep(e, ch)
	w.tellChain(f.shown(), ch)
	if f.entry < 0 {
		w.findCritical(ch)
	} else if got := ch.clusters * int64(w.v.ClusterBytes); got != f.size && ch.stop == "" {
		w.fault(DirectorySize, f.shown(), -1, fmt.Sprintf("%d bytes, as its clusters", got), fmt.Sprint(f.size))
	}
	l := &exfatLister{w: w, f: f, names: map[string]string{}}
	w.each(ch, l.take, l.skip)
	l.finish(ch)
}

// allocation claims a file's or folder's clusters.
func (w *exfatWalker) allocation(e *Entry, size int64) chain {
	if !e.contiguous {
		return w.follow(e.First)
	}
	return w.stretch(e.First, w.clustersFor(size))
}

// stretch claims clusters that follow one another without a chain.
func (w *walker) stretch(first uint32, need int64) (ch chain) {
	for c := first; ch.clusters < need; c++ {
		ch.at = c
		switch {
		case c < 2 || c > w.fat.last:
			ch.stop = ChainRange
		case !w.claimed.room(c):
			ch.stop = LimitReached
		case !w.claimed.set(c):
			ch.stop = ChainCross
		}
		if ch.stop != "" {
			return ch
		}
		ch.push(c, w.mostRuns())
	}
	return ch
}

// each hands over a folder's entries, at most as many as a folder may have.
func (w *exfatWalker) each(ch chain, take func(off int64, e []byte) bool, skip func(off int64, err error)) {
	left, more := int64(mostExFATDir), true
	buf := make([]byte, pieceBytes)
	for _, r := range ch.runs {
		n := min(int64(r.Count)*int64(w.v.ClusterBytes), left)
		w.card.src.each(w.v.Place(r.First), n, buf, func(at int64, b []byte, err error) bool {
			if err != nil {
				skip(at, err)
				return true
			}
			for i := 0; i+entryBytes <= len(b) && more; i += entryBytes {
				more = take(at+int64(i), b[i:i+entryBytes])
			}
			return more
		})
		if left -= n; left <= 0 || !more {
			return
		}
	}
}

// findCritical looks for the bitmap, the up-case table and the label before
// names are read, as these need the table.
func (w *exfatWalker) findCritical(ch chain) {
	whole := ch.stop != ReadFailed
	w.each(ch, func(off int64, e []byte) bool {
		switch e[0] {
		case exfatBitmap:
			w.bitmaps++
			if w.bitmap.off == 0 || w.ex.activeSecond() == (e[1]&1 == 1) {
				w.bitmap = streamOf(off, e)
			}
		case exfatUpcase:
			w.tables++
			w.table = streamOf(off, e)
			w.table.sum = le.Uint32(e[4:])
		case exfatLabel:
			w.takeLabel(off, e)
		}
		return e[0] != 0
	}, func(int64, error) { whole = false })
	if w.bitmaps != int(w.ex.fats) && whole {
		w.fault(BitmapWrong, "", -1, count(int(w.ex.fats), "allocation bitmap"), fmt.Sprint(w.bitmaps))
	}
	if w.tables != 1 && whole {
		w.fault(UpcaseWrong, "", -1, "1 up-case table", fmt.Sprint(w.tables))
	}
	w.findBitmap()
	w.readUpcase()
}

func (w *exfatWalker) takeLabel(off int64, e []byte) {
	w.labels++
	if w.labels > 1 {
		w.fault(LabelExtra, "/", off, "one volume label", "another")
		return
	}
	n := int(e[1])
	if n > 11 {
		w.fault(LabelExtra, "/", off, "a label of at most 11 characters", fmt.Sprint(n))
		n = 11
	}
	w.v.Label = longText(unitsOf(e[2:], n))
	w.v.BootLabel = w.v.Label
}

func unitsOf(b []byte, n int) []uint16 {
	units := make([]uint16, n)
	for i := range units {
		units[i] = le.Uint16(b[2*i:])
	}
	return units
}

// system claims the clusters of the bitmap or the up-case table, which always
// have a chain.
func (w *exfatWalker) system(kind FaultKind, s stream, what string) (chain, bool) {
	if s.off == 0 {
		return chain{}, false
	}
	ch := w.follow(s.first)
	need := w.clustersFor(s.size)
	if ch.stop == ReadFailed || ch.stop == LimitReached {
		w.tellChain("", ch)
		return ch, false
	}
	if ch.stop != "" || ch.clusters < need {
		w.fault(kind, "", s.off, fmt.Sprintf("a chain of %s for the %s", count(int(need), "cluster"), what),
			fmt.Sprintf("%s%s", count(int(ch.clusters), "cluster"), map[bool]string{true: ", then " + string(ch.stop)}[ch.stop != ""]))
		return ch, false
	}
	return ch, ch.held() == ch.clusters
}

// held counts the clusters whose runs were kept.
func (ch *chain) held() (n int64) {
	for _, r := range ch.runs {
		n += int64(r.Count)
	}
	return n
}

// readUpcase reads the up-case table (section 7.2.5): 65,536 characters, or
// fewer with stretches that stay as they are written as 0xFFFF and a count.
func (w *exfatWalker) readUpcase() {
	ch, ok := w.system(UpcaseWrong, w.table, "up-case table")
	if !ok {
		return
	}
	if w.table.size > 2*upcaseSize || w.table.size < 2*128 || w.table.size%2 != 0 {
		w.fault(UpcaseWrong, "", w.table.off, "an up-case table of 256 to 131072 bytes", fmt.Sprint(w.table.size))
		return
	}
	table := Entry{Path: "up-case table", Dir: true, First: w.table.first, Chain: ch.runs, ChainClusters: ch.clusters}
	b, err := io.ReadAll(w.v.open(table, w.table.size))
	if err != nil {
		w.tellUnread("", err)
		return
	}
	if sum := exfatSum32(b); sum != w.table.sum {
		w.fault(UpcaseWrong, "", w.table.off+4, fmt.Sprintf("checksum %08x", sum), fmt.Sprintf("%08x", w.table.sum))
		return
	}
	if w.upcase = expandUpcase(b); w.upcase == nil {
		w.fault(UpcaseWrong, "", w.table.off, "an up-case table that maps a to z to A to Z and ends by character 65535", "another")
	}
}

func exfatSum32(b []byte) (sum uint32) {
	for _, v := range b {
		sum = sum<<31 | sum>>1
		sum += uint32(v)
	}
	return sum
}

// expandUpcase gives nil for a table that can't be right.
func expandUpcase(b []byte) []uint16 {
	table := make([]uint16, upcaseSize)
	for i := range table {
		table[i] = uint16(i)
	}
	at := 0
	for i := 0; i+2 <= len(b); i += 2 {
		v := le.Uint16(b[i:])
		if v == 0xFFFF && i+4 <= len(b) {
			i += 2
			at += int(le.Uint16(b[i:]))
			continue
		}
		if at >= upcaseSize {
			return nil
		}
		table[at] = v
		at++
	}
	for c := range 128 {
		want := uint16(c)
		if c >= 'a' && c <= 'z' {
			want -= 'a' - 'A'
		}
		if table[c] != want {
			return nil
		}
	}
	return table
}

// findBitmap claims the allocation bitmap; its bits are compared last.
func (w *exfatWalker) findBitmap() {
	ch, ok := w.system(BitmapWrong, w.bitmap, "allocation bitmap")
	if !ok {
		return
	}
	if need := (w.v.Clusters + 7) / 8; w.bitmap.size < need {
		w.fault(BitmapWrong, "", w.bitmap.off+24, fmt.Sprintf("an allocation bitmap of %d bytes", need), fmt.Sprint(w.bitmap.size))
		return
	}
	w.bitmapRuns = ch.runs
}

// checkBitmap looks for clusters of files and folders that the bitmap has as
// free: whatever writes to the card next may overwrite them. Clusters that are
// marked and belong to nothing aren't looked for: no verdict depends on them.
func (w *exfatWalker) checkBitmap() {
	if w.bitmapRuns == nil {
		return
	}
	next, buf := uint32(2), make([]byte, pieceBytes)
	var n unmarked
	for _, r := range w.bitmapRuns {
		w.card.src.each(w.v.Place(r.First), int64(r.Count)*int64(w.v.ClusterBytes), buf, func(at int64, b []byte, err error) bool {
			if err != nil {
				w.card.unread(w.p.Number, "", at, "allocation bitmap", err)
				next += uint32(8 * len(b))
			} else {
				next = w.compareBits(&n, next, b)
			}
			return int64(next) <= int64(w.fat.last)
		})
		if next > w.fat.last {
			break
		}
	}
	if n.count > 0 {
		w.fault(ChainFree, w.ownerPath(n.first), w.placeInRuns(int64(n.first-2)/8), "clusters marked as in use in the allocation bitmap",
			fmt.Sprintf("%s marked free, the first of them %d", count(n.count, "cluster"), n.first))
	}
}

// unmarked are clusters of files and folders that the bitmap has as free.
type unmarked struct {
	count int
	first uint32
}

func (w *exfatWalker) compareBits(n *unmarked, c uint32, b []byte) uint32 {
	for _, v := range b {
		if c < w.fat.last-8 && (v == 0xFF || !w.claimed.near(c)) { // most of a card
			c += 8
			continue
		}
		for bit := 0; bit < 8 && c <= w.fat.last; bit++ {
			if v>>bit&1 == 0 && w.claimed.has(c) {
				n.count++
				if n.first == 0 {
					n.first = c
				}
			}
			c++
		}
	}
	return c
}

// placeInRuns is where a byte of the bitmap stands on the card.
func (w *exfatWalker) placeInRuns(at int64) int64 {
	for _, r := range w.bitmapRuns {
		n := int64(r.Count) * int64(w.v.ClusterBytes)
		if at < n {
			return w.v.Place(r.First) + at
		}
		at -= n
	}
	return -1
}

func (w *exfatWalker) ownerPath(c uint32) string {
	for i := range w.v.Entries {
		if owns(&w.v.Entries[i], c) {
			return w.v.Entries[i].Path
		}
	}
	if owns(&w.v.Root, c) {
		return "/"
	}
	return ""
}

func (w *exfatWalker) checkFile(e *Entry) {
	if e.First != 0 {
		w.checkLength(e, w.allocation(e, e.Size))
	} else if e.Size > 0 {
		w.fault(SizeNoCluster, e.Path, -1, fmt.Sprintf("a cluster for %d bytes", e.Size), "none")
	}
}

// exfatLister takes a folder's entries one by one. A file is a set of them:
// the first, where it is, and its name.
type exfatLister struct {
	w        *exfatWalker
	f        *folder
	set      []byte
	need     int // bytes of the set; 0: none begun
	at       int64
	benign   int // entries that belong to one that needn't be understood
	names    map[string]string
	children []*folder
	ended    bool
	behind   leftBehind
}

func (l *exfatLister) take(off int64, e []byte) bool {
	if l.ended {
		if name, ok := l.w.behind.take(l.f.path, e); ok {
			l.behind.note(off, name)
		}
		return true
	}
	if l.need > 0 {
		if e[0]&(exfatInUse|exfatSecondary) == exfatInUse|exfatSecondary {
			l.set = append(l.set, e...)
			if len(l.set) == l.need {
				l.need = 0
				l.takeSet()
			}
			return !l.w.card.full
		}
		l.cutShort()
	}
	return l.takeFirst(off, e) && !l.w.card.full
}

func (l *exfatLister) cutShort() {
	if l.need > 0 {
		l.w.fault(SetOrder, l.f.shown(), l.at, fmt.Sprintf("%d entries", l.need/entryBytes), fmt.Sprintf("%d, then another", len(l.set)/entryBytes))
	}
	l.need = 0
}

func (l *exfatLister) skip(off int64, err error) {
	l.w.card.unread(l.w.p.Number, l.f.shown(), off, "folder", err)
	l.need, l.benign = 0, 0
}

// takeFirst takes an entry that begins something.
func (l *exfatLister) takeFirst(off int64, e []byte) bool {
	kind := e[0]
	if l.benign > 0 && kind&(exfatInUse|exfatSecondary) == exfatInUse|exfatSecondary {
		l.benign--
		return true
	}
	l.benign = 0
	switch {
	case kind == 0:
		l.ended = true
	case kind&exfatInUse == 0:
	case kind == exfatFile:
		l.need, l.at = (int(e[1])+1)*entryBytes, off
		l.set = append(l.set[:0], e...)
		if e[1] < 2 {
			l.need = 0
			l.w.fault(SetOrder, l.f.shown(), off, "2 entries or more after a file's first", fmt.Sprint(e[1]))
		}
	case kind == exfatBitmap || kind == exfatUpcase || kind == exfatLabel:
		if l.f.entry >= 0 {
			l.w.fault(EntryUnknown, l.f.shown(), off, "an entry of the root folder there", fmt.Sprintf("type 0x%02x", kind))
		}
	case kind&exfatSecondary != 0:
		l.w.fault(SetOrder, l.f.shown(), off, "the first entry of a set", fmt.Sprintf("type 0x%02x", kind))
	case kind&exfatBenign != 0:
		l.benign = int(e[1])
	default:
		l.w.fault(EntryUnknown, l.f.shown(), off, "a type that is known", fmt.Sprintf("0x%02x", kind))
	}
	return true
}

func (l *exfatLister) finish(ch chain) {
	l.cutShort()
	l.behind.tell(&l.w.walker, l.f.shown())
	if all := ch.clusters * int64(l.w.v.ClusterBytes); all > mostExFATDir {
		l.w.fault(DirectoryLong, l.f.shown(), -1, fmt.Sprintf("at most %d bytes", mostExFATDir), fmt.Sprint(all))
	}
	if ch.held() < ch.clusters && !l.ended {
		l.w.stop(l.f.shown(), fmt.Sprintf("a folder in %d pieces at most", l.w.mostRuns()), "more")
	}
	for i := len(l.children) - 1; i >= 0; i-- {
		l.w.pending = append(l.w.pending, l.children[i])
	}
}

// takeSet takes a whole set of a file or folder.
func (l *exfatLister) takeSet() {
	if sum := setSum(l.set); sum != le.Uint16(l.set[2:]) {
		l.w.fault(SetChecksum, l.f.shown(), l.at+2, fmt.Sprintf("%04x", sum), fmt.Sprintf("%04x", le.Uint16(l.set[2:])))
	}
	s := l.set[entryBytes:]
	length := int(s[3])
	parts := (length + 14) / 15
	if s[0] != exfatStream || length == 0 || len(l.set) < (2+parts)*entryBytes {
		l.w.fault(SetOrder, l.f.shown(), l.at, "where it is, then its name", fmt.Sprintf("types % x, %d characters", l.types(), length))
		return
	}
	var units []uint16
	for i := range parts {
		e := l.set[(2+i)*entryBytes:]
		if e[0] != exfatName {
			l.w.fault(SetOrder, l.f.shown(), l.at, "where it is, then its name", fmt.Sprintf("types % x", l.types()))
			return
		}
		units = append(units, unitsOf(e[2:], min(15, length-len(units)))...)
	}
	l.takeFile(units, s)
	l.takeRest(2 + parts)
}

func (l *exfatLister) types() (types []byte) {
	for i := 0; i < len(l.set); i += entryBytes {
		types = append(types, l.set[i])
	}
	return types
}

// setSum is a set's checksum (section 6.3.3).
func setSum(set []byte) (sum uint16) {
	for i, b := range set {
		if i == 2 || i == 3 {
			continue
		}
		sum = sum<<15 | sum>>1
		sum += uint16(b)
	}
	return sum
}

// takeRest looks at what follows the name: it may be anything that needn't be
// understood, and may have clusters of its own.
func (l *exfatLister) takeRest(from int) {
	for i := from * entryBytes; i < len(l.set); i += entryBytes {
		e := l.set[i : i+entryBytes]
		if e[0]&exfatBenign == 0 {
			l.w.fault(EntryUnknown, l.f.shown(), l.at+int64(i), "nothing after the name that must be understood", fmt.Sprintf("type 0x%02x", e[0]))
		}
		if s := streamOf(l.at+int64(i), e); e[0] == exfatVendor && e[1]&flagAllocation != 0 && s.first != 0 {
			extra := Entry{First: s.first, contiguous: e[1]&flagContiguous != 0}
			l.w.tellChain(l.f.shown(), l.w.allocation(&extra, s.size))
		}
	}
}

func (l *exfatLister) takeFile(units []uint16, s []byte) {
	name := longText(units)
	path := l.f.child(safeName(name))
	if why := badExFATName(units); why != "" {
		l.w.fault(NameBad, path, l.at, "a name of legal characters", why)
	}
	if !l.w.room(l.f, len(path)) {
		return
	}
	attributes := le.Uint16(l.set[4:])
	e := Entry{
		Path: path, First: le.Uint32(s[20:]), Size: size64(s[24:]), Written: size64(s[8:]),
		Dir: attributes&attrDir != 0, Hidden: attributes&attrHidden != 0, System: attributes&attrSystem != 0,
		contiguous: s[1]&flagContiguous != 0,
	}
	l.checkSet(&e, attributes, s)
	l.checkName(path, units, le.Uint16(s[4:]))
	if !e.Dir {
		l.w.v.Entries = append(l.w.v.Entries, e)
		return
	}
	size := e.Size
	e.Size, e.Written = 0, 0
	l.w.v.Entries = append(l.w.v.Entries, e)
	l.addFolder(len(l.w.v.Entries)-1, size)
}

// checkSet checks a file's fields against one another.
func (l *exfatLister) checkSet(e *Entry, attributes uint16, s []byte) {
	const known = attrReadOnly | attrHidden | attrSystem | attrDir | 0x20
	note := func(wrong bool, kind FaultKind, expected, format string, found ...any) {
		if wrong {
			l.w.fault(kind, e.Path, l.at, expected, fmt.Sprintf(format, found...))
		}
	}
	note(attributes&^known != 0, EntryAttributes, "reserved bits of 0", "attributes 0x%04x", attributes)
	note(s[1]&flagAllocation == 0, EntryAttributes, "clusters allowed", "flags 0x%02x", s[1])
	note(e.contiguous && e.First == 0, EntryAttributes, "a first cluster where there is no chain", "0")
	note(e.Written > e.Size || e.Dir && e.Written != e.Size, WrittenSize, fmt.Sprintf("%d bytes written", e.Size), "%d", e.Written)
	note(e.Dir && e.Size > mostExFATDir, DirectorySize, fmt.Sprintf("at most %d bytes", mostExFATDir), "%d", e.Size)
	e.Written = min(e.Written, e.Size)
	var ok bool
	e.Modified, ok = exfatTime(l.set)
	note(!ok, EntryTime, "a date and time", "0x%08x", le.Uint32(l.set[12:]))
}

// exfatTime reads when a file was modified (sections 7.4.8 to 7.4.10).
func exfatTime(set []byte) (time.Time, bool) {
	stamp := le.Uint32(set[12:])
	t, ok := fatTime(uint16(stamp>>16), uint16(stamp))
	if !ok || t.IsZero() || set[21] > 199 {
		return time.Time{}, false
	}
	t = t.Add(time.Duration(set[21]) * 10 * time.Millisecond)
	if zone := set[23]; zone&0x80 != 0 {
		quarters := int8(zone<<1) >> 1
		t = t.Add(-time.Duration(quarters) * 15 * time.Minute)
	}
	return t, true
}

func badExFATName(units []uint16) string {
	if name := longText(units); name == "." || name == ".." {
		return fmt.Sprintf("%q", name)
	}
	return badUnits(units)
}

// checkName compares a name's hash, and looks for the same name in the folder.
func (l *exfatLister) checkName(path string, units []uint16, hash uint16) {
	keys := []string{samename.Key(longText(units))}
	if l.w.upcase != nil {
		raised := make([]uint16, len(units))
		for i, u := range units {
			raised[i] = l.w.upcase[u]
		}
		if got := nameHash(raised); got != hash {
			l.w.fault(NameHash, path, l.at, fmt.Sprintf("%04x", got), fmt.Sprintf("%04x", hash))
		}
		keys = append(keys, "\x00"+longText(raised)) // as the card's own table has it
	}
	told := false
	for _, k := range keys {
		if other, twice := l.names[k]; twice && !told {
			told = true
			l.w.twice(path, other, l.at)
		}
		l.names[k] = path
	}
}

// nameHash is that of a name in upper case (section 7.6.4).
func nameHash(raised []uint16) (hash uint16) {
	for _, u := range raised {
		for _, b := range []byte{byte(u), byte(u >> 8)} {
			hash = hash<<15 | hash>>1
			hash += uint16(b)
		}
	}
	return hash
}

func (l *exfatLister) addFolder(index int, size int64) {
	e := &l.w.v.Entries[index]
	child := &folder{path: e.Path, depth: l.f.depth + 1, first: e.First, size: size, up: l.f, entry: index}
	switch {
	case child.depth > l.w.card.limits.Depth:
		l.w.stop(e.Path, count(l.w.card.limits.Depth, "folder")+" within one another at most", "more")
	case l.w.hold(e.Path, folderWeight):
		l.children = append(l.children, child)
	}
}
