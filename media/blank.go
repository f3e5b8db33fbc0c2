package media

import (
	"encoding/binary"
	"io"

	"cardwright/media/fat32"
)

// What is blanked of an older format. The first sectors of a partition hold the
// boot sectors and superblocks of the usual file systems (FAT, exFAT, NTFS, ext).
// The last 512 KiB of a card hold the backup GPT and the marks of RAID and ZFS
// members; the new partition may end a boundary unit before the card does.
const (
	oldHeadSectors = 32
	oldTailSectors = 1 << 20 / SectorSize

	gptEntries    = 128
	gptEntryBytes = 128
	gptSectors    = gptEntries * gptEntryBytes / SectorSize

	maxLogical = 64 // partitions in the chain of an extended one; hostile chains loop
)

// backupSectors are where FAT32 (6) and exFAT (12) keep a backup of their boot
// sector, counted from the first of the partition. NTFS keeps its own in the last
// one.
var backupSectors = []int64{6, 12}

// oldPlaces are the places on a card where an earlier format left something that
// could still be taken for a file system. They are blanked in this order, each kind
// durably before the next: without its first sector a file system is found only by
// a backup, and without the backups not at all. So an older card that loses power
// meanwhile never shows only some of its files.
type oldPlaces struct {
	first   []fat32.Extent // sector 0, and each partition's first
	backups []fat32.Extent // of boot sectors and partition tables
	rest    []fat32.Extent
}

// oldStructures finds them. What can't be read, or makes no sense, adds no place;
// the start and the end of the card are always among them.
func oldStructures(m Medium) (o oldPlaces) {
	last := m.Bytes() / SectorSize
	parts := append([]oldPartition{{0, last}}, mbrPartitions(m)...)
	parts = append(parts, gptPartitions(m, 1, 2)...)
	parts = append(parts, gptPartitions(m, last-1, last-1-gptSectors)...)
	o.backups = append(sectors(1, 1, last), sectors(last-1, 1, last)...) // GPT headers
	for _, p := range parts {
		o.first = append(o.first, sectors(p.start, 1, last)...)
		for _, at := range backupSectors {
			o.backups = append(o.backups, sectors(p.start+at, 1, last)...)
		}
		o.backups = append(o.backups, sectors(p.start+p.count-1, 1, last)...)
		o.rest = append(o.rest, sectors(p.start, oldHeadSectors, last)...)
	}
	tail := last - last%(alignment/SectorSize) - oldTailSectors
	o.rest = append(o.rest, sectors(tail, last-tail, last)...)
	return o
}

// oldPartition is a place and a length in sectors.
type oldPartition struct{ start, count int64 }

// sectors are those of these sectors that are on the card, if any.
func sectors(first, count, last int64) []fat32.Extent {
	end := min(first+count, last)
	first = max(first, 0)
	if first >= end {
		return nil
	}
	return []fat32.Extent{{Offset: first * SectorSize, Length: (end - first) * SectorSize}}
}

// mbrPartitions are the primary partitions and the logical ones within them, with
// the sectors that chain these.
func mbrPartitions(r io.ReaderAt) (parts []oldPartition) {
	for _, e := range mbrEntries(r, 0) {
		parts = append(parts, e.oldPartition)
		if e.extended() {
			parts = append(parts, logical(r, e.start)...)
		}
	}
	return parts
}

// logical follows the chain of an extended partition: in each table the first
// entry is a partition, counted from that table, the second the next table,
// counted from the extended partition.
func logical(r io.ReaderAt, start int64) (parts []oldPartition) {
	table := start
	for range maxLogical {
		next := int64(0)
		for _, e := range mbrEntries(r, table) {
			if e.extended() {
				next = start + e.start
				parts = append(parts, oldPartition{next, 1})
				continue
			}
			parts = append(parts, oldPartition{table + e.start, e.count})
		}
		if next == 0 {
			break
		}
		table = next
	}
	return parts
}

type mbrEntry struct {
	oldPartition
	kind byte
}

func (e mbrEntry) extended() bool { return e.kind == 0x05 || e.kind == 0x0F || e.kind == 0x85 }

// mbrEntries reads the four entries of a partition table: type at 4, place at
// 8, length at 12 of each 16 bytes from byte 446.
func mbrEntries(r io.ReaderAt, table int64) (entries []mbrEntry) {
	sector := make([]byte, SectorSize)
	if _, err := r.ReadAt(sector, table*SectorSize); err != nil || sector[510] != 0x55 || sector[511] != 0xAA {
		return nil
	}
	for at := 446; at < 510; at += 16 {
		e := mbrEntry{kind: sector[at+4]}
		e.start = int64(binary.LittleEndian.Uint32(sector[at+8:]))
		e.count = int64(binary.LittleEndian.Uint32(sector[at+12:]))
		if e.start > 0 && e.count > 0 {
			entries = append(entries, e)
		}
	}
	return entries
}

// gptPartitions reads the first entries of a GPT whose header and entries are where
// the standard places them.
func gptPartitions(r io.ReaderAt, header, entries int64) (parts []oldPartition) {
	mark := make([]byte, SectorSize)
	if _, err := r.ReadAt(mark, header*SectorSize); err != nil || string(mark[:8]) != "EFI PART" {
		return nil
	}
	list := make([]byte, gptEntries*gptEntryBytes)
	if _, err := r.ReadAt(list, entries*SectorSize); err != nil {
		return nil
	}
	most := uint64(1) << 40 // sectors; what lies farther is on no card
	for at := 0; at < len(list); at += gptEntryBytes {
		first := binary.LittleEndian.Uint64(list[at+32:])
		last := binary.LittleEndian.Uint64(list[at+40:])
		if first > 0 && first <= last && last < most {
			parts = append(parts, oldPartition{int64(first), int64(last-first) + 1})
		}
	}
	return parts
}

// writeZeros blanks extents, a large piece at a time.
func writeZeros(w io.WriterAt, extents []fat32.Extent) error {
	zeros := alignedBytes(1 << 20)
	for _, e := range extents {
		for done := int64(0); done < e.Length; {
			n := min(e.Length-done, int64(len(zeros)))
			if _, err := w.WriteAt(zeros[:n], e.Offset+done); err != nil {
				return err
			}
			done += n
		}
	}
	return nil
}
