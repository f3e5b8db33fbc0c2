package ledger

import (
	"cmp"
	"crypto/ed25519"
	"crypto/rand"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"runtime"

	"golang.org/x/sync/errgroup"
)

// Signer holds a writer's private key. Sign returns the Ed25519 signature
// (RFC 8032) of the message itself, 64 bytes. It may be called from several
// goroutines at once.
type Signer interface {
	Public() ed25519.PublicKey
	Sign(message []byte) (signature []byte, err error)
}

// Key is a Signer with the private key in memory.
type Key ed25519.PrivateKey

// Public is the key that the writer is known by.
func (k Key) Public() ed25519.PublicKey {
	return ed25519.PrivateKey(k).Public().(ed25519.PublicKey)
}

// Sign never fails.
func (k Key) Sign(message []byte) ([]byte, error) {
	return ed25519.Sign(ed25519.PrivateKey(k), message), nil
}

// SignedMessage is what a signature is over. The words before the id keep a
// signature made for something else from being taken for an event's.
func SignedMessage(id ID) []byte { return []byte("cardwright ledger event " + id.String()) }

// Ways in which an event does not hold.
var (
	ErrDigest    = errors.New("the content doesn't match the event's id: it was changed")
	ErrSignature = errors.New("the signature isn't the writer's")
	ErrNewer     = errors.New("a newer cardwright wrote it: update cardwright on this computer")
)

// Sign fills in the writer and makes the event. It refuses a statement that
// isn't valid and a signature that doesn't verify.
func Sign(s Statement, signer Signer) (Event, error) {
	e, err := Draft(s, signer.Public())
	if err != nil {
		return Event{}, err
	}
	return e, e.Sign(signer)
}

// Draft fills in the writer and makes an event that isn't signed yet; its id is
// known, so that the next one can be linked to it.
func Draft(s Statement, writer ed25519.PublicKey) (Event, error) {
	s.Format = s.format()
	s.Writer = Writer(writer)
	content, err := s.Canonical()
	if err != nil {
		return Event{}, err
	}
	return Event{ID: IDOf(content), Content: content, Statement: s}, nil
}

// Sign signs a draft. It refuses a signature that doesn't verify.
func (e *Event) Sign(signer Signer) error {
	if err := e.sign(signer); err != nil {
		return err
	}
	if !ed25519.Verify(signer.Public(), SignedMessage(e.ID), e.Signature) {
		return fmt.Errorf("signing event: %w", ErrSignature)
	}
	return nil
}

func (e *Event) sign(signer Signer) (err error) {
	if e.Signature, err = signer.Sign(SignedMessage(e.ID)); err != nil {
		return fmt.Errorf("signing event: %w", err)
	}
	return nil
}

// SignAll signs drafts on all processors. It refuses a signature that doesn't
// verify; of a Key, which can't be right once and wrong the next time, it looks
// at the first.
func SignAll(events []Event, signer Signer) error {
	_, steady := signer.(Key)
	var group errgroup.Group
	workers := min(runtime.GOMAXPROCS(0), len(events))
	for w := range workers {
		group.Go(func() error {
			for i := w; i < len(events); i += workers {
				sign := events[i].Sign
				if steady && i > 0 {
					sign = events[i].sign
				}
				if err := sign(signer); err != nil {
					return fmt.Errorf("event %d of %d: %w", i+1, len(events), err)
				}
			}
			return nil
		})
	}
	return group.Wait()
}

// Verify reads an event from anywhere: its content must be canonical, give
// its id, and be signed with the key that it names. Whether that key is one
// the shop trusts is the caller's question.
func Verify(id ID, content, signature []byte) (Event, error) {
	if len(content) > MaxContent || IDOf(content) != id {
		return Event{}, ErrDigest
	}
	s, err := Parse(content)
	if err != nil {
		return Event{}, cmp.Or(newer(id, content, signature), err)
	}
	writer, err := hex.DecodeString(s.Writer)
	if err != nil {
		return Event{}, err
	}
	if !ed25519.Verify(writer, SignedMessage(id), signature) {
		return Event{}, ErrSignature
	}
	return Event{ID: id, Content: content, Signature: signature, Statement: s}, nil
}

// newer reports an event of a format that came after this build, whatever else
// it says: whole and signed, it was changed by nobody.
func newer(id ID, content, signature []byte) error {
	var s struct {
		Format int    `json:"format"`
		Writer string `json:"writer"`
	}
	if json.Unmarshal(content, &s) != nil || s.Format <= Newest {
		return nil
	}
	writer, err := hex.DecodeString(s.Writer)
	if err != nil || len(writer) != ed25519.PublicKeySize || !ed25519.Verify(writer, SignedMessage(id), signature) {
		return ErrSignature
	}
	return fmt.Errorf("event of format %d, expected %d: %w", s.Format, Newest, ErrNewer)
}

// NewVisit names a visit: 32 hex digits, by chance.
func NewVisit() string { return randomHex() }

// NewChain names a chain: 32 hex digits, by chance.
func NewChain() string { return randomHex() }

func randomHex() string {
	var b [16]byte
	rand.Read(b[:]) // never fails, crypto/rand
	return hex.EncodeToString(b[:])
}
