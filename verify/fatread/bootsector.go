package fatread

import (
	"bytes"
	"fmt"
	"math/bits"
	"strings"

	"cardwright/manifest/problem"
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
			all = append(all, complaint{Fault{Kind: BootField, Offset: at, Problem: problem.Problem{Expected: expected, Found: fmt.Sprint(found)}}, true})
		}
	}
	bad(!powerOfTwo(v.sector) || v.sector < 512 || v.sector > 4096, 11, "512, 1024, 2048 or 4096 bytes a sector", v.sector)
	bad(!powerOfTwo(v.perCluster), 13, "a power of two as sectors a cluster", v.perCluster)
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
			all = append(all, complaint{Fault{Kind: kind, Offset: at, Problem: problem.Problem{Expected: expected, Found: fmt.Sprintf(format, found)}}, false})
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
	note(v.flags&0x80 != 0, BootField, 40, "both FATs kept the same", "only FAT %d kept", v.flags&0x0F)
	note(v.root < 2, BootField, 44, "a root cluster from 2", "%d", v.root)
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

// width is the bits of a FAT entry. A machine that goes by the count alone
// and one that goes by the layout differ where FATType is told.
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

// spans are stretches of the card that could not be read.
type spans []struct{ off, n int64 }

func (s spans) touch(off, n int64) bool {
	for _, x := range s {
		if x.off < off+n && off < x.off+x.n {
			return true
		}
	}
	return false
}

// readPartition names what a partition holds, and reads it if it is FAT or
// exFAT.
func (c *Card) readPartition(p *Partition) {
	if p.FileSystem == Overlapping {
		return
	}
	var gone spans
	head := c.src.head(p.Start, int(min(headBytes, p.Length)), func(at, n int64, err error) {
		gone = append(gone, struct{ off, n int64 }{at, n})
		c.unread(p.Number, "", at, "start of the partition", err)
	})
	if len(head) < sectorBytes {
		p.FileSystem = Unknown
		if p.Length == 0 {
			p.FileSystem = Blank
		}
		return
	}
	if !c.tryExFAT(p, head, gone) && !c.tryFAT(p, head, gone) && !c.tryExFATBackup(p, head, gone) && p.FileSystem == "" {
		c.nameOther(p, head, gone.touch(p.Start, sectorBytes))
	}
	c.checkType(p)
}

// volume adds one for a partition.
func (c *Card) volume(p *Partition, name string) *Volume {
	p.FileSystem = name
	c.Volumes = append(c.Volumes, Volume{Partition: p.Number, FileSystem: name, Start: p.Start, Free: -1, Lost: -1, card: c})
	return &c.Volumes[len(c.Volumes)-1]
}

func (c *Card) tryFAT(p *Partition, head []byte, gone spans) bool {
	b, found := c.findBoot(p, head, gone.touch(p.Start, sectorBytes))
	if found {
		c.readVolume(c.volume(p, b.name()), p, b, head)
	}
	return found
}

func (c *Card) nameOther(p *Partition, head []byte, unreadable bool) {
	switch name := named(head); {
	case name != "":
		c.volume(p, name)
	case unreadable:
		p.FileSystem = Unreadable
	default:
		if p.FileSystem = c.remains(p, head); p.FileSystem == "" {
			p.FileSystem = unnamed(head)
		}
	}
}

// findBoot finds a boot sector that can be used: the first, or where that is
// damaged its backup.
func (c *Card) findBoot(p *Partition, head []byte, unreadable bool) (boot, bool) {
	b, complaints := parseBoot(head)
	fatal := anyFatal(complaints)
	claims := claimsFAT(head) || p.announcesFAT() && !allZero(head[:sectorBytes])
	if named(head[:sectorBytes]) != "" || !claims && !(jumps(head) && !fatal) && !unreadable {
		return boot{}, false
	}
	if unreadable {
		return c.useBackup(p, head, true)
	}
	c.complain(p, complaints)
	if !fatal {
		return b, true
	}
	if b, ok := c.useBackup(p, head, false); ok {
		return b, true
	}
	p.FileSystem = DamagedFAT
	return boot{}, false
}

func (c *Card) complain(p *Partition, complaints []complaint) {
	for _, x := range complaints {
		x.Partition, x.Offset = p.Number, p.Start+x.Offset
		c.add(x.Fault)
	}
}

// useBackup reads by the backup. Where the first sector couldn't be read, what
// is wrong with it isn't known.
func (c *Card) useBackup(p *Partition, head []byte, unreadable bool) (boot, bool) {
	at := int64(usualBackup * sectorBytes)
	if int64(len(head)) < at+sectorBytes {
		return boot{}, false
	}
	b, complaints := parseBoot(head[at:])
	if anyFatal(complaints) || !b.fat32 || !signed(head[at:]) {
		return boot{}, false
	}
	c.add(Fault{
		Kind: BootUsed, Partition: p.Number, Offset: p.Start, ReadError: unreadable,
		Problem: problem.Problem{Expected: "a boot sector", Found: fmt.Sprintf("none of use: its backup in sector %d was read", usualBackup)},
	})
	b.unread = unreadable
	return b, true
}

