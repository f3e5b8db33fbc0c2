// Package digest identifies content: a digest, and a file by its
// name, size and digest. The same bytes have the same digest everywhere: in the
// catalogue, a plan, a layout, on a card, in the ledger. Digests of other kinds,
// which makers publish, are package intake's.
package digest

import (
	"crypto/sha256"
	"encoding/hex"
	"hash"
	"strings"
)

// SHA256 is a digest as 64 lower-case hex digits; "" where it isn't known.
type SHA256 string

// Of is the digest of content at hand.
func Of(content []byte) SHA256 {
	sum := sha256.Sum256(content)
	return SHA256(hex.EncodeToString(sum[:]))
}

// Sum is the digest of what was written to a SHA-256 hash.
func Sum(h hash.Hash) SHA256 { return SHA256(hex.EncodeToString(h.Sum(nil))) }

// Valid reports whether it has the form of a digest.
func (d SHA256) Valid() bool {
	return len(d) == sha256.Size*2 && strings.Trim(string(d), "0123456789abcdef") == ""
}

// Named is a digest as messages say it: SHA-256 and the digits.
func (d SHA256) Named() string { return "SHA-256 " + string(d) }

// Short is as much of a digest as people compare: the first 12 digits, or all of
// fewer.
func (d SHA256) Short() string { return string(d[:min(12, len(d))]) }

// File is a file by its name, its size in bytes and its digest.
type File struct {
	Name   string `json:"name"`
	Size   int64  `json:"size"`
	SHA256 SHA256 `json:"sha256"`
}
