package fat32

import (
	"fmt"
	"sort"
	"strings"
	"time"
)

// mostFileBytes is the largest file that FAT32 can hold.
const mostFileBytes = 1<<32 - 1

// File is a file to be placed on a card.
type File struct {
	Path     string    // slash path from the card's root
	Size     int64     // bytes
	Modified time.Time // the caller's: a card's files bear its newest release's day
}

// Spec is what a card is laid out from.
type Spec struct {
	Bytes    int64  // the card's measured size, a multiple of 512
	Label    string // as Label gives it; empty for none
	VolumeID uint32
	Made     time.Time // of folders and label
	Files    []File    // in their order on the card
}

// Layout is a card that is laid out but not written: the place of each byte.
type Layout struct {
	spec    Spec
	geo     Geometry
	label   shortName
	folders []*folder
	first   []uint32 // first cluster of each file, 0 for an empty one
	ends    []uint32 // last cluster of each folder and file, ascending
}

// Placed is a file and its place on the card.
type Placed struct {
	File
	Offset   int64  // of its first byte on the card; 0 for an empty file, which has no place
	Clusters uint32 // from there, without a gap
	cluster  int64  // bytes
}

// Padded is the size of the file in whole clusters. Bytes from its end up to there
// are to be written as zeros.
func (p Placed) Padded() int64 { return int64(p.Clusters) * p.cluster }

// Lay lays out a card. The error is a *RoomError where the files are too many or
// too large; otherwise it names the file, size or label that is wrong.
func Lay(spec Spec) (*Layout, error) {
	geo, err := geometry(spec.Bytes)
	if err != nil {
		return nil, fmt.Errorf("laying out card: %w", err)
	}
	label, err := checkLabel(spec.Label)
	if err != nil {
		return nil, fmt.Errorf("laying out card: %w", err)
	}
	folders, err := foldersOf(spec.Files)
	if err != nil {
		return nil, fmt.Errorf("laying out card: %w", err)
	}
	if needed := needed(folders, spec.Files, geo.clusterBytes()); needed > geo.roomBytes() {
		return nil, fmt.Errorf("laying out card: %w", &RoomError{Needed: needed, Room: geo.roomBytes()})
	}
	l := &Layout{spec: spec, geo: geo, label: label, folders: folders}
	l.place()
	return l, nil
}

// Least is the size in bytes, a multiple of 4 MiB, of the smallest card that Lay
// accepts for the files. A slightly larger one may be refused where the table of
// the specification changes to larger clusters.
func Least(files []File) (int64, error) {
	folders, err := foldersOf(files)
	if err != nil {
		return 0, fmt.Errorf("finding the smallest card: %w", err)
	}
	for i := 1; i < len(sizeBands); i++ {
		cluster := int64(sizeBands[i].perCluster) * sectorSize
		if size, ok := leastInBand(i, needed(folders, files, cluster)); ok {
			return size, nil
		}
	}
	largest, err := geometry(mostSectors * sectorSize)
	if err != nil {
		return 0, err
	}
	needed := needed(folders, files, largest.clusterBytes())
	return 0, fmt.Errorf("finding the smallest card: %w", &RoomError{Needed: needed, Room: largest.roomBytes()})
}

// leastInBand searches one row of the table, within which room grows with size.
func leastInBand(row int, needed int64) (int64, bool) {
	from := max(leastCardBytes/boundary, cardUnits(sizeBands[row-1].most)+1)
	to := cardUnits(sizeBands[row].most)
	n := int64(sort.Search(int(max(0, to-from+1)), func(i int) bool {
		g, err := geometry((from + int64(i)) * boundary)
		return err == nil && g.roomBytes() >= needed
	}))
	return (from + n) * boundary, from+n <= to
}

// cardUnits is the size, in boundary units, of the largest card whose volume
// has at most so many sectors.
func cardUnits(sectors uint32) int64 {
	return min(int64(sectors)/boundarySectors+1, mostSectors/boundarySectors)
}

// needed is the room in bytes for folders and files, in clusters of that size.
func needed(folders []*folder, files []File, cluster int64) int64 {
	var sum int64
	for _, d := range folders {
		sum += roundUp(int64(d.entries)*entrySize, cluster)
	}
	for _, f := range files {
		sum += roundUp(f.Size, cluster)
	}
	return sum
}

func roundUp(n, unit int64) int64 { return (n + unit - 1) / unit * unit }

// place gives folders, then files, their clusters, one after another.
func (l *Layout) place() {
	next := uint32(firstCluster)
	take := func(bytes int64) (first, count uint32) {
		first, count = next, uint32(roundUp(bytes, l.geo.clusterBytes())/l.geo.clusterBytes())
		next += count
		l.ends = append(l.ends, next-1)
		return first, count
	}
	for _, d := range l.folders {
		d.first, d.count = take(int64(d.entries) * entrySize)
	}
	l.first = make([]uint32, len(l.spec.Files))
	for i, f := range l.spec.Files {
		if f.Size > 0 {
			l.first[i], _ = take(f.Size)
		}
	}
	l.geo.UsedClusters = next - firstCluster
}

// Geometry is where the parts of the card are.
func (l *Layout) Geometry() Geometry { return l.geo }

// Files are the spec's files with their places, in the spec's order, by ascending
// place.
func (l *Layout) Files() []Placed {
	placed := make([]Placed, len(l.spec.Files))
	for i, f := range l.spec.Files {
		placed[i] = Placed{File: f, cluster: l.geo.clusterBytes()}
		if f.Size > 0 {
			placed[i].Offset = l.geo.ClusterOffset(l.first[i])
			placed[i].Clusters = uint32(roundUp(f.Size, l.geo.clusterBytes()) / l.geo.clusterBytes())
		}
	}
	return placed
}

const labelLength = 11

// labelOf makes a label of any text: in upper case, with an underscore for what a
// label can't hold, cut to 11 characters.
func labelOf(text string) string {
	label := strings.Map(func(r rune) rune {
		if r != ' ' && !labelRune(r) {
			return '_'
		}
		return r
	}, upperASCII(strings.TrimSpace(text)))
	return strings.TrimSpace(label[:min(len(label), labelLength)])
}

func labelRune(r rune) bool {
	return r > ' ' && r < 0x7F && !strings.ContainsRune(neverInNames+onlyInLongNames, r) && (r < 'a' || r > 'z')
}

// checkLabel is the label as a folder keeps it; all spaces for none.
func checkLabel(label string) (kept shortName, err error) {
	if label != labelOf(label) {
		return kept, fmt.Errorf("a card can't have the label %q; expected at most %d upper-case letters, digits or inner spaces, such as %q", label, labelLength, labelOf(label))
	}
	copy(kept[:], fmt.Sprintf("%-*s", labelLength, label))
	return kept, nil
}
