package fatread

import (
	"bytes"
	"fmt"
	"math"

	"cardwright/manifest/problem"
)

// exFAT is read by Microsoft's exFAT file system specification, revision 1.00
// (2019); the numbers of its sections stand where they are used.

const (
	exfatRegion = 12 // sectors of a boot region; its backup follows
	exfatSums   = 11 // sectors that its checksum covers, which fills the last

	exfatJump     = "\xeb\x76\x90"
	leastExFATFAT = 2 * exfatRegion
	mostExFAT     = 1<<32 - 11 // clusters
	mostExFATDir  = 256 << 20  // bytes of a directory
)

// exfatBoot is a boot sector's fields (section 3.1).
type exfatBoot struct {
	shift, clusterShift uint // of bytes a sector, of sectors a cluster
	partition, length   uint64
	fatAt, fatSectors   int64
	heapAt, clusters    int64
	root                uint32
	flags               uint16
	fats                int64
}

func (b *exfatBoot) sector() int64  { return 1 << b.shift }
func (b *exfatBoot) cluster() int64 { return 1 << (b.shift + b.clusterShift) }

// activeSecond tells that the second FAT and bitmap are the ones to go by.
func (b *exfatBoot) activeSecond() bool { return b.fats == 2 && b.flags&1 != 0 }

func parseExFAT(s []byte) (exfatBoot, []complaint) {
	b := exfatBoot{
		shift: uint(s[108]), clusterShift: uint(s[109]),
		partition: le.Uint64(s[64:]), length: le.Uint64(s[72:]),
		fatAt: int64(le.Uint32(s[80:])), fatSectors: int64(le.Uint32(s[84:])),
		heapAt: int64(le.Uint32(s[88:])), clusters: int64(le.Uint32(s[92:])),
		root:  le.Uint32(s[96:]),
		flags: le.Uint16(s[106:]), fats: int64(s[110]),
	}
	return b, append(b.sizes(s), b.fields(s)...)
}

// sizes complains of what leaves no way to read the volume.
func (b *exfatBoot) sizes(s []byte) (all []complaint) {
	bad := func(wrong bool, at int64, expected string, found any) {
		if wrong {
			all = append(all, complaint{Fault{Kind: BootField, Offset: at, Problem: problem.Problem{Expected: expected, Found: fmt.Sprint(found)}}, true})
		}
	}
	bad(s[105] != 1, 104, "revision 1", fmt.Sprintf("%d.%d", s[105], s[104]))
	bad(b.shift < 9 || b.shift > 12, 108, "a sector of 2^9 to 2^12 bytes", fmt.Sprintf("2^%d", b.shift))
	bad(b.shift+b.clusterShift > 25, 109, "a cluster of 2^25 bytes at most", fmt.Sprintf("2^%d", b.shift+b.clusterShift))
	bad(b.fats != 1 && b.fats != 2, 110, "1 or 2 FATs", b.fats)
	bad(b.fatAt < leastExFATFAT, 80, "a FAT from sector 24", b.fatAt)
	bad(b.heapAt < b.fatAt+b.fatSectors*b.fats, 88, "clusters after the FATs", fmt.Sprintf("from sector %d", b.heapAt))
	bad(b.clusters < 1 || b.clusters > mostExFAT, 92, fmt.Sprintf("1 to %d clusters", int64(mostExFAT)), b.clusters)
	bad(b.root < 2 || int64(b.root) > b.clusters+1, 96, fmt.Sprintf("a root folder from cluster 2 to %d", b.clusters+1), b.root)
	return all
}

func (b *exfatBoot) fields(s []byte) (all []complaint) {
	note := func(wrong bool, kind FaultKind, at int64, expected, found string) {
		if wrong {
			all = append(all, complaint{Fault{Kind: kind, Offset: at, Problem: problem.Problem{Expected: expected, Found: found}}, false})
		}
	}
	note(!signed(s), BootSignature, 510, "55 aa", fmt.Sprintf("% x", s[510:512]))
	note(string(s[:3]) != exfatJump, BootField, 0, "a jump (eb 76 90)", fmt.Sprintf("% x", s[:3]))
	note(!allZero(s[11:64]), BootField, 11, "zeros where FAT has its fields", fmt.Sprintf("% x", s[11:27]))
	return all
}

