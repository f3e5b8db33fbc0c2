// Package keys signs the records on cards and checks their signatures, in the
// form of minisign (Ed25519), so that its tool and libraries can check them
// without cardwright. Whose keys are trusted is the shop's to say. The shop's own
// key is made readable by its user alone, and one that others may read is refused.
package keys

import (
	"bytes"
	"crypto/ed25519"
	"crypto/rand"
	"encoding/base64"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"unicode"
	"unicode/utf8"

	"aead.dev/minisign"

	"cardwright/manifest/durable"
	"cardwright/media/place"
)

// The comments in every signature. They are fixed, so that the same record
// signed with the same key gives the same bytes.
const (
	trustedComment   = "record of a memory card"
	untrustedComment = "signature from cardwright"
)

// maxKeyFile and MaxSignature bound what is read, in bytes; both kinds of file
// have a few hundred.
const (
	maxKeyFile   = 4 << 10
	MaxSignature = 1 << 10
)

// Key is a shop's own signing key.
type Key struct{ private minisign.PrivateKey }

// ErrNoPlace says that the folder of the user's settings isn't known, and so
// whether there is a key.
var ErrNoPlace = errors.New("the folder for your key isn't known")

// Place is where a technician's key is kept unless another place is named: in the
// user's folder for settings. It wraps ErrNoPlace where the environment names none.
// A relative XDG_CONFIG_HOME is ignored, as the XDG Base Directory Specification
// 0.8 asks; Windows and macOS don't use it at all.
func Place() (string, error) {
	dir, err := os.UserConfigDir()
	home, homeErr := os.UserHomeDir()
	if xdg := os.Getenv("XDG_CONFIG_HOME"); runtime.GOOS != "windows" && runtime.GOOS != "darwin" && xdg != "" && !filepath.IsAbs(xdg) && homeErr == nil {
		dir, err = filepath.Join(home, ".config"), nil
	}
	if err == nil && !filepath.IsAbs(dir) {
		err = fmt.Errorf("%s is not an absolute path", dir)
	}
	if err != nil {
		return "", fmt.Errorf("%w (%w)", ErrNoPlace, err)
	}
	return filepath.Join(dir, "cardwright", "shop.key"), nil
}

// There is a key that already is where one was to be made. It was left as it is.
type There struct{ Path string }

func (e *There) Error() string {
	return "there is a key at " + e.Path + " already; it was left as it is"
}

// ErrOthersRead says what to do where a file system keeps no permissions.
var ErrOthersRead = errors.New("name a place on this computer's own drive")

// New makes a key and keeps it at path, readable by its owner alone. Where the file
// system can't do that, it makes none. A key that is there already (There) is never
// replaced: cards were signed with it.
func New(path string) (Key, error) {
	_, private, err := minisign.GenerateKey(rand.Reader)
	if err != nil {
		return Key{}, fmt.Errorf("making a key: %w", err)
	}
	text, err := private.MarshalText()
	if err != nil {
		return Key{}, fmt.Errorf("making a key: %w", err)
	}
	if err := place.MayMake(path); err != nil {
		return Key{}, fmt.Errorf("keeping the key: %w", err)
	}
	err = writeOwn(path, append(text, '\n'))
	switch {
	case errors.Is(err, fs.ErrExist):
		return Key{}, &There{path}
	case err != nil:
		return Key{}, fmt.Errorf("keeping the key: %w", err)
	}
	return Key{private}, nil
}

// writeOwn writes a key to a new file that only its owner may read from the first
// byte on. Where a file exists already the error wraps fs.ErrExist.
func writeOwn(path string, text []byte) error {
	if err := durable.MakeFolders(filepath.Dir(path), 0o700); err != nil {
		return err
	}
	f, err := createOwn(path)
	if err != nil {
		return err
	}
	if err = ownAlone(f); err == nil {
		_, err = f.Write(text)
	}
	if err = errors.Join(err, f.Sync(), f.Close()); err == nil {
		err = durable.RenameNew(f.Name(), path)
	}
	if err != nil {
		return errors.Join(err, os.Remove(f.Name()))
	}
	return nil
}

// ownAlone refuses a file that others may read although it was made for its owner
// alone: the file system of a memory stick keeps no permissions.
func ownAlone(f *os.File) error {
	others, err := readByOthers(f)
	if err == nil && others != "" {
		err = fmt.Errorf("others could read the key there (%s): %w", others, ErrOthersRead)
	}
	return err
}

