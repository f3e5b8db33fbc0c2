package fatread

import (
	"bytes"
	"fmt"
	"math"
)

// tryExFAT reads a volume whose boot sector says exFAT. A main boot region is
// useless where its sum is wrong and its backup's right.
func (s start) tryExFAT() bool {
	if named(s.head[:sectorBytes]) != ExFAT {
		return false
	}
	b, complaints := parseExFAT(s.head)
	s.complain(complaints)
	if anyFatal(complaints) {
		return s.tryExFATBackup()
	}
	if !s.checkRegion(b.shift) && s.tryExFATBackup() {
		return true
	}
	x := exfatVolume{s, s.volume(ExFAT), b}
	x.checkBackup()
	x.read()
	return true
}

// tryExFATBackup reads a volume by its backup boot region, if the main one can't
// be read, or it or the table says exFAT.
func (s start) tryExFATBackup() bool {
	says := s.p.Type == fatTypes[ExFAT][0] || s.p.Type == basicData || string(s.head[:3]) == exfatJump
	if name := named(s.head); name != ExFAT && (name != "" || !says || allZero(s.head[:sectorBytes])) && !s.firstUnread() {
		return false
	}
	b, ok := s.exfatBackup()
	if ok {
		exfatVolume{s, s.volume(ExFAT), b}.read()
	}
	return ok
}

// exfatBackup looks for a good backup, whatever the size of a sector.
func (s start) exfatBackup() (exfatBoot, bool) {
	for shift := uint(9); shift <= 12; shift++ {
		at := exfatRegion << shift
		if len(s.head) < 2*at || named(s.head[at:at+sectorBytes]) != ExFAT {
			continue
		}
		b, complaints := parseExFAT(s.head[at:])
		if anyFatal(complaints) || b.shift != shift || s.gone.touch(s.p.Start+int64(at), int64(at)) || !sumRight(s.head[at:2*at], shift) {
			continue
		}
		s.backupUsed(exfatRegion)
		return b, true
	}
	return exfatBoot{}, false
}

// checkRegion checks the sum of the main boot region, its marks among it; what
// can't be read is reported already.
func (s start) checkRegion(shift uint) bool {
	size := exfatRegion << shift
	if len(s.head) < size || s.gone.touch(s.p.Start, int64(size)) {
		return true
	}
	right := sumRight(s.head[:size], shift)
	if !right {
		s.fault(BootChecksum, s.p.Start+exfatSums<<shift,
			fmt.Sprintf("%08x throughout", exfatBootSum(s.head[:exfatSums<<shift])), fmt.Sprintf("%08x…", le.Uint32(s.head[exfatSums<<shift:])))
	}
	return right
}

// exfatVolume is an exFAT volume that is being read by its boot sector.
type exfatVolume struct {
	start
	v    *Volume
	boot exfatBoot
}

// checkBackup compares the backup with the main region, but for the two fields
// that are kept in the main one alone.
func (x exfatVolume) checkBackup() {
	size := exfatRegion * x.boot.sector()
	if x.gone.touch(x.p.Start, 2*size) || int64(len(x.head)) < 2*size {
		return
	}
	main, backup := bytes.Clone(x.head[:size]), x.head[size:2*size]
	for _, i := range []int{106, 107, 112} {
		main[i] = backup[i]
	}
	if i, kind := differing(main, backup, idleInExFAT); i >= 0 {
		x.fault(kind, x.p.Start+size+int64(i), fmt.Sprintf("as in the main boot region: %02x", main[i]), fmt.Sprintf("%02x", backup[i]))
	}
}

func (x exfatVolume) read() {
	v, b := x.v, x.boot
	v.SectorBytes, v.ClusterBytes = int(b.sector()), int(b.cluster())
	v.FATs, v.FATBytes = int(b.fats), b.fatSectors*b.sector()
	v.DataStart = x.p.Start + b.heapAt*b.sector()
	v.Clusters = b.clusters
	x.checkSizes()
	x.checkFlags()
	f := &fat{card: x.card, partition: x.p.Number, width: 32, media: 0xF8, mask: math.MaxUint32, end: math.MaxUint32}
	f.start = x.p.Start + b.fatAt*b.sector()
	if b.activeSecond() {
		f.start += v.FATBytes
	}
	if v.fat = f.reach(v); v.fat == nil {
		return
	}
	f.loads = min(f.loads, 2*rereads) // only files in pieces ask it
	walkExFAT(x)
}

func (x exfatVolume) checkSizes() {
	v, p, b := x.v, x.p, x.boot
	note := func(wrong bool, kind FaultKind, at int64, expected, found string) {
		if wrong {
			x.fault(kind, p.Start+at, expected, found)
		}
	}
	room := min(p.Length, x.card.src.size-p.Start) / b.sector()
	note(b.length > uint64(room), VolumeSize, 72, fmt.Sprintf("at most %d sectors", room), fmt.Sprint(b.length))
	held := uint64(b.heapAt) + uint64(b.clusters)<<b.clusterShift
	note(held > b.length, VolumeSize, 92, fmt.Sprintf("clusters within %d sectors", b.length), fmt.Sprintf("up to sector %d", held))
	first := uint64(p.Start / b.sector())
	note(b.partition != 0 && b.partition != first, HiddenSectors, 64, fmt.Sprintf("0 or %d", first), fmt.Sprint(b.partition))
	have := v.FATBytes/4 - 2
	note(have < v.Clusters, FATSize, 84, fmt.Sprintf("room for %d clusters", v.Clusters), fmt.Sprintf("room for %d", have))
}

// checkFlags reads VolumeFlags (section 3.1.13).
func (x exfatVolume) checkFlags() {
	const dirty, failed = 2, 4
	if x.boot.flags&dirty != 0 {
		x.fault(DirtyFlag, x.p.Start+106, "the flag clear", "set: not taken out cleanly")
	}
	if x.boot.flags&failed != 0 {
		x.fault(ErrorFlag, x.p.Start+106, "the flag clear", "set: a device met errors on it")
	}
}
