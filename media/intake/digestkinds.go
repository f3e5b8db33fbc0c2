package intake

import (
	"cmp"
	"crypto/md5"
	"crypto/sha1"
	"crypto/sha256"
	"crypto/sha3"
	"crypto/sha512"
	"encoding/hex"
	"errors"
	"fmt"
	"hash"
	"hash/crc32"
	"io"
	"slices"
	"strings"

	"aead.dev/minisign"
	"golang.org/x/crypto/blake2b"
	"golang.org/x/crypto/blake2s"
	"golang.org/x/crypto/ripemd160" //lint:ignore SA1019 old lists have it; it is reported as a weak digest
	"lukechampine.com/blake3"

	"cardwright/manifest/digest"
	"cardwright/manifest/pattern"
)

// kind is a kind of digest, by the name that its standard gives it.
type kind string

// digestKind is what is known of a kind: how many hex digits it has, and whether it
// is strong, so that nobody can make other bytes fit it. A weak one shows an
// accident, not an attack.
type digestKind struct {
	kind   kind
	digits int
	strong bool
	hash   func() hash.Hash // nil: it is known by name, and can't be computed here
}

const sha256Kind kind = "SHA-256"

// digestKinds are the kinds, of each length the usual one first: FIPS 180-4,
// FIPS 202, RFC 7693 and, older, RFC 1321; those that makers publish, as far as
// is known. CRC-32 is that of IEEE 802.3.
var digestKinds = []digestKind{
	{sha256Kind, 64, true, sha256.New},
	{"SHA-512", 128, true, sha512.New},
	{"SHA-384", 96, true, sha512.New384},
	{"SHA-224", 56, true, sha256.New224},
	{"SHA3-256", 64, true, func() hash.Hash { return sha3.New256() }},
	{"BLAKE2s-256", 64, true, unkeyed(blake2s.New256)},
	{"BLAKE2b-256", 64, true, unkeyed(blake2b.New256)},
	{"BLAKE3", 64, true, func() hash.Hash { return blake3.New(32, nil) }},
	{"SHA-512/256", 64, true, sha512.New512_256},
	{"BLAKE2b-512", 128, true, unkeyed(blake2b.New512)},
	{"SHA3-512", 128, true, func() hash.Hash { return sha3.New512() }},
	{"SHA3-384", 96, true, func() hash.Hash { return sha3.New384() }},
	{"BLAKE2b-384", 96, true, unkeyed(blake2b.New384)},
	{"SHA3-224", 56, true, func() hash.Hash { return sha3.New224() }},
	{"SHA-512/224", 56, true, sha512.New512_224},
	{"SHA-1", 40, false, sha1.New},
	{"RIPEMD-160", 40, false, ripemd160.New},
	{"MD5", 32, false, md5.New},
	{"CRC-32", 8, false, func() hash.Hash { return crc32.NewIEEE() }},
	{"Whirlpool", 128, true, nil},
	{"Streebog", 0, true, nil},
	{"SM3", 64, true, nil},
	{"Tiger", 48, false, nil},
	{"MD4", 32, false, nil},
	{"a digest of another kind", 0, true, nil},
}

func unkeyed(make func(key []byte) (hash.Hash, error)) func() hash.Hash {
	return func() hash.Hash {
		h, _ := make(nil) // it fails for too long a key alone
		return h
	}
}

// traits is what is known of a kind; little more than its name where it is in no
// list.
func (k kind) traits() digestKind {
	i := slices.IndexFunc(digestKinds, func(d digestKind) bool { return d.kind == k })
	if i < 0 {
		return digestKind{kind: k}
	}
	return digestKinds[i]
}

// ofLength are the kinds that a digest of so many hex digits may be of, the
// usual one first. Eight digits may be anything, a day for instance.
func ofLength(digits int) (all []kind) {
	for _, d := range digestKinds {
		if d.digits == digits && d.hash != nil && digits > crcDigits {
			all = append(all, d.kind)
		}
	}
	return all
}

const crcDigits = 8

// kindWords is how a kind is written in lists, their names and their headings.
var kindWords = pattern.Of(`(?i)(sha)[-_ ]?3[-_ /]?(224|256|384|512)|(sha)(?:[-_ ]?2)?[-_ ]?512[-_/](224|256)|(sha)(?:[-_ ]?2)?[-_ ]?(1|224|256|384|512)|` +
	`(blake2b|blake2s|blake2|b2sums?)[-_ ]?(160|224|256|384|512)?|(blake[-_ ]?3|b3sums?)|(md5|md4)|(crc[-_ ]?32)|(rmd|ripemd)[-_ ]?160|(whirlpool)|(streebog|gost\w*)|(sm3)|(tiger)|(sfv)|(btih|ed2k|tth|aich)`)

// mention is where a text names a kind.
type mention struct {
	kind     kind
	from, to int
}

// kindsIn finds the kinds that a text names, as words of their own.
func kindsIn(text string) (all []mention) {
	for _, m := range kindWords.FindAllStringSubmatchIndex(text, -1) {
		if m[0] > 0 && isWordByte(text[m[0]-1]) && text[m[0]-1] != '_' {
			continue
		}
		rest := strings.ToLower(text[m[1]:])
		for _, end := range []string{"sums", "sum", "hash"} {
			if strings.HasPrefix(rest, end) {
				rest = rest[len(end):]
				break
			}
		}
		if rest != "" && isWordByte(rest[0]) && rest[0] != '_' {
			continue
		}
		if k := kindNamed(text, m); k != "" {
			all = append(all, mention{k, m[0], len(text) - len(rest)})
		}
	}
	return all
}

