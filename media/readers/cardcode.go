package readers

import (
	"crypto/sha256"
	"encoding/binary"
	"errors"
	"fmt"
	"hash"
	"io"
	"math/big"
	"slices"
	"strings"
)

// codeAlphabet has no letters or digits that look alike (0 O, 1 I L), and no
// vowels, so that it spells no words.
const codeAlphabet = "23456789BCDFGHJKMNPQRSTVWXYZ"

const (
	codeLength = 8
	codeGroup  = 4
	codeReads  = 1 << 20 // bytes of the card that go into it
)

// Code is a short code for the card itself, such as K7PM-2XWD: a digest of its
// size, its first MiB and the names in its root folder, in any order. (The serial
// of a reader is the same whatever card is in it.) Another card has another code,
// but for one pair in 3 × 10^11. A card whose first MiB can't be read has no code.
func Code(card io.ReaderAt, bytes int64, rootListing []string) (string, error) {
	digest := sha256.New()
	addTo(digest, []byte("cardwright code 1"))
	addTo(digest, binary.BigEndian.AppendUint64(nil, uint64(bytes)))
	first := make([]byte, max(0, min(bytes, codeReads)))
	if n, err := card.ReadAt(first, 0); n < len(first) {
		if err == nil || errors.Is(err, io.EOF) {
			err = io.ErrUnexpectedEOF
		}
		return "", fmt.Errorf("reading the card's first %d bytes for its code: %w", len(first), err)
	}
	addTo(digest, first)
	for _, name := range slices.Sorted(slices.Values(rootListing)) {
		addTo(digest, []byte(name))
	}
	return codeText(digest.Sum(nil)), nil
}

// addTo adds a part with its length before it: no two lists of parts give the same
// bytes.
func addTo(digest hash.Hash, part []byte) {
	digest.Write(binary.BigEndian.AppendUint64(nil, uint64(len(part))))
	digest.Write(part)
}

func codeText(sum []byte) string {
	var code strings.Builder
	rest, letter, base := new(big.Int).SetBytes(sum), new(big.Int), big.NewInt(int64(len(codeAlphabet)))
	for i := range codeLength {
		if i > 0 && i%codeGroup == 0 {
			code.WriteByte('-')
		}
		rest.DivMod(rest, base, letter)
		code.WriteByte(codeAlphabet[letter.Int64()])
	}
	return code.String()
}

// SameCode compares a code with what a person typed, in any case, with or without
// spaces and hyphens. An empty code matches nothing.
func SameCode(code, typed string) bool {
	code, typed = bareCode(code), bareCode(typed)
	return len(code) == codeLength && code == typed
}

func bareCode(code string) string {
	return strings.ToUpper(strings.NewReplacer("-", "", " ", "").Replace(code))
}