func (c *Card) readVolume(v *Volume, p *Partition, b boot, head []byte) {
	v.SectorBytes = int(b.sector)
	v.ClusterBytes = int(b.sector * b.perCluster)
	v.FATs = int(b.fats)
	v.FATBytes = b.fatSectors * b.sector
	v.DataStart = p.Start + b.dataSector()*b.sector
	v.Clusters = b.clusters()
	if name := oem(b.label); b.label != noVolumeName {
		v.BootLabel = strings.TrimRight(name, " \x00")
	}
	if b.dirty {
		c.add(Fault{
			Kind: DirtyFlag, Partition: p.Number, Offset: -1,
			Problem: problem.Problem{Expected: "the boot sector's flag clear", Found: "set: not taken out cleanly"},
		})
	}
	c.checkSizes(v, p, b)
	c.checkBackup(p, b, head)
	v.fat = newFAT(c, v, p, b)
	if v.fat == nil {
		return
	}
	info, ok := c.readInfo(p, b)
	w := &walker{card: c, v: v, fat: v.fat, p: p, boot: b, whole: true}
	w.run()
	if ok && v.Free >= 0 {
		c.checkInfo(v, p, b, info)
	}
}

func (c *Card) checkSizes(v *Volume, p *Partition, b boot) {
	note := func(wrong bool, kind FaultKind, at int64, expected, found string) {
		if wrong {
			c.add(Fault{Kind: kind, Partition: p.Number, Offset: p.Start + at, Problem: problem.Problem{Expected: expected, Found: found}})
		}
	}
	room := min(p.Length, c.src.size-p.Start)
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
func (c *Card) checkBackup(p *Partition, b boot, head []byte) {
	if !b.fat32 {
		return
	}
	note := func(kind FaultKind, off int64, expected, found string) {
		c.add(Fault{Kind: kind, Partition: p.Number, Offset: off, Problem: problem.Problem{Expected: expected, Found: found}})
	}
	switch {
	case !b.hasBackup(): // BPB_BkBootSec is 0 or 6 (FAT32 specification, "Boot Sector and BPB"); some formatters write 0xFFFF
		note(BootAlone, -1, "a backup boot sector", "none is kept")
		return
	case b.backup >= b.reserved:
		note(BootBackup, -1, "a backup boot sector", "none")
		return
	}
	off := p.Start + b.backup*b.sector
	backup, ok := c.structure(p, off, "backup boot sector")
	if !ok || b.unread {
		return
	}
	main := bytes.Clone(head[:sectorBytes])
	main[65], backup[65] = main[65]&^3, backup[65]&^3 // the dirty flag is kept in the first alone
	if i, kind := differing(main, backup, idleInFAT32); i >= 0 {
		note(kind, off+int64(i), fmt.Sprintf("as in the boot sector: % x", main[i:min(i+4, sectorBytes)]),
			fmt.Sprintf("% x", backup[i:min(i+4, sectorBytes)]))
	}
}

// idleInFAT32 are the bytes of a boot sector that tell no device where anything
// is: the jump and the name of who formatted it, the drive's number, the
// volume's id and label, and the boot code with its texts (FAT32 specification,
// "Boot Sector and BPB"). What is wrong with the first sector's own is told
// apart.
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

// structure reads one sector of those that a volume is described by.
func (c *Card) structure(p *Partition, off int64, what string) ([]byte, bool) {
	b := make([]byte, sectorBytes)
	err := c.src.read(b, off)
	if err == errOutside {
		c.add(Fault{
			Kind: VolumeSize, Partition: p.Number, Offset: off,
			Problem: problem.Problem{Expected: what + " on the card", Found: "past the end of the card"},
		})
	} else if err != nil {
		c.unread(p.Number, "", off, what, err)
	}
	return b, err == nil
}

// readInfo reads FSInfo and checks its signatures.
func (c *Card) readInfo(p *Partition, b boot) ([]byte, bool) {
	if !b.fat32 {
		return nil, false
	}
	if !b.hasInfo() || b.info >= b.reserved {
		c.add(Fault{Kind: InfoSignature, Partition: p.Number, Offset: -1, Problem: problem.Problem{Expected: "an FSInfo sector", Found: "none"}})
		return nil, false
	}
	off := p.Start + b.info*b.sector
	s, ok := c.structure(p, off, "FSInfo")
	if !ok {
		return nil, false
	}
	for _, want := range []struct {
		at    int
		value uint32
	}{{0, infoLead}, {484, infoStruct}, {508, infoTrail}} {
		if got := le.Uint32(s[want.at:]); got != want.value {
			ok = false
			c.add(Fault{
				Kind: InfoSignature, Partition: p.Number, Offset: off + int64(want.at),
				Problem: problem.Problem{Expected: fmt.Sprintf("0x%08x", want.value), Found: fmt.Sprintf("0x%08x", got)},
			})
		}
	}
	return s, ok
}

// checkInfo compares FSInfo with the truth. The next free cluster is a hint:
// it must exist, not be free.
func (c *Card) checkInfo(v *Volume, p *Partition, b boot, info []byte) {
	off := p.Start + b.info*b.sector
	if free := le.Uint32(info[488:]); free != infoUnknown && int64(free) != v.Free {
		c.add(Fault{
			Kind: InfoFree, Partition: p.Number, Offset: off + 488,
			Problem: problem.Problem{Expected: fmt.Sprintf("%d free clusters", v.Free), Found: fmt.Sprint(free)},
		})
	}
	if next := le.Uint32(info[492:]); next != infoUnknown && (next < 2 || int64(next) > v.Clusters+1) {
		c.add(Fault{
			Kind: InfoNext, Partition: p.Number, Offset: off + 492,
			Problem: problem.Problem{Expected: fmt.Sprintf("a cluster from 2 to %d", v.Clusters+1), Found: fmt.Sprint(next)},
		})
	}
}
