package fatread

import (
	"encoding/binary"
	"fmt"
	"sort"

	"cardwright/manifest/problem"
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

func slots(sector []byte) (four [4]slot) {
	for i := range four {
		e := sector[446+16*i:]
		four[i] = slot{e[0], e[4], int64(le.Uint32(e[8:])), int64(le.Uint32(e[12:]))}
	}
	return four
}

func (s slot) empty() bool { return s.kind == 0 }

func (s slot) extended() bool { return s.kind == 0x05 || s.kind == 0x0F || s.kind == 0x85 }

func (s slot) sane() bool { return s.status&0x7F == 0 }

// readTable finds the partitions: of an MBR, a GPT, or the card as a whole.
func (c *Card) readTable() {
	sector := make([]byte, sectorBytes)
	if c.src.size < sectorBytes {
		c.wholeCard()
		return
	}
	if err := c.src.read(sector, 0); err != nil {
		c.unread(0, "", 0, "sector 0", err)
		c.wholeCard()
		return
	}
	table := looksLikeTable(sector)
	switch {
	case bootOfItsOwn(sector):
		c.wholeCard()
		c.ambiguous(sector)
	case table && (!claimsVolume(sector) || c.possibleTable(sector)):
		c.readMBR(sector)
	default:
		c.wholeCard()
	}
	c.checkPartitions()
	if c.Table != GPT {
		c.staleGPT()
	}
}

func (c *Card) wholeCard() {
	c.Partitions = []Partition{{Table: noTable, Length: c.src.size}}
}

// possible tells whether an entry can be true of a card of so many sectors.
func (s slot) possible(sectors int64) bool {
	return s.sane() && !s.empty() && s.start > 0 && s.count > 0 && s.start+s.count <= sectors
}

// looksLikeTable tells a partition table from boot code or chance. Without its
// signature it must look like one all the more.
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

// possibleTable tells whether a sector that may be a boot sector can be a table
// as well. Where a table would stand, a boot sector has code and texts: that is
// a table only if the status of all four entries is one, as systems check it
// (from memory), and an entry can be true; or if a file system begins where an
// entry says, whatever the others are.
func (c *Card) possibleTable(sector []byte) bool {
	sane, possible := true, false
	for _, s := range slots(sector) {
		sane = sane && s.sane()
		if s.possible(c.src.size / sectorBytes) {
			possible = true
			if c.beginsVolume(s.start) {
				return true
			}
		}
	}
	return sane && possible
}

// beginsVolume tells whether a file system begins at a sector.
func (c *Card) beginsVolume(at int64) bool {
	b := make([]byte, sectorBytes)
	return c.src.read(b, at*sectorBytes) == nil && (claimsFAT(b) && signed(b) || bootOfItsOwn(b))
}

// ambiguous tells of a table in a boot sector: some machines follow the one,
// some the other. A table of one entry that is the volume itself does no harm.
func (c *Card) ambiguous(sector []byte) {
	if !c.possibleTable(sector) {
		return
	}
	for i, s := range slots(sector) {
		if s.possible(c.src.size / sectorBytes) {
			c.add(Fault{
				Kind: TableAmbiguous, Offset: int64(446 + 16*i), Problem: problem.Problem{
					Expected: "a boot sector or a partition table",
					Found:    fmt.Sprintf("both, the table with a partition at sector %d", s.start),
				},
			})
			return
		}
	}
}

func (c *Card) readMBR(sector []byte) {
	c.Table = MBR
	if !signed(sector) {
		c.add(Fault{Kind: TableSignature, Offset: 510, Problem: problem.Problem{Expected: "55 aa", Found: fmt.Sprintf("% x", sector[510:512])}})
	}
	four := slots(sector)
	for _, s := range four {
		if s.kind == typeGPT && c.readGPT() {
			c.Table = GPT
			c.hybrid(four)
			return
		}
	}
	for i, s := range four {
		c.addSlot(i+1, s, int64(446+16*i))
	}
	for _, s := range four {
		if s.extended() {
			c.readLogical(s)
		}
	}
}

// hybrid tells of an MBR with partitions of its own beside the entry that
// announces a GPT: some machines follow the one table, some the other.
func (c *Card) hybrid(four [4]slot) {
	for i, s := range four {
		if s.empty() || s.kind == typeGPT {
			continue
		}
		c.add(Fault{
			Kind: TableAmbiguous, Offset: int64(446 + 16*i), Problem: problem.Problem{
				Expected: "an MBR that only announces the GPT",
				Found:    fmt.Sprintf("one with a partition of its own, type 0x%02x at sector %d", s.kind, s.start),
			},
		})
		return
	}
}

// addSlot takes one entry; at is its place on the card.
func (c *Card) addSlot(number int, s slot, at int64) {
	if s.empty() {
		return
	}
	if !s.sane() {
		c.add(Fault{
			Kind: TableEntry, Partition: number, Offset: at,
			Problem: problem.Problem{Expected: "status 0x00 or 0x80", Found: fmt.Sprintf("0x%02x", s.status)},
		})
	}
	if s.start == 0 || s.count == 0 {
		c.add(Fault{
			Kind: TableEntry, Partition: number, Offset: at + 8, Problem: problem.Problem{
				Expected: "a first sector and a count above 0",
				Found:    fmt.Sprintf("first sector %d, count %d", s.start, s.count),
			},
		})
		return
	}
	if s.extended() || s.kind == typeGPT {
		return
	}
	c.addPartition(Partition{
		Number: number, Table: MBR, Type: fmt.Sprintf("0x%02x", s.kind),
		Start: s.start * sectorBytes, Length: s.count * sectorBytes,
	})
}

func (c *Card) addPartition(p Partition) {
	if len(c.Partitions) >= c.limits.Partitions {
		c.limit(p.Number, "", count(c.limits.Partitions, "partition")+" at most", "more")
		return
	}
	c.Partitions = append(c.Partitions, p)
}

// readLogical follows the chain of tables within an extended partition. The
// offsets of the chain are from the extended partition, those of a logical
// partition from its own table (common practice, no standard).
func (c *Card) readLogical(extended slot) {
	sector := make([]byte, sectorBytes)
	seen := map[int64]bool{}
	number := firstLogical
	for at := extended.start; ; number++ {
		if seen[at] || number-firstLogical >= c.limits.Partitions {
			c.add(Fault{
				Kind: TableChain, Partition: number, Offset: at * sectorBytes,
				Problem: problem.Problem{Expected: "an end of the chain of logical partitions", Found: "a loop, or one without end"},
			})
			return
		}
		seen[at] = true
		next, ok := c.readLink(sector, at, number)
		if !ok || next.empty() {
			return
		}
		at = extended.start + next.start
	}
}

func (c *Card) readLink(sector []byte, at int64, number int) (next slot, ok bool) {
	off := at * sectorBytes
	err := c.src.read(sector, off)
	if err == errOutside || err == nil && !signed(sector) {
		c.add(Fault{
			Kind: TableChain, Partition: number, Offset: off,
			Problem: problem.Problem{Expected: "a table of a logical partition", Found: "none"},
		})
		return slot{}, false
	}
	if err != nil {
		c.unread(number, "", off, "table of a logical partition", err)
		return slot{}, false
	}
	four := slots(sector)
	if logical := four[0]; !logical.empty() {
		logical.start += at
		c.addSlot(number, logical, off+446)
	}
	return four[1], true
}

// checkPartitions tells of those that leave the card or share sectors.
func (c *Card) checkPartitions() {
	if c.Table == noTable {
		return
	}
	order := make([]*Partition, len(c.Partitions))
	for i := range c.Partitions {
		order[i] = &c.Partitions[i]
	}
	sort.SliceStable(order, func(i, j int) bool { return order[i].Start < order[j].Start })
	var end int64
	for _, p := range order {
		if p.Start+p.Length > c.src.size {
			c.add(Fault{
				Kind: PartitionOutside, Partition: p.Number, Offset: p.Start,
				Problem: problem.Problem{
					Expected: fmt.Sprintf("ends by byte %d, where the card ends", c.src.size),
					Found:    fmt.Sprintf("ends at byte %d", p.Start+p.Length),
				},
			})
		}
		if p.Start < end {
			p.FileSystem = Overlapping
			c.add(Fault{
				Kind: PartitionOverlap, Partition: p.Number, Offset: p.Start,
				Problem: problem.Problem{
					Expected: fmt.Sprintf("begins at or after byte %d, where another ends", end),
					Found:    fmt.Sprintf("begins at byte %d", p.Start),
				},
			})
		}
		end = max(end, p.Start+p.Length)
	}
}
