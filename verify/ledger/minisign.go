package ledger

import (
	"crypto/ed25519"
	"encoding/base64"
	"fmt"
	"strings"

	"aead.dev/minisign"
)

// Minisign makes a Signer of a key that is kept in the form of minisign:
// public is the public key as minisign writes it, and sign gives the
// signature file of a message. The signature must be over the message itself,
// not over its hash; only its 64 bytes go into the ledger.
func Minisign(public string, sign func(message []byte) ([]byte, error)) (Signer, error) {
	key, err := minisignPublic(public)
	if err != nil {
		return nil, err
	}
	return minisignSigner{key, sign}, nil
}

// MinisignWriter is how statements name the writer with this public key.
func MinisignWriter(public string) (string, error) {
	key, err := minisignPublic(public)
	return Writer(key), err
}

// A public key's raw form is "Ed", an id of eight bytes, and the key.
const minisignHead = 2 + 8

func minisignPublic(text string) (ed25519.PublicKey, error) {
	var key minisign.PublicKey
	if err := key.UnmarshalText([]byte(text)); err != nil {
		return nil, fmt.Errorf("reading public key: %w", err)
	}
	raw, err := base64.StdEncoding.DecodeString(key.String())
	if err != nil || len(raw) != minisignHead+ed25519.PublicKeySize || !strings.HasPrefix(string(raw), "Ed") {
		return nil, fmt.Errorf("reading public key: found %d bytes, expected %d beginning Ed", len(raw), minisignHead+ed25519.PublicKeySize)
	}
	return raw[minisignHead:], nil
}

type minisignSigner struct {
	public ed25519.PublicKey
	sign   func([]byte) ([]byte, error)
}

func (s minisignSigner) Public() ed25519.PublicKey { return s.public }

func (s minisignSigner) Sign(message []byte) ([]byte, error) {
	text, err := s.sign(message)
	if err != nil {
		return nil, err
	}
	var signature minisign.Signature
	if err := signature.UnmarshalText(text); err != nil {
		return nil, fmt.Errorf("reading signature: %w", err)
	}
	if signature.Algorithm != minisign.EdDSA {
		return nil, fmt.Errorf("the signature is over the message's hash, expected one over the message itself")
	}
	return signature.Signature[:], nil
}
