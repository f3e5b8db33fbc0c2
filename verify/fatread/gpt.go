package fatread

import (
	"bytes"
	"errors"
	"fmt"
	"hash/crc32"
	"math"

	"cardwright/manifest/problem"
)

const (
	gptMark       = "EFI PART"
	gptHeaderLen  = 92
	gptEntryLeast = 128
	gptEntryMost  = 4096
	gptTableMost  = 1 << 20 // bytes of entries; 16 KiB are usual
)

// gptHeader holds what is used of one (UEFI Specification, 5.3.2).
type gptHeader struct {
	other            int64 // sector of the other copy
	first, last      int64 // sectors that partitions may take
	disk             [16]byte
	table            int64
	count, entrySize int64
	sum              uint32
}

var (
	errGPTMark     = errors.New("no " + gptMark)
	errGPTChecksum = errors.New("a wrong checksum")
	errGPTFields   = errors.New("sizes that make no sense")
	errGPTPlace    = errors.New("the number of another sector")
)

// parseGPT reads a header that stands in sector at.
func parseGPT(b []byte, at int64) (gptHeader, error) {
	if string(b[:8]) != gptMark {
		return gptHeader{}, errGPTMark
	}
	size := le.Uint32(b[12:])
	if size < gptHeaderLen || size > sectorBytes {
		return gptHeader{}, errGPTFields
	}
	whole := bytes.Clone(b[:size])
	clear(whole[16:20])
	if crc32.ChecksumIEEE(whole) != le.Uint32(b[16:]) {
		return gptHeader{}, errGPTChecksum
	}
	if sector64(b[24:]) != at {
		return gptHeader{}, errGPTPlace
	}
	h := gptHeader{
		other: sector64(b[32:]), first: sector64(b[40:]), last: sector64(b[48:]),
		disk: [16]byte(b[56:72]), table: sector64(b[72:]),
		count: int64(le.Uint32(b[80:])), entrySize: int64(le.Uint32(b[84:])), sum: le.Uint32(b[88:]),
	}
	if h.entrySize < gptEntryLeast || h.entrySize > gptEntryMost || h.entrySize%8 != 0 || h.count*h.entrySize > gptTableMost {
		return gptHeader{}, errGPTFields
	}
	return h, nil
}

// sector64 reads a sector number so that it can't overflow as bytes.
func sector64(b []byte) int64 {
	return int64(min(le.Uint64(b), uint64(math.MaxInt64/sectorBytes/4)))
}

// readGPT takes the partitions of the main header, or else of its backup.
func (c *Card) readGPT() bool {
	end := c.src.size/sectorBytes - 1
	h, err := c.gptAt(1)
	backup, backupErr := c.gptAt(end)
	if err != nil {
		c.add(Fault{Kind: GPTHeader, Offset: sectorBytes, Problem: problem.Problem{Expected: "a GPT header", Found: err.Error()}})
		h = backup
	}
	if backupErr != nil {
		c.add(Fault{Kind: GPTBackup, Offset: end * sectorBytes, Problem: problem.Problem{Expected: "a GPT header in the last sector", Found: backupErr.Error()}})
	}
	if err != nil && backupErr != nil {
		return false
	}
	table := c.gptTable(h)
	if err == nil && backupErr == nil {
		c.compareGPT(h, backup, table)
	}
	c.addGPT(h, table)
	return true
}

func (c *Card) gptAt(sector int64) (gptHeader, error) {
	b := make([]byte, sectorBytes)
	switch err := c.src.read(b, sector*sectorBytes); {
	case err == errOutside:
		return gptHeader{}, err
	case err != nil:
		c.unread(0, "", sector*sectorBytes, "GPT header", err)
		return gptHeader{}, err
	}
	return parseGPT(b, sector)
}

