package capacity

import (
	"bytes"
	"crypto/aes"
	"crypto/cipher"
	"encoding/binary"
	"math/bits"
)

// pattern is what belongs at every offset of a card. A sector holds its offset (8
// bytes, little-endian), a mark of this run (8 bytes), and 496 bytes of the
// AES-256-CTR stream of the seed at that offset. So a sector tells where it was
// written and in which run, and can't be compressed or made up.
type pattern struct {
	block cipher.Block
	mark  [8]byte
}

const headBytes = 16

func newPattern(seed [32]byte) *pattern {
	block, err := aes.NewCipher(seed[:])
	if err != nil { // only for keys of another length
		panic(err)
	}
	p := &pattern{block: block}
	var mark [aes.BlockSize]byte
	block.Encrypt(mark[:], bytes.Repeat([]byte{0xFF}, aes.BlockSize))
	copy(p.mark[:], mark[:])
	return p
}

// fill writes the sectors that belong at an offset into content. Both are whole
// numbers of sectors.
func (p *pattern) fill(content []byte, offset int64) {
	var counter [aes.BlockSize]byte
	binary.BigEndian.PutUint64(counter[8:], uint64(offset)/aes.BlockSize)
	clear(content)
	cipher.NewCTR(p.block, counter[:]).XORKeyStream(content, content)
	for at := 0; at < len(content); at += sectorSize {
		binary.LittleEndian.PutUint64(content[at:], uint64(offset)+uint64(at))
		copy(content[at+8:], p.mark[:])
	}
}

// Kind is how a sector differs from what was written.
type Kind string

// The kinds.
const (
	kindElsewhere  Kind = "elsewhere"  // it was written at another offset
	kindBlank      Kind = "blank"      // all zeros or all ones, as if never written
	kindOther      Kind = "other"      // it is not from this run: older content, or noise
	kindCorrupted  Kind = "corrupted"  // it is the right one with some bits wrong
	kindUnreadable Kind = "unreadable" // the card answered with an error
	good           Kind = ""
)

// kindOf compares one sector found at an offset with what belongs there. For a
// sector from elsewhere it also gives the offset at which it was written.
func (p *pattern) kindOf(found, want []byte, claimed int64) (kind Kind, from int64) {
	switch {
	case bytes.Equal(found, want):
		return good, 0
	case isAlike(found, want):
		return kindCorrupted, 0
	}
	if from, ok := p.writtenAt(found, claimed); ok {
		return kindElsewhere, from
	}
	if isFilled(found, 0x00) || isFilled(found, 0xFF) {
		return kindBlank, 0
	}
	return kindOther, 0
}

// writtenAt is the offset at which a sector of this run was written, even if a few
// of its bits are wrong.
func (p *pattern) writtenAt(found []byte, claimed int64) (int64, bool) {
	from := int64(binary.LittleEndian.Uint64(found))
	if !bytes.Equal(found[8:headBytes], p.mark[:]) || from < 0 || from > claimed-sectorSize || from%sectorSize != 0 {
		return 0, false
	}
	var meant [sectorSize]byte
	p.fill(meant[:], from)
	return from, isAlike(found, meant[:])
}

// isAlike tells a sector with faults from another one: two of random bits differ in
// half of them, so the cut is a quarter.
func isAlike(a, b []byte) bool {
	different := 0
	for i := 0; i < len(a); i += 8 {
		different += bits.OnesCount64(binary.NativeEndian.Uint64(a[i:]) ^ binary.NativeEndian.Uint64(b[i:]))
	}
	return different < sectorSize*8/4
}

// isFilled reports whether all bytes of a sector are this one.
func isFilled(sector []byte, with byte) bool {
	return sector[0] == with && bytes.Equal(sector[1:], sector[:len(sector)-1])
}

// judge compares what was found at an offset with what belongs there.
func (t *test) judge(found []byte, offset int64) {
	want := t.buffer[:len(found)]
	t.pattern.fill(want, offset)
	if bytes.Equal(found, want) {
		t.tally.add(good, offset, int64(len(found)), 0)
		return
	}
	for at := 0; at < len(found); at += sectorSize {
		kind, from := t.pattern.kindOf(found[at:at+sectorSize], want[at:at+sectorSize], t.claimed)
		t.tally.add(kind, offset+int64(at), sectorSize, from)
	}
}
