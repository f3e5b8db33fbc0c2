package ledger

import (
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"strings"
	"time"

	"cardwright/manifest/version"
)

// OrdSize is the length of a place in time, see Ord.
const OrdSize = 32

// Ord is the place of a statement among all others, as bytes that compare: by
// when it happened, then by writer, chain, place in the chain and id, so that
// every ledger with the same events orders them alike.
func Ord(at time.Time, s *Statement, id ID) []byte {
	ord := ordAt(at)
	chain := ChainKey(s.Writer, s.Chain)
	ord = append(ord, chain[:]...)
	ord = binary.BigEndian.AppendUint64(ord, uint64(s.Seq))
	return append(ord, id[:8]...)
}

// ChainID stands for a chain in a place in time.
type ChainID [8]byte

// ChainKey is the key of a writer's chain.
func ChainKey(writer, chain string) ChainID {
	sum := sha256.Sum256([]byte(writer + chain))
	return ChainID(sum[:8])
}

// PlaceOf reads chain and place in it back from a place in time; false where it
// isn't one.
func PlaceOf(ord []byte) (chain ChainID, seq int64, ok bool) {
	if len(ord) < OrdSize {
		return chain, 0, false
	}
	copy(chain[:], ord[8:16])
	return chain, int64(binary.BigEndian.Uint64(ord[16:24])), true
}

// typing is how long before it was written an event may have happened, to the
// clock of the machine: whoever answers questions takes a while. What is noted
// later than that was dated by a person.
const typing = time.Hour

// DatedByHand reports whether a person gave the moment at, of something that a
// statement says.
func (s *Statement) DatedByHand(at time.Time) bool {
	late := s.Written.Sub(at)
	return late > typing || late < -time.Minute
}

// ordAt is where the places of a moment begin.
func ordAt(at time.Time) []byte {
	return binary.BigEndian.AppendUint64(make([]byte, 0, OrdSize), uint64(at.Unix()))
}

// AtOf is the moment that a place in time is of, to the second.
func AtOf(ord []byte) time.Time {
	if len(ord) < 8 {
		return time.Time{}
	}
	return time.Unix(int64(binary.BigEndian.Uint64(ord)), 0).UTC()
}

// VersionKey is equal for two versions exactly where version.Compare calls
// them equal (1.01 and 1.1, 1.8 and 1.8-0); "" for none and for unknown. It
// is for looking up, not for showing.
func VersionKey(v version.V) string {
	if v == "" || v == version.Unknown {
		return ""
	}
	epoch, rest, ok := strings.Cut(string(v), ":")
	if !ok {
		epoch, rest = "0", string(v)
	}
	revision := "0"
	if i := strings.LastIndexByte(rest, '-'); i >= 0 {
		rest, revision = rest[:i], rest[i+1:]
	}
	return partKey(epoch) + ":" + partKey(rest) + "-" + partKey(revision)
}

// partKey writes every number of a part without leading zeros, and a number
// after every run without digits, as the comparison reads them.
func partKey(s string) string {
	var b strings.Builder
	for i := 0; i < len(s) || i == 0; {
		from := i
		for i < len(s) && !isDigit(s[i]) {
			i++
		}
		b.WriteString(s[from:i])
		from = i
		for i < len(s) && isDigit(s[i]) {
			i++
		}
		number := strings.TrimLeft(s[from:i], "0")
		if number == "" {
			number = "0"
		}
		b.WriteString(number)
		if s == "" {
			break
		}
	}
	return b.String()
}

func isDigit(c byte) bool { return c >= '0' && c <= '9' }

// Writer gives a writer's public key as statements name it.
func Writer(public []byte) string { return hex.EncodeToString(public) }
