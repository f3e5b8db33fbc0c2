package tables

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"unicode/utf16"
	"unicode/utf8"

	"golang.org/x/text/encoding/charmap"

	"cardwright/manifest"
)

// text reads a table in UTF-8, or in UTF-16 with its mark, as spreadsheets save
// "Unicode text". Nothing tells other encodings apart: a guess would
// put wrong letters into names.
func (t *tableReader) text(data []byte) {
	for _, order := range []interface {
		binary.ByteOrder
		binary.AppendByteOrder
	}{binary.LittleEndian, binary.BigEndian} {
		mark := order.AppendUint16(nil, byteOrderMark)
		if rest, ok := bytes.CutPrefix(data, mark); ok && len(rest)%2 == 0 {
			units := make([]uint16, len(rest)/2)
			for i := range units {
				units[i] = order.Uint16(rest[2*i:])
			}
			data = []byte(string(utf16.Decode(units)))
		}
	}
	if at := firstInvalid(data); at >= 0 {
		line := bytes.LastIndexByte(data[:at], '\n') + 1
		t.mistake(manifest.Pos{File: t.table.name, Line: bytes.Count(data[:at], []byte("\n")) + 1, Column: utf8.RuneCount(data[line:at]) + 1}, "not text in UTF-8",
			fmt.Sprintf("the byte 0x%02X, as in a table that was saved in another encoding", data[at]), "a table saved as CSV in UTF-8",
			`save it again: spreadsheets have "CSV UTF-8" or ask for the encoding`)
		return
	}
	t.read(data)
}

const byteOrderMark = 0xFEFF

// firstInvalid is the place of the first byte that is no part of UTF-8, or -1.
func firstInvalid(data []byte) int {
	for at := 0; at < len(data); {
		r, n := utf8.DecodeRune(data[at:])
		if r == utf8.RuneError && n <= 1 {
			return at
		}
		at += n
	}
	return -1
}

// FromLatin1 gives a table that was filled in aboard as UTF-8. A table that isn't in
// UTF-8 is taken for Latin-1 as Windows writes it (Windows-1252), which old spreadsheets
// and some phones save: latin1 reports that, since its letters are then a guess.
// Bytes that have no letter there are left as they are, to be refused.
func FromLatin1(data []byte) (text []byte, latin1 bool) {
	utf16 := bytes.HasPrefix(data, []byte("\xff\xfe")) || bytes.HasPrefix(data, []byte("\xfe\xff"))
	if utf8.Valid(data) || utf16 || bytes.IndexByte(data, 0) >= 0 {
		return data, false
	}
	letters := make([]rune, len(data))
	for i, b := range data {
		if letters[i] = charmap.Windows1252.DecodeByte(b); letters[i] == utf8.RuneError {
			return data, false
		}
	}
	return []byte(string(letters)), true
}
