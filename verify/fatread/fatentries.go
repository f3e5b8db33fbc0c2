package fatread

import (
	"fmt"
	"strings"
	"time"
	"unicode/utf16"

	"cardwright/manifest/samename"
)

// Attributes of an entry.
const (
	attrReadOnly = 0x01
	attrHidden   = 0x02
	attrSystem   = 0x04
	attrLabel    = 0x08
	attrDir      = 0x10
	attrLong     = 0x0F
	attrMask     = 0x3F

	freeMark = 0xE5
)

// fatLister takes a folder's entries one by one.
type fatLister struct {
	w        *fatWalker
	f        *folder
	long     longName
	index    int
	ended    bool              // its end mark was met
	names    map[string]string // names by samename.Key, and what has them
	children []*folder
	label    bool
	behind   leftBehind
}

// read takes the entries of n bytes, those behind the end mark apart; false:
// there is nothing more to read.
func (l *fatLister) read(off, n int64) bool {
	n = min(n, max(0, l.w.card.src.size-off))
	buf := make([]byte, min(n, pieceBytes))
	l.w.card.src.each(off, n, buf, func(at int64, b []byte, err error) bool {
		if err != nil {
			l.skip(at, len(b), err)
			return true
		}
		for i := 0; i+entryBytes <= len(b); i += entryBytes {
			off, e := at+int64(i), b[i:i+entryBytes]
			if !l.ended {
				if !l.take(off, e) {
					return false
				}
			} else if name, ok := l.w.behind.take(l.f.path, e); ok {
				l.behind.note(off, name)
			}
		}
		return true
	})
	return !l.w.card.listing.full
}

// skip goes past what can't be read: a long name can't be trusted across it.
func (l *fatLister) skip(at int64, n int, err error) {
	l.w.partial = true
	l.w.rootCut = l.w.rootCut || l.f.entry < 0
	l.w.unread(l.w.partition, l.f.shown(), at, "folder", err)
	l.long = longName{}
	l.index += n / entryBytes
}

func (l *fatLister) take(off int64, e []byte) bool {
	index := l.index
	l.index++
	switch {
	case e[0] == 0:
		l.ended = true
		l.missDots(index, e)
		return true
	case e[0] == freeMark:
		l.orphan(off, "a deleted entry")
	case e[11]&attrMask == attrLong:
		l.takeLong(off, e)
	case e[11]&attrLabel != 0:
		l.orphan(off, "a volume label")
		l.takeLabel(off, e)
	case e[0] == '.' && isDots(e):
		l.orphan(off, "a dot entry")
		l.takeDots(off, index, e)
	default:
		l.takeShort(off, e)
	}
	l.missDots(index, e)
	l.checkReserved(off, e)
	return !l.w.card.listing.full
}

// checkReserved looks at bits that mean nothing, and that machines differ
// about: the upper two attributes, and all of the byte kept for later systems
// but the two for case.
func (l *fatLister) checkReserved(off int64, e []byte) {
	const caseBits = 0x18
	isLong := e[11]&attrMask == attrLong
	if e[0] != freeMark && (e[11]&^attrMask != 0 || !isLong && e[12]&^caseBits != 0) {
		l.w.fault(EntryAttributes, l.f.shown(), off+11, "reserved bits of 0", fmt.Sprintf("0x%02x 0x%02x in %q", e[11], e[12], e[:11]))
	}
}

// finish ends the directory and puts its folders in line.
func (l *fatLister) finish() {
	l.orphan(-1, "the end of the folder")
	l.behind.tell(l.w.volumeLog, l.f.shown())
	l.w.line(l.children)
}

// missDots reports where . or .. should stand and something else does.
func (l *fatLister) missDots(index int, e []byte) {
	if l.f.entry < 0 || index > 1 || isDots(e) {
		return
	}
	l.w.fault(DotEntry, l.f.shown(), -1, fmt.Sprintf("%q as entry %d", dots(index == 1), index), fmt.Sprintf("%q", e[:11]))
}

func isDots(e []byte) bool {
	name := string(e[:11])
	return name == ".          " || name == "..         "
}

func (l *fatLister) takeDots(off int64, index int, e []byte) {
	path := l.f.shown()
	up := e[1] == '.'
	if l.f.entry < 0 || index != 0 && !up || index != 1 && up {
		l.w.fault(DotEntry, path, off, ". and .. as the first two entries of a folder below the root",
			fmt.Sprintf("%q as entry %d", e[:11], index))
		return
	}
	want := l.f.first
	if up {
		want = 0
		if l.f.up.entry >= 0 {
			want = l.f.up.first
		}
	}
	if got := l.w.fat.first(e); got != want {
		l.w.fault(DotEntry, path, off, fmt.Sprintf("%q leading to cluster %d", dots(up), want), fmt.Sprint(got))
	}
	if e[11]&attrDir == 0 || le.Uint32(e[28:]) != 0 {
		l.w.fault(DotEntry, path, off, fmt.Sprintf("%q a folder of size 0", dots(up)),
			fmt.Sprintf("attributes 0x%02x, size %d", e[11], le.Uint32(e[28:])))
	}
}

