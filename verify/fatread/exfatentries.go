package fatread

import (
	"fmt"
	"time"

	"cardwright/manifest/samename"
)

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
			return !l.w.card.listing.full
		}
		l.cutShort()
	}
	return l.takeFirst(off, e) && !l.w.card.listing.full
}

func (l *exfatLister) cutShort() {
	if l.need > 0 {
		l.w.fault(SetOrder, l.f.shown(), l.at, fmt.Sprintf("%d entries", l.need/entryBytes), fmt.Sprintf("%d, then another", len(l.set)/entryBytes))
	}
	l.need = 0
}

func (l *exfatLister) skip(off int64, err error) {
	l.w.unread(l.w.partition, l.f.shown(), off, "folder", err)
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
			l.w.fault(EntryUnknown, l.f.shown(), off, "no entry that belongs in the root folder", fmt.Sprintf("type 0x%02x", kind))
		}
	case kind&exfatSecondary != 0:
		l.w.fault(SetOrder, l.f.shown(), off, "the first entry of a set", fmt.Sprintf("type 0x%02x", kind))
	case kind&exfatBenign != 0:
		l.benign = int(e[1])
	default:
		l.w.fault(EntryUnknown, l.f.shown(), off, "a known type of entry", fmt.Sprintf("0x%02x", kind))
	}
	return true
}

func (l *exfatLister) finish(ch chain) {
	l.cutShort()
	l.behind.tell(l.w.volumeLog, l.f.shown())
	if all := ch.clusters * int64(l.w.v.ClusterBytes); all > mostExFATDir {
		l.w.fault(DirectoryLong, l.f.shown(), -1, fmt.Sprintf("at most %d bytes", mostExFATDir), fmt.Sprint(all))
	}
	if ch.held() < ch.clusters && !l.ended {
		l.w.stop(l.f.shown(), fmt.Sprintf("a folder in %d pieces at most", mostRuns), "more")
	}
	l.w.line(l.children)
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
		l.w.fault(SetOrder, l.f.shown(), l.at, "an entry of where it is, then its name", fmt.Sprintf("types % x, %d characters", l.types(), length))
		return
	}
	var units []uint16
	for i := range parts {
		e := l.set[(2+i)*entryBytes:]
		if e[0] != exfatName {
			l.w.fault(SetOrder, l.f.shown(), l.at, "an entry of where it is, then its name", fmt.Sprintf("types % x", l.types()))
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
			l.w.fault(EntryUnknown, l.f.shown(), l.at+int64(i), "nothing after the name that a reader must understand", fmt.Sprintf("type 0x%02x", e[0]))
		}
		if s := streamOf(l.at+int64(i), e); e[0] == exfatVendor && e[1]&flagAllocation != 0 && s.first != 0 {
			extra := Entry{First: s.first, contiguous: e[1]&flagContiguous != 0}
			l.w.chains.tell(l.f.shown(), l.w.chains.of(&extra, s.size))
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
	note(s[1]&flagAllocation == 0, EntryAttributes, "the flag that it may have clusters", "flags 0x%02x", s[1])
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
