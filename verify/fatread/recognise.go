package fatread

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
)

// Names of file systems. Those from ExFAT on are named by their marks, not
// read.
const (
	FAT12 = "FAT12"
	FAT16 = "FAT16"
	FAT32 = "FAT32"
	ExFAT = "exFAT"
	NTFS  = "NTFS"

	Blank       = "none"        // nothing but zeros where any file system would begin
	Unknown     = "unknown"     // something, but none of these
	Scrambled   = "random"      // bytes without any pattern: encrypted, or wiped with noise
	DamagedFAT  = "damaged FAT" // of which neither boot sector can be used
	Overlapping = "overlapping" // shares sectors with another partition: not looked at
	Unreadable  = "unreadable"  // the drive gave errors where it would begin

	// What is left of a file system that no device finds any more.
	Headless  = "FAT32 without its first sector"    // its backup boot sector is whole
	Tableless = "FAT32 without the partition table" // it begins where card makers put the first partition
)

const headBytes = 128 << 10 // of a partition, looked at for marks

// marks of file systems that are named and not read. Sources: exFAT file
// system specification (Microsoft, 2019) 3.1.2; Technical Note TN1150 (Apple)
// for HFS Plus; ext4 disk layout (Linux kernel documentation); LUKS1 On-Disk
// Format Specification 1.2.3; ECMA-119 8.4.3; Btrfs on-disk format (its
// documentation). The rest from memory.
var marks = []struct {
	name string
	at   int
	mark string
}{
	{ExFAT, 3, "EXFAT   "},
	{NTFS, 3, "NTFS    "},
	{"BitLocker", 3, "-FVE-FS-"},
	{"LUKS", 0, "LUKS\xba\xbe"},
	{"XFS", 0, "XFSB"},
	{"SquashFS", 0, "hsqs"},
	{"APFS", 32, "NXSB"},
	{"HFS+", 1024, "H+\x00\x04"},
	{"HFS+", 1024, "HX\x00\x05"},
	{"HFS", 1024, "BD"},
	{"F2FS", 1024, "\x10\x20\xf5\xf2"},
	{"ext", 1080, "\x53\xef"},
	{"Linux swap", 4086, "SWAPSPACE2"},
	{"ISO 9660", 32769, "CD001"},
	{"UDF", 32769, "BEA01"},
	{"Btrfs", 65600, "_BHRfS_M"},
}

// named finds a file system by its mark; "" for none.
func named(head []byte) string {
	for _, m := range marks {
		if end := m.at + len(m.mark); end <= len(head) && string(head[m.at:end]) == m.mark {
			return m.name
		}
	}
	return ""
}

// unnamed says what a partition without a file system looks like.
func unnamed(head []byte) string {
	switch {
	case allZero(head):
		return Blank
	case noPattern(head):
		return Scrambled
	default:
		return Unknown
	}
}

func allZero(b []byte) bool {
	for _, v := range b {
		if v != 0 {
			return false
		}
	}
	return true
}

// noPattern reports whether bytes are noise, by the chi-square of their frequencies:
// noise stays around 255, give or take 23 (standard deviation, 255 degrees of freedom).
func noPattern(b []byte) bool {
	const least, most = 16 << 10, 400
	if len(b) < least {
		return false
	}
	var seen [256]float64
	for _, v := range b {
		seen[v]++
	}
	expected, chi := float64(len(b))/256, 0.0
	for _, n := range seen {
		chi += (n - expected) * (n - expected) / expected
	}
	return chi < most
}

// bootOfItsOwn reports whether sector 0 begins a volume, so that what looks like a
// table in it is none, or not the first to be asked.
func bootOfItsOwn(sector []byte) bool {
	switch named(sector) {
	case ExFAT, NTFS, "BitLocker":
		return true
	}
	_, complaints := parseBoot(sector)
	return jumps(sector) && !anyFatal(complaints)
}

func jumps(sector []byte) bool {
	return sector[0] == 0xE9 || sector[0] == 0xEB && sector[2] == 0x90
}

// claimsFAT reports whether a damaged sector was the boot sector of a FAT volume.
func claimsFAT(sector []byte) bool {
	return string(sector[82:87]) == "FAT32" || string(sector[54:57]) == "FAT"
}

// claimsVolume reports whether a sector is a damaged boot sector, not an empty table.
func claimsVolume(sector []byte) bool {
	return claimsFAT(sector) || string(sector[:3]) == exfatJump
}

// fatTypes are the MBR types for FAT (common practice; 0x0B and 0x0C in the
// FAT32 specification's own terms). GPT has one type for all of Microsoft's.
// Types of hidden and EFI system partitions are not among them: many systems
// leave such a partition alone.
var fatTypes = map[string][]string{
	FAT12: {"0x01"},
	FAT16: {"0x04", "0x06", "0x0e"},
	FAT32: {"0x0b", "0x0c"},
	ExFAT: {"0x07"},
	NTFS:  {"0x07"},
}

// hiddenBit is what tools add to the types above to hide a partition (common
// practice, no standard).
const hiddenBit = 0x10

const basicData = "ebd0a0a2-b9e5-4433-87c0-68b6b72699c7"

// checkType compares what the table announces with what is there.
func checkType(log *Log, p *Partition) {
	want, known := fatTypes[p.FileSystem]
	if p.Table != MBR && p.Table != GPT || !known {
		return
	}
	if p.Table == GPT {
		want = []string{basicData}
	}
	if slices.Contains(want, p.Type) {
		return
	}
	log.fault(PartitionType, p.Number, -1,
		fmt.Sprintf("type %s for %s", strings.Join(want[:min(2, len(want))], " or "), p.FileSystem), "type "+p.Type)
}

// announcesFAT reports whether the table says FAT.
func (p *Partition) announcesFAT() bool {
	for _, fs := range []string{FAT12, FAT16, FAT32} {
		for _, t := range fatTypes[fs] {
			if p.Type == t || p.Type == hiddenType(t) {
				return true
			}
		}
	}
	return false
}

func hiddenType(t string) string {
	n, _ := strconv.ParseUint(t, 0, 8) // of those above
	return fmt.Sprintf("0x%02x", n|hiddenBit)
}

// remains names what is left of a FAT32 volume whose beginning is overwritten;
// "" for nothing that is known.
func (s start) remains() string {
	if s.p.Length > 0 && backupWhole(s.head) {
		return Headless
	}
	if s.p.Table != noTable {
		return ""
	}
	for _, first := range usualStarts {
		sector := make([]byte, sectorBytes)
		if err := s.card.src.read(sector, first*sectorBytes); err != nil {
			continue // past the end, or no place of interest that can be read
		}
		if b, complaints := parseBoot(sector); wholeFAT32(sector, b, complaints) && b.hidden == first {
			return Tableless
		}
	}
	return ""
}

// usualStarts are the sectors where the first partition begins: of cards as
// they are sold, of desktop tools, and of old ones (common practice, no source).
var usualStarts = []int64{8192, 2048, 32768, 16384, 63}

func backupWhole(head []byte) bool {
	for sector := sectorBytes; sector <= 4096; sector *= 2 {
		at := usualBackup * sector
		if len(head) < at+sectorBytes {
			return false
		}
		if b, complaints := parseBoot(head[at:]); wholeFAT32(head[at:], b, complaints) && b.sector == int64(sector) {
			return true
		}
	}
	return false
}

func wholeFAT32(sector []byte, b boot, complaints []complaint) bool {
	return len(complaints) == 0 && b.fat32 && jumps(sector) && claimsFAT(sector)
}