func dots(up bool) string {
	if up {
		return ".."
	}
	return "."
}

func (l *fatLister) takeLabel(off int64, e []byte) {
	name := strings.TrimRight(oem(string(firstByte(e[:11]))), " ")
	switch {
	case l.f.entry >= 0:
		l.w.fault(LabelExtra, l.f.shown(), off, "no volume label outside the root folder", fmt.Sprintf("%q", name))
	case l.label:
		l.w.fault(LabelExtra, l.f.shown(), off, "one volume label", fmt.Sprintf("another, %q", name))
	default:
		l.label = true
		l.w.v.Label = name
	}
	if first, size := l.w.fat.first(e), le.Uint32(e[28:]); e[11]&attrDir != 0 || first != 0 || size != 0 {
		l.w.fault(EntryAttributes, l.f.shown(), off, "a volume label alone: no folder, cluster 0, size 0",
			fmt.Sprintf("attributes 0x%02x, cluster %d, size %d", e[11], first, size))
	}
}

// first reads an entry's first cluster; its upper half is used by FAT32 alone.
func (f *fat) first(e []byte) uint32 {
	low := uint32(le.Uint16(e[26:]))
	if f.width == 32 {
		return low | uint32(le.Uint16(e[20:]))<<16
	}
	return low
}

// takeShort takes a file or folder, with the long name that came before it.
func (l *fatLister) takeShort(off int64, e []byte) {
	short := shortText(e)
	name := shownShort(e)
	units, long := l.longFor(off, e)
	if long {
		name = longText(units)
	}
	path := l.f.child(safeName(name))
	l.checkName(off, path, e, units, long)
	if !l.w.room(l.f, len(path)+len(short)) {
		return
	}
	entry := Entry{
		Path: path, ShortName: short, First: l.w.fat.first(e),
		Size: int64(le.Uint32(e[28:])), Written: int64(le.Uint32(e[28:])),
		Dir: e[11]&attrDir != 0, Hidden: e[11]&attrHidden != 0, System: e[11]&attrSystem != 0,
	}
	var ok bool
	if entry.Modified, ok = fatTime(le.Uint16(e[24:]), le.Uint16(e[22:])); !ok {
		l.w.fault(EntryTime, path, off+22, "a date and time", fmt.Sprintf("date 0x%04x, time 0x%04x", le.Uint16(e[24:]), le.Uint16(e[22:])))
	}
	l.checkTwice(off, path, name, short)
	l.w.v.Entries = append(l.w.v.Entries, entry)
	if entry.Dir {
		l.addFolder(off, len(l.w.v.Entries)-1, len(utf16.Encode([]rune(name))))
	}
}

// addFolder puts a folder in line to be read.
func (l *fatLister) addFolder(off int64, index, units int) {
	e := &l.w.v.Entries[index]
	if e.Size != 0 {
		l.w.fault(DirectorySize, e.Path, off+28, "size 0", fmt.Sprint(e.Size))
		e.Size, e.Written = 0, 0
	}
	child := &folder{
		path: e.Path, units: l.f.units + 1 + units, depth: l.f.depth + 1, first: e.First, up: l.f, entry: index,
	}
	if l.f.entry < 0 {
		child.units--
	}
	switch {
	case child.depth > l.w.card.limits.Depth:
		l.w.stop(e.Path, count(l.w.card.limits.Depth, "folder")+" within one another at most", "more")
	case child.units > mostPath:
		l.w.partial = true
		l.w.fault(PathLong, e.Path, off, fmt.Sprintf("at most %d characters", mostPath), fmt.Sprint(child.units))
	case l.w.hold(e.Path, folderWeight):
		l.children = append(l.children, child)
	}
}

// checkTwice reports names that a machine may take for one.
func (l *fatLister) checkTwice(off int64, path, name, short string) {
	keys := []string{samename.Key(name)}
	if s := samename.Key(short); s != keys[0] {
		keys = append(keys, s)
	}
	told := false
	for _, k := range keys {
		if other, twice := l.names[k]; twice && !told {
			told = true
			l.w.twice(path, other, off)
		}
		l.names[k] = path
	}
}

// fatTime reads a date and time; a date of zero is none. False: no such time.
func fatTime(date, clock uint16) (time.Time, bool) {
	if date == 0 {
		return time.Time{}, true
	}
	year, month, day := 1980+int(date>>9), time.Month(date>>5&15), int(date&31)
	hour, minute, second := int(clock>>11), int(clock>>5&63), 2*int(clock&31)
	t := time.Date(year, month, day, hour, minute, second, 0, time.UTC)
	if t.Year() != year || t.Month() != month || t.Day() != day || hour > 23 || minute > 59 || second > 59 {
		return time.Time{}, false
	}
	return t, true
}
