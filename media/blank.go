package media

import (
	"encoding/binary"
	"io"

	"cardwright/media/fat32"
)

// What is blanked of an older partition: its first sectors hold the boot
// sectors and superblocks of the file systems in use (FAT, exFAT, NTFS, HFS+,
// ext), its last one NTFS's backup.
const (
	oldHeadSectors = 32
	oldTailSectors = 1
	gptTailSectors = 33 // the backup GPT: its entries and, in the last sector, its header
	gptEntryBytes  = 128
	maxGPTEntries  = 128
)

// oldStructures are the places on a card where an earlier format left
// something that could still be taken for a file system. What can't be read
// or makes no sense names no place: the start and the end of the card are
// blanked in any case.
func oldStructures(m Medium) []fat32.Extent {
	last := m.Bytes() / SectorSize
	extents := []fat32.Extent{sectors(last-gptTailSectors, gptTailSectors, last)}
	for _, p := range append(mbrPartitions(m), gptPartitions(m)...) {
		if p.start <= 0 || p.count <= 0 || p.start >= last {
			continue
		}
		extents = append(extents, sectors(p.start, oldHeadSectors, last))
		if end := p.start + p.count; end <= last {
			extents = append(extents, sectors(end-oldTailSectors, oldTailSectors, last))
		}
	}
	return extents
}

// oldPartition is a place and a length in sectors.
type oldPartition struct{ start, count int64 }

func sectors(first, count, last int64) fat32.Extent {
	first = max(first, 0)
	count = min(count, last-first)
	return fat32.Extent{Offset: first * SectorSize, Length: count * SectorSize}
}

// mbrPartitions reads the four primary entries: place at 8, length at 12 of
// each 16-byte entry from byte 446.
func mbrPartitions(r io.ReaderAt) []oldPartition {
	sector := make([]byte, SectorSize)
	if _, err := r.ReadAt(sector, 0); err != nil || sector[510] != 0x55 || sector[511] != 0xAA {
		return nil
	}
	var parts []oldPartition
	for at := 446; at < 510; at += 16 {
		entry := sector[at : at+16]
		parts = append(parts, oldPartition{
			start: int64(binary.LittleEndian.Uint32(entry[8:])),
			count: int64(binary.LittleEndian.Uint32(entry[12:])),
		})
	}
	return parts
}

// gptPartitions reads the first entries of a GPT where the standard places
// them, from sector 2 on.
func gptPartitions(r io.ReaderAt) []oldPartition {
	header := make([]byte, SectorSize)
	if _, err := r.ReadAt(header, SectorSize); err != nil || string(header[:8]) != "EFI PART" {
		return nil
	}
	entries := make([]byte, maxGPTEntries*gptEntryBytes)
	if _, err := r.ReadAt(entries, 2*SectorSize); err != nil {
		return nil
	}
	var parts []oldPartition
	for at := 0; at < len(entries); at += gptEntryBytes {
		first := int64(binary.LittleEndian.Uint64(entries[at+32:]))
		last := int64(binary.LittleEndian.Uint64(entries[at+40:]))
		if first > 0 && last >= first {
			parts = append(parts, oldPartition{first, last - first + 1})
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
