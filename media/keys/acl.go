package keys

import (
	"encoding/binary"
	"fmt"
	"slices"
	"strings"
)

// The parts of a security descriptor of Windows, self-relative as the system
// gives it, all in little endian: Microsoft's Open Specification MS-DTYP 2.4.6
// (the descriptor), 2.4.5 (its list), 2.4.4 (an entry), 2.4.2 (a SID).
const (
	descriptorHeader = 20     // revision, padding, control (2), then four places (4 each): owner, group, SACL, DACL
	listIsThere      = 0x0004 // in control; without it nobody is kept out
	listHeader       = 8      // revision, padding, size (2), number of entries (2), padding (2)
	entryHeader      = 8      // kind, flags, size (2), rights (4); then the SID

	inheritOnly = 0x08 // in an entry's flags: for what is made below, not for this file

	// the rights (MS-DTYP 2.4.3) by which somebody can read a file, or give
	// themselves the right to: FILE_READ_DATA, WRITE_DAC, WRITE_OWNER,
	// MAXIMUM_ALLOWED, GENERIC_ALL, GENERIC_READ
	toRead = 0x1 | 0x40000 | 0x80000 | 0x2000000 | 0x10000000 | 0x80000000

	// who can take any right on a computer anyway, and whoever owns the file
	system, administrators, fileOwner = "S-1-5-18", "S-1-5-32-544", "S-1-3-4"

	// in the place of a SID that can't be read
	everybody, somebody = "S-1-1-0", "somebody unknown"
)

// mayRead are those who may read a file on Windows other than me, the system and
// administrators, as SIDs in Windows' form. What can't be read in the descriptor
// counts as somebody.
func mayRead(descriptor []byte, me string) []string {
	if len(descriptor) < descriptorHeader {
		return []string{somebody}
	}
	at := uint64(binary.LittleEndian.Uint32(descriptor[16:]))
	if binary.LittleEndian.Uint16(descriptor[2:])&listIsThere == 0 || at == 0 {
		return []string{everybody} // a file without a list is everybody's
	}
	if at+listHeader > uint64(len(descriptor)) {
		return []string{somebody}
	}
	entries := int(binary.LittleEndian.Uint16(descriptor[at+4:]))
	rest := descriptor[at+listHeader:]
	var others []string
	for range entries {
		if len(rest) < entryHeader {
			return append(others, somebody)
		}
		size := int(binary.LittleEndian.Uint16(rest[2:]))
		if size < entryHeader || size > len(rest) {
			return append(others, somebody)
		}
		who := readerBy(rest[:size])
		if who != "" && !slices.Contains([]string{me, system, administrators, fileOwner}, who) && !slices.Contains(others, who) {
			others = append(others, who)
		}
		rest = rest[size:]
	}
	return others
}

// readerBy is whom an entry lets read, "" where it lets nobody. Entries that deny
// are ignored: what they take away may be given in another way.
func readerBy(entry []byte) string {
	rights := binary.LittleEndian.Uint32(entry[4:])
	if entry[1]&inheritOnly != 0 || rights&toRead == 0 {
		return ""
	}
	switch entry[0] {
	case 0, 9: // ACCESS_ALLOWED, and on a condition
		return sidText(entry[entryHeader:])
	case 1, 6, 10, 12: // the four kinds of ACCESS_DENIED
		return ""
	}
	return somebody // also kinds for objects of a directory, which no file has
}

// sidText is a SID as Windows writes it: S-1-5-21-….
func sidText(sid []byte) string {
	const header, mostParts = 8, 15 // revision, number of parts, authority (6, big endian)
	if len(sid) < header || sid[0] != 1 || sid[1] > mostParts || len(sid) < header+4*int(sid[1]) {
		return somebody
	}
	var text strings.Builder
	fmt.Fprintf(&text, "S-1-%d", uint64(binary.BigEndian.Uint16(sid[2:]))<<32|uint64(binary.BigEndian.Uint32(sid[4:])))
	for i := range int(sid[1]) {
		fmt.Fprintf(&text, "-%d", binary.LittleEndian.Uint32(sid[header+4*i:]))
	}
	return text.String()
}