// tryExFAT reads a volume whose boot sector says exFAT. A main boot region is
// useless where its sum is wrong and its backup's right.
func (c *Card) tryExFAT(p *Partition, head []byte, gone spans) bool {
	if named(head[:sectorBytes]) != ExFAT {
		return false
	}
	b, complaints := parseExFAT(head)
	c.complain(p, complaints)
	if anyFatal(complaints) {
		return c.tryExFATBackup(p, head, gone)
	}
	if !c.checkRegion(p, head, b.shift, gone) && c.tryExFATBackup(p, head, gone) {
		return true
	}
	c.checkExFATBackup(p, head, b, gone)
	c.readExFAT(c.volume(p, ExFAT), p, b)
	return true
}

// tryExFATBackup reads a volume by its backup boot region, if the main one
// can't be read, or it or the table says exFAT.
func (c *Card) tryExFATBackup(p *Partition, head []byte, gone spans) bool {
	says := p.Type == fatTypes[ExFAT][0] || p.Type == basicData || string(head[:3]) == exfatJump
	if name := named(head); name != ExFAT && (name != "" || !says || allZero(head[:sectorBytes])) && !gone.touch(p.Start, sectorBytes) {
		return false
	}
	b, ok := c.exfatBackup(p, head, gone)
	if ok {
		c.readExFAT(c.volume(p, ExFAT), p, b)
	}
	return ok
}

// exfatBackup looks for a good backup, whatever the size of a sector.
func (c *Card) exfatBackup(p *Partition, head []byte, gone spans) (exfatBoot, bool) {
	for shift := uint(9); shift <= 12; shift++ {
		at := exfatRegion << shift
		if len(head) < 2*at || named(head[at:at+sectorBytes]) != ExFAT {
			continue
		}
		b, complaints := parseExFAT(head[at:])
		if anyFatal(complaints) || b.shift != shift || gone.touch(p.Start+int64(at), int64(at)) || !sumRight(head[at:2*at], shift) {
			continue
		}
		c.add(Fault{
			Kind: BootUsed, Partition: p.Number, Offset: p.Start, ReadError: gone.touch(p.Start, sectorBytes), Problem: problem.Problem{
				Expected: "a boot sector",
				Found:    fmt.Sprintf("none of use: its backup in sector %d was read", exfatRegion),
			},
		})
		return b, true
	}
	return exfatBoot{}, false
}

// sumRight checks a boot region's checksum (section 3.4).
func sumRight(region []byte, shift uint) bool {
	sum := exfatBootSum(region[:exfatSums<<shift])
	for at := exfatSums << shift; at < exfatRegion<<shift; at += 4 {
		if le.Uint32(region[at:]) != sum {
			return false
		}
	}
	return true
}

func exfatBootSum(region []byte) (sum uint32) {
	for i, b := range region {
		if i == 106 || i == 107 || i == 112 { // flags and percentage change in use
			continue
		}
		sum = sum<<31 | sum>>1
		sum += uint32(b)
	}
	return sum
}

// checkRegion checks the sum of the main boot region, its marks among it; what can't be
// read is told already.
func (c *Card) checkRegion(p *Partition, head []byte, shift uint, gone spans) bool {
	size := exfatRegion << shift
	if len(head) < size || gone.touch(p.Start, int64(size)) {
		return true
	}
	right := sumRight(head[:size], shift)
	if !right {
		c.add(Fault{
			Kind: BootChecksum, Partition: p.Number, Offset: p.Start + exfatSums<<shift,
			Problem: problem.Problem{
				Expected: fmt.Sprintf("%08x throughout", exfatBootSum(head[:exfatSums<<shift])),
				Found:    fmt.Sprintf("%08x…", le.Uint32(head[exfatSums<<shift:])),
			},
		})
	}
	return right
}

