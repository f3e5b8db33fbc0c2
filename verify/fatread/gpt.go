package fatread

import (
	"bytes"
	"errors"
	"fmt"
	"hash/crc32"
	"math"
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

// parseGPT reads a header in sector at.
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
func (t *tableReader) readGPT() bool {
	end := t.src.size/sectorBytes - 1
	h, err := t.gptAt(1)
	backup, backupErr := t.gptAt(end)
	if err != nil {
		t.log.fault(GPTHeader, 0, sectorBytes, "a GPT header", err.Error())
		h = backup
	}
	if backupErr != nil {
		t.log.fault(GPTBackup, 0, end*sectorBytes, "a GPT header in the last sector", backupErr.Error())
	}
	if err != nil && backupErr != nil {
		return false
	}
	table := t.gptTable(h)
	if err == nil && backupErr == nil {
		t.compareGPT(h, backup, table)
	}
	t.addGPT(h, table)
	return true
}

func (t *tableReader) gptAt(sector int64) (gptHeader, error) {
	b := make([]byte, sectorBytes)
	switch err := t.src.read(b, sector*sectorBytes); {
	case err == errOutside:
		return gptHeader{}, err
	case err != nil:
		t.log.unread(0, "", sector*sectorBytes, "GPT header", err)
		return gptHeader{}, err
	}
	return parseGPT(b, sector)
}

// gptTable reads the entries, no more than a bound, and checks their sum.
func (t *tableReader) gptTable(h gptHeader) []byte {
	off, n := h.table*sectorBytes, h.count*h.entrySize
	most := min(n, max(0, t.src.size-off))
	b := t.src.head(off, int((most+sectorBytes-1)/sectorBytes*sectorBytes), func(at, _ int64, err error) {
		t.log.unread(0, "", at, "GPT entries", err)
	})
	b = b[:min(int64(len(b)), most)]
	switch {
	case int64(len(b)) < n:
		t.log.fault(GPTEntries, 0, off,
			fmt.Sprintf("%d entries of %d bytes", h.count, h.entrySize), fmt.Sprintf("%d bytes until the card ends", len(b)))
	case crc32.ChecksumIEEE(b) != h.sum:
		t.log.fault(GPTEntries, 0, off, fmt.Sprintf("checksum %08x", h.sum), fmt.Sprintf("%08x", crc32.ChecksumIEEE(b)))
	}
	return b
}

// compareGPT reports where the backup is of another table.
func (t *tableReader) compareGPT(h, backup gptHeader, table []byte) {
	switch {
	case h.sum != backup.sum || h.count != backup.count || h.entrySize != backup.entrySize ||
		h.first != backup.first || h.last != backup.last || h.disk != backup.disk:
	case !bytes.Equal(table, t.gptTable(backup)):
	case h.other*sectorBytes != t.src.size-sectorBytes || backup.other != 1:
	default:
		return
	}
	t.log.fault(GPTBackup, 0, t.src.size-sectorBytes, "the same table as the main one", "another")
}

func (t *tableReader) addGPT(h gptHeader, table []byte) {
	for i := 0; (i+1)*int(h.entrySize) <= len(table); i++ {
		e := table[i*int(h.entrySize):]
		if [16]byte(e[:16]) == [16]byte{} {
			continue
		}
		first, last := sector64(e[32:]), sector64(e[40:])
		if first < h.first || last > h.last || last < first {
			t.log.fault(TableEntry, i+1, h.table*sectorBytes+int64(i)*h.entrySize,
				fmt.Sprintf("sectors within %d to %d", h.first, h.last), fmt.Sprintf("%d to %d", first, last))
		}
		if first == 0 || last < first {
			continue
		}
		t.add(Partition{
			Number: i + 1, Type: guid(e[:16]), Table: GPT,
			Start: first * sectorBytes, Length: (last - first + 1) * sectorBytes,
		})
	}
}

// guid writes one in the mixed order of the UEFI Specification, appendix A.
func guid(b []byte) string {
	return fmt.Sprintf("%08x-%04x-%04x-%x-%x", le.Uint32(b), le.Uint16(b[4:]), le.Uint16(b[6:]), b[8:10], b[10:16])
}

// staleGPT reports a GPT from before: some machines follow it all the same, but
// none the backup alone, which formatting leaves behind.
func (t *tableReader) staleGPT() {
	main := false
	for _, sector := range []int64{1, t.src.size/sectorBytes - 1} {
		b := make([]byte, sectorBytes)
		err := t.src.read(b, sector*sectorBytes)
		if err != nil && err != errOutside {
			t.log.unread(0, "", sector*sectorBytes, "place of a GPT header", err)
		}
		if err != nil || string(b[:8]) != gptMark {
			continue
		}
		kind, found := TableStale, "a GPT header"
		if main = main || sector == 1; !main {
			kind, found = TableLeft, "the backup of a GPT header, in the last sector"
		}
		t.log.fault(kind, 0, sector*sectorBytes, "no GPT with this table", found)
	}
}
