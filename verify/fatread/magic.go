package fatread

import (
	"fmt"
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

// noPattern tells by the chi-square of the bytes' frequencies: noise stays
// around 255, give or take 23 (standard deviation, 255 degrees of freedom).
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

// bootOfItsOwn tells that sector 0 begins a volume, so that what looks like a
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

// claimsFAT tells a FAT boot sector with damage from other things.
func claimsFAT(sector []byte) bool {
	return string(sector[82:87]) == "FAT32" || string(sector[54:57]) == "FAT"
}

// claimsVolume tells a damaged boot sector from a table without partitions.
func claimsVolume(sector []byte) bool {
	return claimsFAT(sector) || string(sector[:3]) == exfatJump
}

// fatTypes are the MBR types for FAT (common practice; 0x0B and 0x0C in the
// FAT32 specification's own terms). GPT has one type for all of Microsoft's.
var fatTypes = map[string][]string{
	FAT12: {"0x01", "0x11"},
	FAT16: {"0x04", "0x06", "0x0e", "0x14", "0x16", "0x1e"},
	FAT32: {"0x0b", "0x0c", "0x1b", "0x1c"},
	ExFAT: {"0x07", "0x17"},
	NTFS:  {"0x07", "0x17", "0x27"},
	"any": {"0xef"}, // an EFI system partition
}

const (
	basicData = "ebd0a0a2-b9e5-4433-87c0-68b6b72699c7"
	efiSystem = "c12a7328-f81f-11d2-ba4b-00a0c93ec93b"
)

// checkType compares what the table announces with what is there.
func (c *Card) checkType(p *Partition) {
	want, known := fatTypes[p.FileSystem]
	if p.Table != MBR && p.Table != GPT || !known {
		return
	}
	if p.Table == GPT {
		want = []string{basicData, efiSystem}
	} else {
		want = append(append([]string{}, want...), fatTypes["any"]...)
	}
	for _, w := range want {
		if p.Type == w {
			return
		}
	}
	c.add(Fault{
		Kind: PartitionType, Partition: p.Number, Offset: -1,
		Expected: fmt.Sprintf("type %s for %s", strings.Join(want[:min(2, len(want))], " or "), p.FileSystem),
		Found:    "type " + p.Type,
	})
}

// announcesFAT tells that the table says FAT.
func (p *Partition) announcesFAT() bool {
	for _, fs := range []string{FAT12, FAT16, FAT32} {
		for _, t := range fatTypes[fs] {
			if p.Type == t {
				return true
			}
		}
	}
	return false
}
