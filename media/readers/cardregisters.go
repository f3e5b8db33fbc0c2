package readers

import (
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"path"
	"strings"
)

// Card is what a card says of itself through a native reader, as Linux shows it
// (kernel documentation: mmc-dev-attrs). Most readers on USB hide it.
type Card struct {
	Kind         string `json:"kind"` // SD: a card; MMC: nearly always memory soldered to the board
	CID          string `json:"cid"`  // 32 hex digits
	CSD          string `json:"csd"`  // 32 hex digits
	Name         string `json:"name"`
	Serial       string `json:"serial"`
	Manufactured string `json:"manufactured"` // month/year
	Bytes        int64  `json:"bytes"`        // that its CSD claims; 0 unknown
}

// cardKindSD is what the kernel calls an SD card of any capacity.
const cardKindSD = "SD"

const maxAttribute = 4096

// cardOf reads the card of a native reader, such as mmcblk0, from the kernel's tree
// (/sys). It is nil where there is no such card.
func cardOf(sys fs.FS, name string) (*Card, error) {
	if strings.ContainsAny(name, "/.") {
		return nil, fmt.Errorf("reading card %.40q: that is not the name of a drive", name)
	}
	attributes := map[string]string{}
	for _, key := range []string{"type", "cid", "csd", "name", "serial", "date"} {
		value, err := attribute(sys, path.Join("block", name, "device", key))
		if err != nil {
			return nil, fmt.Errorf("reading card %s: %w", name, err)
		}
		attributes[key] = value
	}
	if attributes["type"] == "" {
		return nil, nil
	}
	card := &Card{
		Kind: attributes["type"], CID: attributes["cid"], CSD: attributes["csd"],
		Name: attributes["name"], Serial: attributes["serial"], Manufactured: attributes["date"],
	}
	if card.Kind != cardKindSD {
		return card, nil
	}
	bytes, err := CSDBytes(card.CSD)
	if err != nil {
		return nil, fmt.Errorf("reading card %s: %w", name, err)
	}
	card.Bytes = bytes
	return card, nil
}

// attribute is the text of a file in /sys, "" where there is none.
func attribute(sys fs.FS, name string) (string, error) {
	f, err := sys.Open(name)
	if errors.Is(err, fs.ErrNotExist) {
		return "", nil
	}
	if err != nil {
		return "", err
	}
	content, err := io.ReadAll(io.LimitReader(f, maxAttribute))
	return trimmed(string(content)), errors.Join(err, f.Close())
}

// CSDBytes is the capacity in an SD card's CSD register, which is given as 32 hex
// digits. The rules for its three structures are from memory of the SD Physical
// Layer Simplified Specification, §5.3.
func CSDBytes(csd string) (int64, error) {
	raw, err := hex.DecodeString(csd)
	if err != nil || len(raw) != 16 {
		return 0, fmt.Errorf("csd %.40q: expected 32 hex digits", csd)
	}
	switch structure := bits(raw, 127, 126); structure {
	case 0:
		size, multiplier, block := bits(raw, 73, 62), bits(raw, 49, 47), bits(raw, 83, 80)
		return (size + 1) << (multiplier + 2 + block), nil
	case 1:
		return (bits(raw, 69, 48) + 1) * 512 << 10, nil
	case 2:
		return (bits(raw, 75, 48) + 1) * 512 << 10, nil
	default:
		return 0, fmt.Errorf("csd %s: unknown structure %d", csd, structure)
	}
}

// bits is the field of a register between two bits; bit 127 comes first.
func bits(register []byte, high, low int) int64 {
	var value int64
	for bit := high; bit >= low; bit-- {
		value = value<<1 | int64(register[15-bit/8]>>(bit%8)&1)
	}
	return value
}
