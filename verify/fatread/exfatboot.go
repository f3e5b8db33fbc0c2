package fatread

import "fmt"

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

// activeSecond reports whether the second FAT and bitmap are the active ones.
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
			all = append(all, complaint{faultOf(BootField, 0, at, expected, fmt.Sprint(found)), true})
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
			all = append(all, complaint{faultOf(kind, 0, at, expected, found), false})
		}
	}
	note(!signed(s), BootSignature, 510, "55 aa", fmt.Sprintf("% x", s[510:512]))
	note(string(s[:3]) != exfatJump, BootField, 0, "a jump (eb 76 90)", fmt.Sprintf("% x", s[:3]))
	note(!allZero(s[11:64]), BootField, 11, "zeros where FAT has its fields", fmt.Sprintf("% x", s[11:27]))
	return all
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

// idleInExFAT are the bytes of a boot region that tell no device where anything
// is: the boot code, and all that follows the boot sector (sections 3.1.17 and
// 3.2 to 3.4). The main region's own checksum is reported separately.
func idleInExFAT(i int) bool { return i >= 120 && i != 510 && i != 511 }
