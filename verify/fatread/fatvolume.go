package fatread

import (
	"bytes"
	"fmt"
	"strings"
)

// fatVolume is a FAT volume that is being read by its boot sector.
type fatVolume struct {
	start
	v    *Volume
	boot boot
}

func (f fatVolume) read() {
	v, b := f.v, f.boot
	v.SectorBytes = int(b.sector)
	v.ClusterBytes = int(b.sector * b.perCluster)
	v.FATs = int(b.fats)
	v.FATBytes = b.fatSectors * b.sector
	v.DataStart = f.p.Start + b.dataSector()*b.sector
	v.Clusters = b.clusters()
	if name := oem(b.label); b.label != noVolumeName {
		v.BootLabel = strings.TrimRight(name, " \x00")
	}
	if b.dirty {
		f.fault(DirtyFlag, -1, "the boot sector's flag clear", "set: not taken out cleanly")
	}
	f.checkSizes()
	f.checkBackup()
	v.fat = newFAT(f.card, v, f.p, b)
	if v.fat == nil {
		return
	}
	info, ok := f.readInfo()
	walkFAT(f)
	if ok && v.Free >= 0 {
		f.checkInfo(info)
	}
}

func (f fatVolume) checkSizes() {
	v, p, b := f.v, f.p, f.boot
	note := func(wrong bool, kind FaultKind, at int64, expected, found string) {
		if wrong {
			f.fault(kind, p.Start+at, expected, found)
		}
	}
	room := min(p.Length, f.card.src.size-p.Start)
	note(b.total*b.sector > room, VolumeSize, 32,
		fmt.Sprintf("at most %d bytes", room), fmt.Sprintf("%d bytes", b.total*b.sector))
	first := p.Start / sectorBytes
	logical := p.Table == MBR && p.Number >= firstLogical // counted from their own table by some
	note(!logical && b.hidden != first && b.hidden != p.Start/b.sector, HiddenSectors, 28,
		fmt.Sprint(first), fmt.Sprint(b.hidden))
	have := v.FATBytes*8/int64(b.width()) - 2
	note(have < v.Clusters, FATSize, 22,
		fmt.Sprintf("room for %d clusters", v.Clusters), fmt.Sprintf("room for %d", have))
	note(b.fat32 && v.Clusters < leastFAT32, FATType, 32, "65525 clusters or more for FAT32", fmt.Sprint(v.Clusters))
	note(!b.fat32 && v.Clusters >= leastFAT32, FATType, 32, "fewer than 65525 clusters for FAT16", fmt.Sprint(v.Clusters))
}

// checkBackup compares the boot sector with its backup.
func (f fatVolume) checkBackup() {
	b := f.boot
	switch {
	case !b.fat32:
		return
	case !b.hasBackup(): // BPB_BkBootSec is 0 or 6 (FAT32 specification, "Boot Sector and BPB"); some formatters write 0xFFFF
		f.fault(BootAlone, -1, "a backup boot sector", "none is kept")
		return
	case b.backup >= b.reserved:
		f.fault(BootBackup, -1, "a backup boot sector", "none")
		return
	}
	off := f.p.Start + b.backup*b.sector
	backup, ok := f.sector(off, "backup boot sector")
	if !ok || b.unread {
		return
	}
	main := bytes.Clone(f.head[:sectorBytes])
	main[65], backup[65] = main[65]&^3, backup[65]&^3 // the dirty flag is kept in the first alone
	if i, kind := differing(main, backup, idleInFAT32); i >= 0 {
		f.fault(kind, off+int64(i), fmt.Sprintf("as in the boot sector: % x", main[i:min(i+4, sectorBytes)]),
			fmt.Sprintf("% x", backup[i:min(i+4, sectorBytes)]))
	}
}

// idleInFAT32 are the bytes of a boot sector that tell no device where anything
// is: the jump and the name of who formatted it, the drive's number, the
// volume's id and label, and the boot code with its texts (FAT32 specification,
// "Boot Sector and BPB"). Faults in the first sector's own bytes are
// reported separately.
func idleInFAT32(i int) bool { return i < 11 || i >= 64 && i < 82 || i >= 90 && i < 510 }

// differing is the first byte in which two copies differ that isn't idle, or
// else the first of all; -1: none.
func differing(a, b []byte, idle func(i int) bool) (at int, kind FaultKind) {
	at, kind = -1, BootCode
	for i := range a {
		if a[i] == b[i] {
			continue
		}
		if !idle(i) {
			return i, BootBackup
		}
		if at < 0 {
			at = i
		}
	}
	return at, kind
}

// sector reads one of those that describe the volume.
func (f fatVolume) sector(off int64, what string) ([]byte, bool) {
	b := make([]byte, sectorBytes)
	err := f.card.src.read(b, off)
	if err == errOutside {
		f.fault(VolumeSize, off, what+" on the card", "past the end of the card")
	} else if err != nil {
		f.card.unread(f.p.Number, "", off, what, err)
	}
	return b, err == nil
}

// readInfo reads FSInfo and checks its signatures.
func (f fatVolume) readInfo() ([]byte, bool) {
	b := f.boot
	if !b.fat32 {
		return nil, false
	}
	if !b.hasInfo() || b.info >= b.reserved {
		f.fault(InfoSignature, -1, "an FSInfo sector", "none")
		return nil, false
	}
	off := f.p.Start + b.info*b.sector
	info, ok := f.sector(off, "FSInfo")
	if !ok {
		return nil, false
	}
	for _, want := range []struct {
		at    int
		value uint32
	}{{0, infoLead}, {484, infoStruct}, {508, infoTrail}} {
		if got := le.Uint32(info[want.at:]); got != want.value {
			ok = false
			f.fault(InfoSignature, off+int64(want.at), fmt.Sprintf("0x%08x", want.value), fmt.Sprintf("0x%08x", got))
		}
	}
	return info, ok
}

// checkInfo compares FSInfo with the truth. The next free cluster is a hint: it
// must exist, not be free.
func (f fatVolume) checkInfo(info []byte) {
	off := f.p.Start + f.boot.info*f.boot.sector
	if free := le.Uint32(info[488:]); free != infoUnknown && int64(free) != f.v.Free {
		f.fault(InfoFree, off+488, fmt.Sprintf("%d free clusters", f.v.Free), fmt.Sprint(free))
	}
	if next := le.Uint32(info[492:]); next != infoUnknown && (next < 2 || int64(next) > f.v.Clusters+1) {
		f.fault(InfoNext, off+492, fmt.Sprintf("a cluster from 2 to %d", f.v.Clusters+1), fmt.Sprint(next))
	}
}