func isWordByte(b byte) bool {
	return b == '_' || b >= '0' && b <= '9' || b|0x20 >= 'a' && b|0x20 <= 'z' || b >= 0x80
}

// kindNamed is the kind of one match of kindWords.
func kindNamed(text string, m []int) kind {
	group := func(n int) string {
		if m[2*n] < 0 {
			return ""
		}
		return strings.ToLower(text[m[2*n]:m[2*n+1]])
	}
	switch {
	case group(1) != "":
		return kind("SHA3-" + group(2))
	case group(3) != "":
		return kind("SHA-512/" + group(4))
	case group(5) != "":
		return kind("SHA-" + group(6))
	case group(7) == "blake2s":
		return kind("BLAKE2s-" + cmp.Or(group(8), "256"))
	case group(7) != "":
		return kind("BLAKE2b-" + cmp.Or(group(8), "512"))
	}
	for i, k := range []kind{"BLAKE3", "MD", "CRC-32", "RIPEMD-160", "Whirlpool", "Streebog", "SM3", "Tiger", "CRC-32", "a digest of another kind"} {
		if g := group(9 + i); g != "" {
			if k == "MD" {
				return kind(strings.ToUpper(g))
			}
			return k
		}
	}
	return ""
}

// digests of one file, by their kind, in lower-case hex digits. Those that were not
// computed while the file was read are computed when they are asked for.
type digests struct {
	sha256 digest.SHA256
	others map[kind]string
	more   func(kinds []kind) (map[kind]string, error) // nil: there is no more
}

// compute adds the digests of these kinds that are missing.
func (d *digests) compute(kinds []kind) error {
	var missing []kind
	for _, k := range kinds {
		if _, ok := d.others[k]; !ok && k != sha256Kind && k.traits().hash != nil && !slices.Contains(missing, k) {
			missing = append(missing, k)
		}
	}
	if len(missing) == 0 || d.more == nil {
		return nil
	}
	more, err := d.more(missing)
	if err != nil {
		return err
	}
	if d.others == nil {
		d.others = map[kind]string{}
	}
	for k, sum := range more {
		d.others[k] = sum
	}
	return nil
}

// fitting is the kind by which a digest is this file's, or "".
func (d *digests) fitting(sum string, kinds []kind) kind {
	for _, k := range kinds {
		if k == sha256Kind && sum == string(d.sha256) || sum != "" && sum == d.others[k] {
			return k
		}
	}
	return ""
}

// hashers hash by several kinds at once.
type hashers map[kind]hash.Hash

func newHashers(kinds []kind) hashers {
	h := hashers{sha256Kind: sha256.New()}
	for _, k := range kinds {
		if k.traits().hash != nil && h[k] == nil {
			h[k] = k.traits().hash()
		}
	}
	return h
}

func (h hashers) Write(p []byte) (int, error) {
	for _, one := range h {
		one.Write(p) // never fails, by its documentation
	}
	return len(p), nil
}

func (h hashers) sums() map[kind]string {
	sums := map[kind]string{}
	for k, one := range h {
		sums[k] = hexOf(one.Sum(nil))
	}
	return sums
}

func hexOf(sum []byte) string { return hex.EncodeToString(sum) }

// hash reads the whole download, for its digests and for its signature where it has
// one.
func (x *examination) hash() error {
	var err error
	if x.evidence, err = readEvidence(x.request.Path, x.request.List); err != nil {
		return err
	}
	sums := newHashers(x.evidence.usual())
	var in io.Reader = x.file
	if x.evidence.signature != nil {
		x.hashed = minisign.NewReader(x.file)
		in = x.hashed
	}
	n, err := copyAll(x.ctx, io.MultiWriter(sums, &x.shape), in, x.progress)
	if err != nil {
		return fmt.Errorf("reading the download: %w", err)
	}
	if info, err := x.file.Stat(); err != nil || info.Size() != n || n != x.content.size {
		return errors.Join(err, x.refuse("a download that is still being written", fmt.Sprintf("%d bytes read", n), fmt.Sprintf("%d bytes, as at the start", x.content.size), "wait until it is finished"))
	}
	all := sums.sums()
	x.sums = digests{sha256: digest.SHA256(all[sha256Kind]), others: all, more: x.rehash}
	x.content.head = make([]byte, min(x.content.size, headBytes))
	if _, err := x.file.ReadAt(x.content.head, 0); err != nil && !errors.Is(err, io.EOF) {
		return fmt.Errorf("reading the download: %w", err)
	}
	return nil
}

// rehash reads the download once more, for digests of other kinds. They count only
// where the bytes are still the same.
func (x *examination) rehash(kinds []kind) (map[kind]string, error) {
	sums := newHashers(kinds)
	if _, err := copyAll(x.ctx, sums, io.NewSectionReader(x.file, 0, x.content.size), nil); err != nil {
		return nil, fmt.Errorf("reading the download: %w", err)
	}
	all := sums.sums()
	if now := digest.SHA256(all[sha256Kind]); now != x.sums.sha256 {
		return nil, x.refuse("a download that is still being written", now.Named(), x.sums.sha256.Named()+", as in the first read", "wait until it is finished")
	}
	return all, nil
}
