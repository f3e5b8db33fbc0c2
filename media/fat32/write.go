package fat32

import (
	"bufio"
	"cmp"
	"crypto/sha256"
	"encoding/binary"
	"fmt"
	"io"
	"slices"
)

// mostWrite is how many bytes are written at once, at most.
const mostWrite = 1 << 20

// Entries of a FAT with a meaning of their own.
const (
	fatMedia  = 0x0FFFFF00 | mediaFixed
	fatClean  = 0x0FFFFFFF // all bits, those of a clean volume without I/O errors too
	endOfFile = 0x0FFFFFFF
)

// Extent is a stretch of the card, in bytes.
type Extent struct{ Offset, Length int64 }

// Blank is what must be zero before anything else is written: from sector 0 to the
// end of the FATs. Then the card holds no file system.
func (l *Layout) Blank() []Extent {
	return []Extent{{0, l.geo.DataOffset()}}
}

// stretch is a part of the card that isn't all zero.
type stretch struct {
	what   string
	offset int64
	write  func(io.Writer) error
}

// structures are FSInfo and its backup, the FATs up to their last entry that isn't zero, and
// the folders, by ascending place.
func (l *Layout) structures() []stretch {
	info := writerOf(l.fsInfo())
	base := l.geo.PartitionOffset() + fsInfoSector*sectorSize
	return []stretch{
		{"FSInfo", base, info},
		{"backup FSInfo", base + backupSector*sectorSize, info},
		{"first FAT", l.geo.FATOffset(0), l.fatTo},
		{"second FAT", l.geo.FATOffset(1), l.fatTo},
		{"folders", l.geo.DataOffset(), l.foldersTo},
	}
}

func writerOf(data []byte) func(io.Writer) error {
	return func(w io.Writer) error {
		_, err := w.Write(data)
		return err
	}
}

// WriteStructures writes all of the file system but the boot sectors: FSInfo and
// its backup, the FATs up to their last entry that isn't zero, and the folders. It writes by
// ascending offset, in whole sectors, at most 1 MiB at once. The card must have been
// blanked.
func (l *Layout) WriteStructures(w io.WriterAt) error {
	buffered := bufio.NewWriterSize(nil, mostWrite)
	for _, p := range l.structures() {
		buffered.Reset(io.NewOffsetWriter(w, p.offset))
		err := p.write(buffered)
		if err == nil {
			err = buffered.Flush()
		}
		if err != nil {
			return fmt.Errorf("writing %s: %w", p.what, err)
		}
	}
	return nil
}

// fatBytes is the length of a FAT up to its last entry that isn't zero, in whole sectors.
func (l *Layout) fatBytes() int64 {
	return roundUp((firstCluster+int64(l.geo.UsedClusters))*fatEntrySize, sectorSize)
}

// fatTo writes one FAT up to its last entry that isn't zero. It is computed while it is written,
// since it grows with the payload.
func (l *Layout) fatTo(w io.Writer) error {
	var s sector
	ends, cluster := l.ends, uint32(0)
	for range l.fatBytes() / sectorSize {
		for at := 0; at < sectorSize; at += fatEntrySize {
			link := l.link(cluster)
			if len(ends) > 0 && cluster == ends[0] {
				link, ends = endOfFile, ends[1:]
			}
			binary.LittleEndian.PutUint32(s[at:], link)
			cluster++
		}
		if _, err := w.Write(s[:]); err != nil {
			return err
		}
	}
	return nil
}

// link is a FAT's entry for a cluster that doesn't end a folder or file.
func (l *Layout) link(cluster uint32) uint32 {
	switch {
	case cluster == 0:
		return fatMedia
	case cluster == 1:
		return fatClean
	case cluster < firstCluster+l.geo.UsedClusters:
		return cluster + 1
	}
	return 0
}

// Digest is the card's digest: the SHA-256 over, in this order:
//
//   - the card's size in bytes as ASCII decimal, and a line feed;
//   - the card's bytes from 0 to the end of the second FAT, with the partition
//     table and the boot sectors in place;
//   - the clusters of each folder, whole, by ascending place, the root first;
//   - the SHA-256 (32 bytes) of each file that is not empty, by ascending
//     place.
//
// What lies after a file's last byte in its last cluster, and in clusters that
// are not in use, does not count.
//
// fileSHA256 gives the SHA-256 of the spec's file i; it isn't asked for empty
// files.
func (l *Layout) Digest(fileSHA256 func(i int) [sha256.Size]byte) [sha256.Size]byte {
	h := sha256.New()
	fmt.Fprintf(h, "%d\n", l.geo.CardBytes)
	if err := l.headTo(h); err != nil {
		panic(fmt.Sprintf("fat32: a hash refused bytes: %v", err))
	}
	for i, f := range l.spec.Files {
		if f.Size > 0 {
			sum := fileSHA256(i)
			h.Write(sum[:])
		}
	}
	return [sha256.Size]byte(h.Sum(nil))
}

// headTo writes the finished card from its start to the end of the folders.
func (l *Layout) headTo(w io.Writer) error {
	parts := l.structures()
	for _, b := range l.Boot() {
		parts = append(parts, stretch{b.What, b.Offset, writerOf(b.Data)})
	}
	slices.SortFunc(parts, func(a, b stretch) int { return cmp.Compare(a.offset, b.offset) })
	at := &positioned{Writer: w}
	for _, p := range parts {
		if err := zeros(at, p.offset-at.offset); err != nil {
			return err
		}
		if err := p.write(at); err != nil {
			return err
		}
	}
	return nil
}

// positioned knows how much it has written.
type positioned struct {
	io.Writer
	offset int64
}

func (p *positioned) Write(b []byte) (int, error) {
	n, err := p.Writer.Write(b)
	p.offset += int64(n)
	return n, err
}

var zeroBlock [64 << 10]byte

// zeros writes n zero bytes.
func zeros(w io.Writer, n int64) error {
	for n > 0 {
		wrote, err := w.Write(zeroBlock[:min(n, int64(len(zeroBlock)))])
		if err != nil {
			return err
		}
		n -= int64(wrote)
	}
	return nil
}
