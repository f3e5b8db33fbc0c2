package fatread

import (
	"fmt"
	"math/bits"
)

// Cuts between the types, by count of clusters alone (FAT32 specification,
// "FAT Type Determination").
const (
	leastFAT16 = 4085
	leastFAT32 = 65525
	mostFAT32  = 0x0FFFFFF5 // highest cluster number 0x0FFFFFF6
)

const (
	usualBackup  = 6 // sector of the backup boot sector
	infoLead     = 0x41615252
	infoStruct   = 0x61417272
	infoTrail    = 0xAA550000
	infoUnknown  = 0xFFFFFFFF
	noVolumeName = "NO NAME    "
)

// boot is a boot sector's fields, in its own sectors.
type boot struct {
	sector, perCluster, reserved, fats int64
	rootEntries                        int64
	media                              byte
	total, fatSectors, hidden          int64
	flags, version                     uint16
	root                               uint32
	info, backup                       int64
	dirty                              bool
	label                              string
	fat32                              bool
	unread                             bool // the first sector can't be read: these are its backup's
}

// complaint is a fault of a boot sector, its offset counted from there; a fatal
// one leaves no way to read the volume.
type complaint struct {
	Fault
	fatal bool
}

func anyFatal(all []complaint) bool {
	for _, c := range all {
		if c.fatal {
			return true
		}
	}
	return false
}

func parseBoot(b []byte) (boot, []complaint) {
	v := boot{
		sector: int64(le.Uint16(b[11:])), perCluster: int64(b[13]), reserved: int64(le.Uint16(b[14:])),
		fats: int64(b[16]), rootEntries: int64(le.Uint16(b[17:])), media: b[21],
		total: int64(le.Uint16(b[19:])), fatSectors: int64(le.Uint16(b[22:])), hidden: int64(le.Uint32(b[28:])),
	}
	if v.total == 0 {
		v.total = int64(le.Uint32(b[32:]))
	}
	tail := b[36:]
	if v.fatSectors == 0 {
		v.fat32 = true
		v.fatSectors = int64(le.Uint32(b[36:]))
		v.flags, v.version, v.root = le.Uint16(b[40:]), le.Uint16(b[42:]), le.Uint32(b[44:])
		v.info, v.backup = int64(le.Uint16(b[48:])), int64(le.Uint16(b[50:]))
		tail = b[64:]
	}
	v.dirty = tail[1]&1 != 0
	if tail[2] == 0x29 {
		v.label = string(tail[7:18])
	}
	return v, append(v.sizes(), v.fields(b)...)
}

// sizes complains of what leaves no way to read the volume.
func (v *boot) sizes() (all []complaint) {
	bad := func(wrong bool, at int64, expected string, found int64) {
		if wrong {
			all = append(all, complaint{faultOf(BootField, 0, at, expected, fmt.Sprint(found)), true})
		}
	}
	bad(!powerOfTwo(v.sector) || v.sector < 512 || v.sector > 4096, 11, "512, 1024, 2048 or 4096 bytes a sector", v.sector)
	bad(!powerOfTwo(v.perCluster), 13, "a power of two of sectors a cluster", v.perCluster)
	bad(v.reserved == 0, 14, "1 reserved sector or more", v.reserved)
	bad(v.fats == 0, 16, "2 FATs", v.fats)
	bad(v.fatSectors == 0, 36, "1 sector or more a FAT", v.fatSectors)
	bad(!v.fat32 && v.rootEntries == 0, 17, "1 entry or more in the root folder", v.rootEntries)
	if len(all) == 0 {
		bad(v.clusters() < 1, 32, fmt.Sprintf("more than %d sectors", v.dataSector()), v.total)
		bad(v.clusters() > mostFAT32, 32, fmt.Sprintf("at most %d clusters", mostFAT32), v.clusters())
	}
	return all
}

// fields complains of what a machine may or may not stumble over.
func (v *boot) fields(b []byte) (all []complaint) {
	note := func(wrong bool, kind FaultKind, at int64, expected, format string, found any) {
		if wrong {
			all = append(all, complaint{faultOf(kind, 0, at, expected, fmt.Sprintf(format, found)), false})
		}
	}
	note(!signed(b), BootSignature, 510, "55 aa", "% x", b[510:512])
	note(!jumps(b), BootField, 0, "a jump (eb ?? 90 or e9)", "% x", b[:3])
	note(v.fats > 2, BootField, 16, "2 FATs", "%d", v.fats)
	note(v.media != 0xF0 && v.media < 0xF8, BootField, 21, "media 0xf0 or 0xf8 to 0xff", "0x%02x", v.media)
	if !v.fat32 {
		note(v.sector > 0 && v.rootEntries*32%v.sector != 0, BootField, 17,
			"root entries that fill whole sectors", "%d", v.rootEntries)
		return all
	}
	note(v.rootEntries != 0, BootField, 17, "0 root entries", "%d", v.rootEntries)
	note(v.version != 0, BootField, 42, "version 0", "%d", v.version)
	note(v.flags&0x80 != 0, BootField, 40, "both FATs kept alike", "only FAT %d kept", v.flags&0x0F)
	note(v.root < 2, BootField, 44, "a root cluster of 2 or more", "%d", v.root)
	note(v.hasInfo() && v.info >= v.reserved, BootField, 48, "FSInfo within the reserved sectors", "sector %d", v.info)
	note(v.hasBackup() && v.backup >= v.reserved, BootField, 50, "backup within the reserved sectors", "sector %d", v.backup)
	return all
}

func powerOfTwo(n int64) bool { return n > 0 && bits.OnesCount64(uint64(n)) == 1 }

func (v *boot) hasInfo() bool   { return v.fat32 && v.info != 0 && v.info != 0xFFFF }
func (v *boot) hasBackup() bool { return v.fat32 && v.backup != 0 && v.backup != 0xFFFF }

func (v *boot) rootSectors() int64 { return (v.rootEntries*32 + v.sector - 1) / v.sector }
func (v *boot) rootSector() int64  { return v.reserved + v.fats*v.fatSectors }
func (v *boot) dataSector() int64  { return v.rootSector() + v.rootSectors() }
func (v *boot) clusters() int64    { return (v.total - v.dataSector()) / v.perCluster }

// width is the bits of a FAT entry. A machine that uses the count alone
// and one that uses the layout differ where FATType is reported.
func (v *boot) width() int {
	switch {
	case v.fat32:
		return 32
	case v.clusters() < leastFAT16:
		return 12
	default:
		return 16
	}
}

func (v *boot) name() string { return fmt.Sprintf("FAT%d", v.width()) }
