package fatread

import (
	"cmp"
	"encoding/binary"
	"fmt"
	"slices"
)

var le = binary.LittleEndian

const (
	typeGPT = 0xEE // of the one entry of an MBR that announces a GPT

	firstLogical = 5 // number of the first partition within an extended one
)

// slot is one entry of an MBR.
type slot struct {
	status, kind byte
	start, count int64 // sectors
}

// slotPlace is the offset of an entry in its sector, in bytes.
func slotPlace(i int) int64 { return int64(446 + 16*i) }

func slots(sector []byte) (four [4]slot) {
	for i := range four {
		e := sector[slotPlace(i):]
		four[i] = slot{e[0], e[4], int64(le.Uint32(e[8:])), int64(le.Uint32(e[12:]))}
	}
	return four
}

func (s slot) empty() bool { return s.kind == 0 }

func (s slot) extended() bool { return s.kind == 0x05 || s.kind == 0x0F || s.kind == 0x85 }

func (s slot) sane() bool { return s.status&0x7F == 0 }

// possible reports whether an entry can be true of a card of so many sectors.
func (s slot) possible(sectors int64) bool {
	return s.sane() && !s.empty() && s.start > 0 && s.count > 0 && s.start+s.count <= sectors
}

// tableReader finds the partitions of a card, and tells what is wrong with its
// table.
type tableReader struct {
	src  *source
	log  *Log
	most int // partitions

	kind       string // MBR, GPT or noTable
	partitions []Partition
}

// readTable gives a card's kind of partition table and its partitions, at most so
// many: those of an MBR or a GPT, or the card as a whole.
func readTable(src *source, log *Log, most int) (kind string, partitions []Partition) {
	t := &tableReader{src: src, log: log, most: most, kind: noTable}
	t.read()
	return t.kind, t.partitions
}

func (t *tableReader) read() {
	sector := make([]byte, sectorBytes)
	if t.src.size < sectorBytes {
		t.wholeCard()
		return
	}
	if err := t.src.read(sector, 0); err != nil {
		t.log.unread(0, "", 0, "sector 0", err)
		t.wholeCard()
		return
	}
	switch {
	case bootOfItsOwn(sector):
		t.wholeCard()
		t.tellTableInBootSector(sector)
	case looksLikeTable(sector) && (!claimsVolume(sector) || t.canBeTable(sector)):
		t.readMBR(sector)
	default:
		t.wholeCard()
	}
	t.checkPartitions()
	if t.kind != GPT {
		t.staleGPT()
	}
}

func (t *tableReader) wholeCard() {
	t.partitions = []Partition{{Table: noTable, Length: t.src.size}}
}

// looksLikeTable reports whether a sector is a partition table, not boot code or
// chance. Without its signature it must look like one all the more.
func looksLikeTable(sector []byte) bool {
	used, sane := 0, true
	for _, s := range slots(sector) {
		if !s.empty() && s.count > 0 {
			used++
		}
		sane = sane && s.sane() && (!s.empty() || s.start == 0 && s.count == 0)
	}
	if signed(sector) {
		return sane || used > 0
	}
	return sane && used > 0
}

func signed(sector []byte) bool { return sector[510] == 0x55 && sector[511] == 0xAA }

// canBeTable reports whether a sector that may be a boot sector can be a table as
// well. Where a table would stand, a boot sector has code and texts: that is a
// table only if the status of all four entries is one, as systems check it (from
// memory), and an entry can be true; or if a file system begins where an entry
// says, whatever the others are.
func (t *tableReader) canBeTable(sector []byte) bool {
	sane, possible := true, false
	for _, s := range slots(sector) {
		sane = sane && s.sane()
		if s.possible(t.src.size / sectorBytes) {
			possible = true
			if t.beginsVolume(s.start) {
				return true
			}
		}
	}
	return sane && possible
}

// beginsVolume reports whether a file system begins at a sector.
func (t *tableReader) beginsVolume(at int64) bool {
	b := make([]byte, sectorBytes)
	return t.src.read(b, at*sectorBytes) == nil && (claimsFAT(b) && signed(b) || bootOfItsOwn(b))
}

// tellTableInBootSector reports a table in a boot sector: some machines follow
// the one, some the other. A table of one entry that is the volume itself does no
// harm.
func (t *tableReader) tellTableInBootSector(sector []byte) {
	if !t.canBeTable(sector) {
		return
	}
	for i, s := range slots(sector) {
		if s.possible(t.src.size / sectorBytes) {
			t.log.fault(TableAmbiguous, 0, slotPlace(i),
				"a boot sector or a partition table", fmt.Sprintf("both, the table with a partition at sector %d", s.start))
			return
		}
	}
}

