package fat32

import (
	"encoding/binary"
	"fmt"
	"io"

	"github.com/diskfs/go-diskfs/backend"
	"github.com/diskfs/go-diskfs/partition/mbr"
)

const (
	fsInfoSector = 1
	backupSector = 6 // of the three boot sectors

	mediaFixed = 0xF8

	// Drives without a geometry of their own are given 255 heads of 63
	// sectors; common practice, no source.
	heads           = 255
	sectorsPerTrack = 63
	mostCylinder    = 1023
)

type sector [sectorSize]byte

// sign puts the mark at the end that every boot sector has.
func (s *sector) sign() {
	s[510], s[511] = 0x55, 0xAA
}

// BootWrite is one of the writes that make a card startable.
type BootWrite struct {
	What   string
	Offset int64 // on the card
	Data   []byte
}

// Boot are the last writes of a card, in order, each to be synced. The very last,
// the partition table, is what a device looks for first.
func (l *Layout) Boot() []BootWrite {
	boot, at := l.bootSector(), l.geo.PartitionOffset()
	table := l.partitionTable()
	return []BootWrite{
		{"backup boot sector", at + backupSector*sectorSize, boot[:]},
		{"boot sector", at, boot[:]},
		{"partition table", 0, table[:]},
	}
}

// Overlay reads from r as if the writes of Boot had been made: the card as it will
// be, for a judge.
func (l *Layout) Overlay(r io.ReaderAt) io.ReaderAt {
	return &overlay{r, l.Boot()}
}

type overlay struct {
	under io.ReaderAt
	over  []BootWrite
}

func (o *overlay) ReadAt(p []byte, off int64) (int, error) {
	n, err := o.under.ReadAt(p, off)
	for _, w := range o.over {
		from, to := max(off, w.Offset), min(off+int64(n), w.Offset+int64(len(w.Data)))
		if from < to {
			copy(p[from-off:to-off], w.Data[from-w.Offset:])
		}
	}
	return n, err
}

// bootSector is the specification's boot sector and BPB for FAT32.
func (l *Layout) bootSector() (s sector) {
	le, g := binary.LittleEndian, l.geo
	copy(s[0:], "\xEB\x58\x90MSWIN4.1") // the OEM name that the specification advises, as some drivers want it
	le.PutUint16(s[11:], sectorSize)
	s[13] = byte(g.SectorsPerCluster)
	le.PutUint16(s[14:], uint16(g.Reserved))
	s[16] = fatCount
	s[21] = mediaFixed
	le.PutUint16(s[24:], sectorsPerTrack)
	le.PutUint16(s[26:], heads)
	le.PutUint32(s[28:], g.PartitionStart) // hidden sectors
	le.PutUint32(s[32:], g.PartitionSectors)
	le.PutUint32(s[36:], g.FATSectors)
	le.PutUint32(s[44:], rootCluster)
	le.PutUint16(s[48:], fsInfoSector)
	le.PutUint16(s[50:], backupSector)
	s[64] = 0x80 // drive number of a fixed disk
	s[66] = 0x29 // volume id, label and type follow
	le.PutUint32(s[67:], l.spec.VolumeID)
	copy(s[71:], l.bootLabel())
	copy(s[82:], "FAT32   ")
	s.sign()
	return s
}

func (l *Layout) bootLabel() string {
	if l.spec.Label == "" {
		return "NO NAME    "
	}
	return string(l.label[:])
}

// fsInfo are the two sectors after the boot sector: FSInfo, and the last boot
// sector, empty but for its signature.
func (l *Layout) fsInfo() []byte {
	var info, last sector
	le := binary.LittleEndian
	le.PutUint32(info[0:], 0x41615252)
	le.PutUint32(info[484:], 0x61417272)
	le.PutUint32(info[488:], l.geo.Clusters-l.geo.UsedClusters)
	le.PutUint32(info[492:], l.nextFree())
	info.sign()
	last.sign()
	return append(info[:], last[:]...)
}

// nextFree is the first free cluster, or the "unknown" of the specification where
// there is none.
func (l *Layout) nextFree() uint32 {
	if l.geo.UsedClusters == l.geo.Clusters {
		return 0xFFFFFFFF
	}
	return firstCluster + l.geo.UsedClusters
}

// partitionTable is sector 0: one partition, and the volume id as the disk's
// signature.
func (l *Layout) partitionTable() sector {
	g := l.geo
	p := &mbr.Partition{Index: 1, Type: mbr.Fat32LBA, Start: g.PartitionStart, Size: g.PartitionSectors}
	p.StartHead, p.StartSector, p.StartCylinder = chs(g.PartitionStart)
	p.EndHead, p.EndSector, p.EndCylinder = chs(g.PartitionStart + g.PartitionSectors - 1)
	var m memory
	if err := (&mbr.Table{Partitions: []*mbr.Partition{p}}).Write(&m, g.CardBytes); err != nil {
		panic(fmt.Sprintf("fat32: a write to memory failed: %v", err))
	}
	binary.LittleEndian.PutUint32(m.sector[440:], l.diskSignature())
	return m.sector
}

// diskSignature is never 0: a computer that only looks at a disk without a
// signature may write one.
func (l *Layout) diskSignature() uint32 {
	if l.spec.VolumeID == 0 {
		return ^uint32(0)
	}
	return l.spec.VolumeID
}

// chs is the address of a sector by head, sector and cylinder, the last two packed
// as in a partition table. Sectors that are too far away have the highest address.
func chs(lba uint32) (head, sec, cylinder byte) {
	c, h, s := lba/(heads*sectorsPerTrack), lba/sectorsPerTrack%heads, lba%sectorsPerTrack+1
	if c > mostCylinder {
		c, h, s = mostCylinder, heads-1, sectorsPerTrack
	}
	return byte(h), byte(s | c>>8<<6), byte(c)
}

// memory is a first sector into which a partition table is written. The table needs
// nothing but WriteAt.
type memory struct {
	backend.WritableFile
	sector sector
}

func (m *memory) WriteAt(p []byte, off int64) (int, error) {
	n := copy(m.sector[off:], p)
	if n < len(p) {
		return n, io.ErrShortWrite
	}
	return n, nil
}
