package fat32

import (
	"encoding/binary"
	"io"
	"time"
)

// Attributes of a directory entry.
const (
	attrLabel   = 0x08
	attrFolder  = 0x10
	attrArchive = 0x20
	attrLong    = 0x0F // read-only, hidden, system and label at once: a long-name entry
)

const lastLongEntry = 0x40 // marks the last part of a long name, which comes first

// entry is the specification's directory entry of 32 bytes.
type entry [entrySize]byte

func newEntry(name shortName, attr byte, cluster, size uint32, at time.Time) (e entry) {
	date, clock, hundredths := stamp(at)
	le := binary.LittleEndian
	copy(e[0:], name[:])
	e[11] = attr
	e[13] = hundredths
	le.PutUint16(e[14:], clock) // created
	le.PutUint16(e[16:], date)
	le.PutUint16(e[18:], date) // last read
	le.PutUint16(e[20:], uint16(cluster>>16))
	le.PutUint16(e[22:], clock) // last written
	le.PutUint16(e[24:], date)
	le.PutUint16(e[26:], uint16(cluster))
	le.PutUint32(e[28:], size)
	return e
}

// longEntry is part number ord, from 1, of a long name.
func longEntry(ord int, name []uint16, checksum byte) (e entry) {
	from := (ord - 1) * unitsPerEntry
	e[0] = byte(ord)
	if from+unitsPerEntry >= len(name) {
		e[0] |= lastLongEntry
	}
	e[11] = attrLong
	e[13] = checksum
	for i, at := range longUnitOffsets {
		binary.LittleEndian.PutUint16(e[at:], longUnit(name, from+i))
	}
	return e
}

// longUnitOffsets is where a long-name entry keeps its 13 units.
var longUnitOffsets = [unitsPerEntry]int{1, 3, 5, 7, 9, 14, 16, 18, 20, 22, 24, 28, 30}

// longUnit is unit i of a name: a zero ends the name where there is room, and ones
// fill up the rest.
func longUnit(name []uint16, i int) uint16 {
	switch {
	case i < len(name):
		return name[i]
	case i == len(name):
		return 0
	}
	return 0xFFFF
}

// The times that a directory entry can hold.
var (
	earliest = time.Date(1980, 1, 1, 0, 0, 0, 0, time.UTC)
	latest   = time.Date(2107, 12, 31, 23, 59, 59, 990_000_000, time.UTC)
)

// stamp is a time in UTC in the form of a directory entry: date, time in steps of
// two seconds, and the rest in hundredths of a second, up to 199.
func stamp(t time.Time) (date, clock uint16, hundredths byte) {
	t = t.UTC()
	if t.Before(earliest) {
		t = earliest
	}
	if t.After(latest) {
		t = latest
	}
	date = uint16((t.Year()-1980)<<9 | int(t.Month())<<5 | t.Day())
	clock = uint16(t.Hour()<<11 | t.Minute()<<5 | t.Second()/2)
	return date, clock, byte(t.Second()%2*100 + t.Nanosecond()/10_000_000)
}

// foldersTo writes the clusters of every folder, one after another.
func (l *Layout) foldersTo(w io.Writer) error {
	for _, d := range l.folders {
		if err := l.folderTo(w, d); err != nil {
			return err
		}
	}
	return nil
}

func (l *Layout) folderTo(w io.Writer, d *folder) error {
	written := int64(0)
	put := func(entries ...entry) error {
		for i := range entries {
			written += entrySize
			if _, err := w.Write(entries[i][:]); err != nil {
				return err
			}
		}
		return nil
	}
	if err := put(l.ownEntries(d)...); err != nil {
		return err
	}
	for _, n := range d.nodes {
		if err := put(l.nodeEntries(n)...); err != nil {
			return err
		}
	}
	return zeros(w, int64(d.count)*l.geo.clusterBytes()-written)
}

// ownEntries are at a folder's start: the label in the root, `.` and `..`
// elsewhere.
func (l *Layout) ownEntries(d *folder) []entry {
	if d.parent == nil {
		if l.spec.Label == "" {
			return nil
		}
		return []entry{newEntry(l.label, attrLabel, 0, 0, l.spec.Made)}
	}
	return []entry{
		newEntry(newShortName(".", ""), attrFolder, d.first, 0, l.spec.Made),
		newEntry(newShortName("..", ""), attrFolder, d.parent.linkedAs(), 0, l.spec.Made),
	}
}

// linkedAs is the cluster that a `..` has for the folder: 0 for the root, whatever
// its cluster.
func (d *folder) linkedAs() uint32 {
	if d.parent == nil {
		return 0
	}
	return d.first
}

// nodeEntries are the long-name entries, last part first, and the short one.
func (l *Layout) nodeEntries(n *node) []entry {
	entries := make([]entry, 0, n.longEntries()+1)
	for ord := n.longEntries(); ord > 0; ord-- {
		entries = append(entries, longEntry(ord, n.long, n.short.checksum()))
	}
	if n.folder != nil {
		return append(entries, newEntry(n.short, attrFolder, n.folder.first, 0, l.spec.Made))
	}
	f := l.spec.Files[n.file]
	return append(entries, newEntry(n.short, attrArchive, l.first[n.file], uint32(f.Size), f.Modified))
}
