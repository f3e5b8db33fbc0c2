package nmea2000

import (
	"encoding/binary"
	"strings"
)

// Product is what a device says of itself on the network, in product
// information (PGN 126996). Texts are a stranger's, and shown only escaped.
type Product struct {
	Database      uint16 `json:"database"` // version of NMEA 2000 that it knows, in thousandths
	Code          uint16 `json:"product_code"`
	Model         string `json:"model_id"`
	Software      string `json:"software_version"`
	Hardware      string `json:"model_version"`
	Serial        string `json:"serial"`
	Certification uint8  `json:"certification"`
	Load          uint8  `json:"load"` // in steps of 50 mA
}

// Offsets of the fields, in bytes; texts have 32.
const (
	modelAt    = 4
	softwareAt = 36
	hardwareAt = 68
	serialAt   = 100
	textsEnd   = 132 // some devices leave out what follows
	fixedText  = 32
)

// decodeProduct reads product information; false where it is too short.
func decodeProduct(data []byte) (Product, bool) {
	if len(data) < textsEnd {
		return Product{}, false
	}
	p := Product{
		Database: binary.LittleEndian.Uint16(data),
		Code:     binary.LittleEndian.Uint16(data[2:]),
		Model:    fixed(data[modelAt:]),
		Software: fixed(data[softwareAt:]),
		Hardware: fixed(data[hardwareAt:]),
		Serial:   fixed(data[serialAt:]),
	}
	if len(data) >= productSize {
		p.Certification, p.Load = data[textsEnd], data[textsEnd+1]
	}
	return p, true
}

// fixed reads a text of fixed length: single-byte characters, filled up with
// zeros, 0xFF, spaces or @.
func fixed(data []byte) string {
	text := data[:fixedText]
	for i, c := range text {
		if c == 0 || c == 0xFF {
			text = text[:i]
			break
		}
	}
	var b strings.Builder
	for _, c := range text {
		b.WriteRune(rune(c))
	}
	return strings.TrimSpace(strings.TrimRight(b.String(), "@ "))
}

// Name is the NAME of an address claim (PGN 60928): what tells devices apart
// whatever their address. 0 is none.
type Name uint64

// Manufacturer is the code of its maker, as registered.
func (n Name) Manufacturer() uint16 { return uint16(n >> 21 & 0x7FF) }

// Unique is the number by which its maker tells it from others.
func (n Name) Unique() uint32 { return uint32(n & 0x1FFFFF) }