// gptTable reads the entries, no more than a bound, and checks their sum.
func (c *Card) gptTable(h gptHeader) []byte {
	off, n := h.table*sectorBytes, h.count*h.entrySize
	most := min(n, max(0, c.src.size-off))
	b := c.src.head(off, int((most+sectorBytes-1)/sectorBytes*sectorBytes), func(at, _ int64, err error) {
		c.unread(0, "", at, "GPT entries", err)
	})
	b = b[:min(int64(len(b)), most)]
	switch {
	case int64(len(b)) < n:
		c.add(Fault{
			Kind: GPTEntries, Offset: off, Problem: problem.Problem{
				Expected: fmt.Sprintf("%d entries of %d bytes", h.count, h.entrySize),
				Found:    fmt.Sprintf("%d bytes until the card ends", len(b)),
			},
		})
	case crc32.ChecksumIEEE(b) != h.sum:
		c.add(Fault{
			Kind: GPTEntries, Offset: off, Problem: problem.Problem{
				Expected: fmt.Sprintf("checksum %08x", h.sum),
				Found:    fmt.Sprintf("%08x", crc32.ChecksumIEEE(b)),
			},
		})
	}
	return b
}

// compareGPT tells where the backup is of another table.
func (c *Card) compareGPT(h, backup gptHeader, table []byte) {
	switch {
	case h.sum != backup.sum || h.count != backup.count || h.entrySize != backup.entrySize ||
		h.first != backup.first || h.last != backup.last || h.disk != backup.disk:
	case !bytes.Equal(table, c.gptTable(backup)):
	case h.other*sectorBytes != c.src.size-sectorBytes || backup.other != 1:
	default:
		return
	}
	c.add(Fault{
		Kind: GPTBackup, Offset: c.src.size - sectorBytes,
		Problem: problem.Problem{Expected: "the same table as the main one", Found: "another"},
	})
}

func (c *Card) addGPT(h gptHeader, table []byte) {
	for i := 0; (i+1)*int(h.entrySize) <= len(table); i++ {
		e := table[i*int(h.entrySize):]
		if [16]byte(e[:16]) == [16]byte{} {
			continue
		}
		first, last := sector64(e[32:]), sector64(e[40:])
		if first < h.first || last > h.last || last < first {
			c.add(Fault{
				Kind: TableEntry, Partition: i + 1, Offset: h.table*sectorBytes + int64(i)*h.entrySize,
				Problem: problem.Problem{
					Expected: fmt.Sprintf("sectors within %d to %d", h.first, h.last),
					Found:    fmt.Sprintf("%d to %d", first, last),
				},
			})
		}
		if first == 0 || last < first {
			continue
		}
		c.addPartition(Partition{
			Number: i + 1, Type: guid(e[:16]), Table: GPT,
			Start: first * sectorBytes, Length: (last - first + 1) * sectorBytes,
		})
	}
}

// guid writes one in the mixed order of the UEFI Specification, appendix A.
func guid(b []byte) string {
	return fmt.Sprintf("%08x-%04x-%04x-%x-%x", le.Uint32(b), le.Uint16(b[4:]), le.Uint16(b[6:]), b[8:10], b[10:16])
}

// staleGPT tells of a GPT from before: some machines follow it all the same, but
// none the backup alone, which formatting leaves behind.
func (c *Card) staleGPT() {
	main := false
	for _, sector := range []int64{1, c.src.size/sectorBytes - 1} {
		b := make([]byte, sectorBytes)
		err := c.src.read(b, sector*sectorBytes)
		if err != nil && err != errOutside {
			c.unread(0, "", sector*sectorBytes, "place of a GPT header", err)
		}
		if err != nil || string(b[:8]) != gptMark {
			continue
		}
		kind, found := TableStale, "a GPT header"
		if main = main || sector == 1; !main {
			kind, found = TableLeft, "the backup of a GPT header, in the last sector"
		}
		c.add(Fault{Kind: kind, Offset: sector * sectorBytes, Problem: problem.Problem{Expected: "no GPT beside this table", Found: found}})
	}
}