// Load reads the key at path. It wraps fs.ErrNotExist where there is none, and
// refuses one that others may read.
func Load(path string) (Key, error) {
	f, err := os.Open(path)
	if err != nil {
		return Key{}, fmt.Errorf("reading the key: %w", err)
	}
	defer f.Close()
	others, err := readByOthers(f)
	if err != nil {
		return Key{}, fmt.Errorf("reading the key: can't tell who may read %s: %w", path, err)
	}
	if others != "" {
		return Key{}, fmt.Errorf("reading the key: others may read %s (%s): %s; if somebody has read it, make a new key", path, others, keepOthersOut)
	}
	text, err := io.ReadAll(io.LimitReader(f, maxKeyFile+1))
	if err != nil {
		return Key{}, fmt.Errorf("reading the key: %w", err)
	}
	if len(text) > maxKeyFile || minisign.IsEncrypted(text) {
		return Key{}, fmt.Errorf("reading the key: %s isn't a key that cardwright made", path)
	}
	var k Key
	if err := k.private.UnmarshalText(text); err != nil {
		return Key{}, fmt.Errorf("reading the key: %s: %w", path, err)
	}
	return k, nil
}

// Public is the public half in one line, as shop.yaml has it.
func (k Key) Public() string {
	return k.private.Public().(minisign.PublicKey).String()
}

// Sign is the signature file of a record. Its length is always the same.
func (k Key) Sign(record []byte) ([]byte, error) {
	return minisign.SignWithComments(k.private, record, trustedComment, untrustedComment), nil
}

// Signer is who signed a record, as far as Check can tell.
type Signer int

// The outcomes of a check.
const (
	Unsigned Signer = iota // no signature
	Nobody                 // a signature that doesn't fit the record, or by a key that isn't trusted
	Known                  // signed by a key that is trusted
)

// Check finds which of the trusted public keys has signed the record, by its index
// among them.
func Check(record, signature []byte, trusted []string) (Signer, int) {
	if len(signature) == 0 {
		return Unsigned, -1
	}
	if !isAsWritten(signature) {
		return Nobody, -1
	}
	for i, text := range trusted {
		var public minisign.PublicKey
		if err := public.UnmarshalText([]byte(text)); err != nil {
			continue // manifest has checked its form; a key that is none signs nothing
		}
		if minisign.Verify(public, record, signature) {
			return Known, i
		}
	}
	return Nobody, -1
}

// InForm reports whether a text is a signature in minisign's form, whoever made it,
// and nothing else.
func InForm(text []byte) bool {
	_, ok := parseSignature(text)
	return ok
}

func parseSignature(text []byte) (s minisign.Signature, ok bool) {
	if len(text) > MaxSignature || s.UnmarshalText(text) != nil {
		return s, false
	}
	again, err := s.MarshalText()
	control := bytes.ContainsFunc(text, func(r rune) bool { return r != '\n' && unicode.IsControl(r) || r == utf8.RuneError })
	return s, err == nil && bytes.Equal(text, again) && !control
}

// isAsWritten reports whether the text of a signature is just what Sign writes. Its
// first comment isn't signed, so it could say anything.
func isAsWritten(text []byte) bool {
	s, ok := parseSignature(text)
	return ok && s.UntrustedComment == untrustedComment
}

// The places of the keys in minisign's formats: after the algorithm, checksum
// algorithms, salt and limits of the private one; after the algorithm and the
// key's number of the public one.
const (
	privateAt = 2 + 2 + 2 + 32 + 8 + 8 + 8
	publicAt  = 2 + 8
)

// Ed25519 is the key itself (RFC 8032), for signing other things than records.
func (k Key) Ed25519() (ed25519.PrivateKey, error) {
	text, err := k.private.MarshalText()
	if err != nil {
		return nil, fmt.Errorf("decoding the key: %w", err)
	}
	raw, err := decoded(string(text), privateAt+ed25519.PrivateKeySize)
	if err != nil {
		return nil, err
	}
	return ed25519.PrivateKey(raw[privateAt : privateAt+ed25519.PrivateKeySize]), nil
}

// PublicEd25519 is the key in a line that Public gave.
func PublicEd25519(public string) (ed25519.PublicKey, error) {
	raw, err := decoded(public, publicAt+ed25519.PublicKeySize)
	if err != nil {
		return nil, err
	}
	return ed25519.PublicKey(raw[publicAt:]), nil
}

// decoded is the last line of a key's text, at least that many bytes.
func decoded(text string, least int) ([]byte, error) {
	lines := strings.Split(strings.TrimSpace(text), "\n")
	raw, err := base64.StdEncoding.DecodeString(lines[len(lines)-1])
	if err != nil || len(raw) < least {
		return nil, errors.New("decoding the key: it isn't in minisign's form")
	}
	return raw, nil
}
