package fatread

import (
	"fmt"
	"slices"
)

// What stands behind a folder's end mark is nothing to readers that keep to the
// specifications; some go on all the same. It is listed apart, by what its
// entries say and no more: nothing of it is checked, and it claims no clusters.

// Bounds on what is looked at behind end marks, of one volume.
const (
	mostBehind      = 4096    // entries kept
	mostBehindBytes = 4 << 20 // of folders that only such entries lead to
)

// behind gathers the entries behind the end marks of a volume's folders.
type behind struct {
	w       *walker
	parse   func(e []byte) (found Entry, name string, ok bool) // of the next 32 bytes
	folders []Entry                                            // yet to be looked into
	left    int64                                              // bytes of them that may still be read
	met     map[uint32]bool                                    // first clusters of those that were
}

func newBehind(w *walker, parse func(e []byte) (Entry, string, bool)) *behind {
	return &behind{w: w, parse: parse, left: mostBehindBytes, met: map[uint32]bool{}}
}

// take looks at one entry of a folder, and reports whether it is one.
func (b *behind) take(folder string, e []byte) (name string, ok bool) {
	entry, name, ok := b.parse(e)
	if !ok {
		return "", false
	}
	entry.Path = safeName(name)
	if folder != "" {
		entry.Path = folder + "/" + entry.Path
	}
	if len(b.w.v.Behind) >= mostBehind || !b.w.hold(folder, entryWeight+len(entry.Path)) {
		b.w.stop("", fmt.Sprintf("%d entries behind end marks at most", mostBehind), "more")
		return name, true
	}
	b.w.v.Behind = append(b.w.v.Behind, entry)
	if entry.Dir && entry.First >= 2 && entry.First <= b.w.v.fat.last {
		b.folders = append(b.folders, entry)
	}
	return name, true
}

// follow looks into the folders that were met, and those within them, each once.
func (b *behind) follow() {
	for len(b.folders) > 0 {
		f := b.folders[0]
		b.folders = b.folders[1:]
		if !b.met[f.First] {
			b.met[f.First] = true
			b.enter(f)
		}
	}
}

// enter reads a folder's clusters as far as its chain leads; the first one
// where there is no chain left.
func (b *behind) enter(f Entry) {
	size, buf, seen := int64(b.w.v.ClusterBytes), make([]byte, pieceBytes), []uint32{}
	for c := f.First; c >= 2 && c <= b.w.v.fat.last && !slices.Contains(seen, c) && len(seen)*int(size) < mostEntries*entryBytes; {
		if b.left -= size; b.left < 0 {
			b.w.stop(f.Path, fmt.Sprintf("%d bytes of folders behind end marks at most", mostBehindBytes), "more")
			return
		}
		seen = append(seen, c)
		b.w.card.src.each(b.w.v.Place(c), size, buf, func(at int64, piece []byte, err error) bool {
			if err != nil {
				b.w.unread(b.w.partition, f.Path, at, "folder", err)
				return true
			}
			for i := 0; i+entryBytes <= len(piece); i += entryBytes {
				b.take(f.Path, piece[i:i+entryBytes])
			}
			return true
		})
		next, err := b.w.v.fat.get(c)
		if err != nil || f.contiguous {
			next = c + 1
			if err != nil || int64(len(seen))*size >= f.Size {
				return
			}
		}
		c = next
	}
}

// looseFAT reads FAT entries one by one, with their long names where the parts
// stand before them.
func looseFAT(f *fat) func(e []byte) (Entry, string, bool) {
	var long longName
	return func(e []byte) (entry Entry, name string, ok bool) {
		parts := long
		long = longName{}
		switch {
		case e[0] == 0 || e[0] == freeMark || isDots(e):
			return Entry{}, "", false
		case e[11]&attrMask == attrLong:
			if n := int(e[0] &^ lastLong); e[0]&lastLong != 0 && n >= 1 && n <= longParts {
				parts = longName{on: true, next: n, parts: n, sum: e[13]}
			}
			if n := int(e[0] &^ lastLong); parts.on && n == parts.next && n >= 1 && e[13] == parts.sum {
				parts.put(e)
				long = parts
			}
			return Entry{}, "", false
		case e[11]&attrLabel != 0:
			return Entry{}, "", false
		}
		name = shownShort(e)
		if parts.on && parts.next == 0 && parts.sum == checksum(e[:11]) {
			units := parts.units[:parts.parts*unitsPerPart]
			if end := slices.Index(units, 0); end >= 0 {
				units = units[:end]
			}
			name = longText(units)
		}
		return Entry{
			ShortName: shortText(e), First: f.first(e), Size: int64(le.Uint32(e[28:])), Dir: e[11]&attrDir != 0,
			Hidden: e[11]&attrHidden != 0, System: e[11]&attrSystem != 0,
		}, name, true
	}
}

// looseExFAT reads exFAT entries one by one: a file is known when its name is.
func looseExFAT() func(e []byte) (Entry, string, bool) {
	var entry Entry
	var units []uint16
	open, length := false, 0
	return func(e []byte) (Entry, string, bool) {
		switch e[0] {
		case exfatFile:
			attributes := le.Uint16(e[4:])
			entry = Entry{Dir: attributes&attrDir != 0, Hidden: attributes&attrHidden != 0, System: attributes&attrSystem != 0}
			open, length, units = true, 0, nil
		case exfatStream:
			entry.First, entry.Size, entry.contiguous = le.Uint32(e[20:]), size64(e[24:]), e[1]&flagContiguous != 0
			length = int(e[3])
		case exfatName:
			if !open || length == 0 {
				return Entry{}, "", false
			}
			units = append(units, unitsOf(e[2:], min(15, length-len(units)))...)
			if len(units) == length {
				open, length = false, 0
				return entry, longText(units), true
			}
		default:
			open, length = false, 0
		}
		return Entry{}, "", false
	}
}

// leftBehind counts what is behind the end mark of one folder.
type leftBehind struct {
	count int
	at    int64
	first string
}

func (l *leftBehind) note(off int64, name string) {
	if l.count == 0 {
		l.at, l.first = off, name
	}
	l.count++
}

// tell reports a folder with entries behind its end mark.
func (l *leftBehind) tell(log *volumeLog, folder string) {
	if l.count == 0 {
		return
	}
	what := "1 entry"
	if l.count > 1 {
		what = fmt.Sprintf("%d entries", l.count)
	}
	log.fault(EntryBehind, folder, l.at, "nothing behind the folder's end mark", fmt.Sprintf("%s, the first of them %q", what, l.first))
}