// checkExFATBackup compares the backup with the main region, but for the two
// fields that are kept in the main one alone.
func (c *Card) checkExFATBackup(p *Partition, head []byte, b exfatBoot, gone spans) {
	size := exfatRegion * b.sector()
	if gone.touch(p.Start, 2*size) || int64(len(head)) < 2*size {
		return
	}
	main, backup := bytes.Clone(head[:size]), head[size:2*size]
	for _, i := range []int{106, 107, 112} {
		main[i] = backup[i]
	}
	if i, kind := differing(main, backup, idleInExFAT); i >= 0 {
		c.add(Fault{
			Kind: kind, Partition: p.Number, Offset: p.Start + size + int64(i),
			Problem: problem.Problem{Expected: fmt.Sprintf("as in the main boot region: %02x", main[i]), Found: fmt.Sprintf("%02x", backup[i])},
		})
	}
}

// idleInExFAT are the bytes of a boot region that tell no device where anything
// is: the boot code, and all that follows the boot sector (sections 3.1.17 and
// 3.2 to 3.4). The main region's own checksum is told apart.
func idleInExFAT(i int) bool { return i >= 120 && i != 510 && i != 511 }

// readExFAT reads a volume by its boot sector.
func (c *Card) readExFAT(v *Volume, p *Partition, b exfatBoot) {
	v.SectorBytes, v.ClusterBytes = int(b.sector()), int(b.cluster())
	v.FATs, v.FATBytes = int(b.fats), b.fatSectors*b.sector()
	v.DataStart = p.Start + b.heapAt*b.sector()
	v.Clusters = b.clusters
	c.checkExFATSizes(v, p, b)
	c.checkExFATFlags(v, p, b)
	f := &fat{card: c, partition: p.Number, width: 32, media: 0xF8, mask: math.MaxUint32, end: math.MaxUint32}
	f.start = p.Start + b.fatAt*b.sector()
	if b.activeSecond() {
		f.start += v.FATBytes
	}
	if v.fat = f.reach(v); v.fat == nil {
		return
	}
	f.loads = min(f.loads, 2*rereads) // only files in pieces ask it
	w := &exfatWalker{walker: walker{card: c, v: v, fat: v.fat, p: p, boot: boot{fat32: true, root: b.root}}, ex: b}
	w.run()
}

func (c *Card) checkExFATSizes(v *Volume, p *Partition, b exfatBoot) {
	note := func(wrong bool, kind FaultKind, at int64, expected, found string) {
		if wrong {
			c.add(Fault{Kind: kind, Partition: p.Number, Offset: p.Start + at, Problem: problem.Problem{Expected: expected, Found: found}})
		}
	}
	room := min(p.Length, c.src.size-p.Start) / b.sector()
	note(b.length > uint64(room), VolumeSize, 72, fmt.Sprintf("at most %d sectors", room), fmt.Sprint(b.length))
	held := uint64(b.heapAt) + uint64(b.clusters)<<b.clusterShift
	note(held > b.length, VolumeSize, 92, fmt.Sprintf("clusters within %d sectors", b.length), fmt.Sprintf("up to sector %d", held))
	first := uint64(p.Start / b.sector())
	note(b.partition != 0 && b.partition != first, HiddenSectors, 64, fmt.Sprintf("0 or %d", first), fmt.Sprint(b.partition))
	have := v.FATBytes/4 - 2
	note(have < v.Clusters, FATSize, 84, fmt.Sprintf("room for %d clusters", v.Clusters), fmt.Sprintf("room for %d", have))
}

// checkExFATFlags reads VolumeFlags (section 3.1.13).
func (c *Card) checkExFATFlags(v *Volume, p *Partition, b exfatBoot) {
	const dirty, failed = 2, 4
	if b.flags&dirty != 0 {
		c.add(Fault{Kind: DirtyFlag, Partition: p.Number, Offset: p.Start + 106, Problem: problem.Problem{Expected: "the flag clear", Found: "set: not taken out cleanly"}})
	}
	if b.flags&failed != 0 {
		c.add(Fault{Kind: ErrorFlag, Partition: p.Number, Offset: p.Start + 106, Problem: problem.Problem{Expected: "the flag clear", Found: "set: a machine met errors on it"}})
	}
}