func (t *tableReader) readMBR(sector []byte) {
	t.kind = MBR
	if !signed(sector) {
		t.log.fault(TableSignature, 0, 510, "55 aa", fmt.Sprintf("% x", sector[510:512]))
	}
	four := slots(sector)
	for _, s := range four {
		if s.kind == typeGPT && t.readGPT() {
			t.kind = GPT
			t.tellHybrid(four)
			return
		}
	}
	for i, s := range four {
		t.addSlot(i+1, s, slotPlace(i))
	}
	for _, s := range four {
		if s.extended() {
			t.readLogical(s)
		}
	}
}

// tellHybrid reports an MBR with partitions of its own next to the entry that
// announces a GPT: some machines follow the one table, some the other.
func (t *tableReader) tellHybrid(four [4]slot) {
	for i, s := range four {
		if s.empty() || s.kind == typeGPT {
			continue
		}
		t.log.fault(TableAmbiguous, 0, slotPlace(i),
			"an MBR that only announces the GPT", fmt.Sprintf("one with a partition of its own, type 0x%02x at sector %d", s.kind, s.start))
		return
	}
}

// addSlot takes one entry; at is its place on the card.
func (t *tableReader) addSlot(number int, s slot, at int64) {
	if s.empty() {
		return
	}
	if !s.sane() {
		t.log.fault(TableEntry, number, at, "status 0x00 or 0x80", fmt.Sprintf("0x%02x", s.status))
	}
	if s.start == 0 || s.count == 0 {
		t.log.fault(TableEntry, number, at+8,
			"a first sector and a count above 0", fmt.Sprintf("first sector %d, count %d", s.start, s.count))
		return
	}
	if s.extended() || s.kind == typeGPT {
		return
	}
	t.add(Partition{
		Number: number, Table: MBR, Type: fmt.Sprintf("0x%02x", s.kind),
		Start: s.start * sectorBytes, Length: s.count * sectorBytes,
	})
}

func (t *tableReader) add(p Partition) {
	if len(t.partitions) >= t.most {
		t.log.limit(p.Number, "", count(t.most, "partition")+" at most", "more")
		return
	}
	t.partitions = append(t.partitions, p)
}

// readLogical follows the chain of tables within an extended partition. The
// offsets of the chain are from the extended partition, those of a logical
// partition from its own table (common practice, no standard). A table is read
// once, and no more of them than partitions may be.
func (t *tableReader) readLogical(extended slot) {
	sector := make([]byte, sectorBytes)
	seen := map[int64]bool{}
	number := firstLogical
	for at := extended.start; ; number++ {
		if seen[at] || number-firstLogical >= t.most {
			t.log.fault(TableChain, number, at*sectorBytes, "an end to the chain of logical partitions", "a loop, or no end")
			return
		}
		seen[at] = true
		next, ok := t.readLink(sector, at, number)
		if !ok || next.empty() {
			return
		}
		at = extended.start + next.start
	}
}

func (t *tableReader) readLink(sector []byte, at int64, number int) (next slot, ok bool) {
	off := at * sectorBytes
	err := t.src.read(sector, off)
	if err == errOutside || err == nil && !signed(sector) {
		t.log.fault(TableChain, number, off, "a table of a logical partition", "none")
		return slot{}, false
	}
	if err != nil {
		t.log.unread(number, "", off, "table of a logical partition", err)
		return slot{}, false
	}
	four := slots(sector)
	if logical := four[0]; !logical.empty() {
		logical.start += at
		t.addSlot(number, logical, off+slotPlace(0))
	}
	return four[1], true
}

// checkPartitions reports those that leave the card or share sectors.
func (t *tableReader) checkPartitions() {
	if t.kind == noTable {
		return
	}
	byStart := make([]*Partition, len(t.partitions))
	for i := range t.partitions {
		byStart[i] = &t.partitions[i]
	}
	slices.SortStableFunc(byStart, func(a, b *Partition) int { return cmp.Compare(a.Start, b.Start) })
	var end int64
	for _, p := range byStart {
		if p.Start+p.Length > t.src.size {
			t.log.fault(PartitionOutside, p.Number, p.Start,
				fmt.Sprintf("ending by byte %d, where the card ends", t.src.size), fmt.Sprintf("ending at byte %d", p.Start+p.Length))
		}
		if p.Start < end {
			p.FileSystem = Overlapping
			t.log.fault(PartitionOverlap, p.Number, p.Start,
				fmt.Sprintf("beginning at or after byte %d, where another ends", end), fmt.Sprintf("beginning at byte %d", p.Start))
		}
		end = max(end, p.Start+p.Length)
	}
}
