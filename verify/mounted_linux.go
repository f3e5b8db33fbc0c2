package verify

import (
	"golang.org/x/sys/unix"

	"cardwright/verify/fatread"
)

// mountedAs names what a folder stands on where it is a file system that cards
// have and devices don't read, by its magic number (statfs(2), Linux' magic.h);
// "" for FAT, for a computer's own, and for what isn't known.
func mountedAs(dir string) string {
	var s unix.Statfs_t
	if err := unix.Statfs(dir, &s); err != nil {
		return "" // reported where its files are read
	}
	switch uint32(s.Type) {
	case unix.EXFAT_SUPER_MAGIC:
		return fatread.ExFAT
	case 0x5346544E, 0x7366746E:
		return fatread.NTFS
	case unix.FUSE_SUPER_MAGIC:
		return behindDriver
	}
	return ""
}
