package readers

import "cardwright/media"

// Band is the capacity band of a card, by the name of the SD Association.
type Band string

// The bands. Each goes from the end of the one before to the nominal size named.
const (
	StandardCapacity Band = "standard capacity" // 2 GB, FAT12 or FAT16
	HighCapacity     Band = "high capacity"     // 32 GB, FAT32
	ExtendedCapacity Band = "extended capacity" // 2 TB, exFAT
	UltraCapacity    Band = "ultra capacity"    // 128 TB
	NoBand           Band = ""
)

const (
	megabyte = 1_000_000
	gigabyte = 1000 * megabyte
	terabyte = 1000 * gigabyte
)

// Nominal is the size printed on a card that measures so many bytes (32,000,000,000
// for a card of 31,914,983,424), or 0 where no usual size is near. Usual sizes are
// 1 MB, 1 GB and 1 TB times powers of two.
func Nominal(bytes int64) int64 {
	for unit := int64(megabyte); unit <= terabyte; unit *= 1000 {
		for size := unit; size < 1000*unit; size *= 2 {
			if media.NominalLimits(size, size).Has(bytes) {
				return size
			}
		}
	}
	return 0
}

// BandOf is the band of a card that measures so many bytes.
func BandOf(bytes int64) Band {
	size := bytes
	if nominal := Nominal(bytes); nominal != 0 {
		size = nominal
	}
	switch {
	case size <= 0:
		return NoBand
	case size <= 2*gigabyte:
		return StandardCapacity
	case size <= 32*gigabyte:
		return HighCapacity
	case size <= 2*terabyte:
		return ExtendedCapacity
	case size <= 128*terabyte:
		return UltraCapacity
	}
	return NoBand
}
