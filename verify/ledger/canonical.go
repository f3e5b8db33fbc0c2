package ledger

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
)

// ID is an event's identity: the SHA-256 of its canonical form.
type ID [sha256.Size]byte

// String gives the 64 hex digits.
func (id ID) String() string { return hex.EncodeToString(id[:]) }

// Short gives the first 12 hex digits, for people.
func (id ID) Short() string { return hex.EncodeToString(id[:6]) }

// MarshalText writes the id as String does.
func (id ID) MarshalText() ([]byte, error) { return []byte(id.String()), nil }

// UnmarshalText reads what MarshalText wrote.
func (id *ID) UnmarshalText(text []byte) error {
	if len(text) != 2*len(id) {
		return fmt.Errorf("id of %d characters, expected %d hex digits", len(text), 2*len(id))
	}
	_, err := hex.Decode(id[:], text)
	return err
}

// ParseID reads 64 hex digits.
func ParseID(s string) (ID, error) {
	var id ID
	err := id.UnmarshalText([]byte(s))
	return id, err
}

// IDOf is the identity of an event with this content.
func IDOf(content []byte) ID { return sha256.Sum256(content) }

// Canonical writes a statement in the canonical form of RFC 8785 (JSON, keys
// sorted, no space, least escaping): the same statement always gives the same
// bytes.
func (s *Statement) Canonical() ([]byte, error) {
	if err := s.validate(); err != nil {
		return nil, err
	}
	return s.encode()
}

func (s *Statement) encode() ([]byte, error) {
	var out bytes.Buffer
	enc := json.NewEncoder(&out)
	enc.SetEscapeHTML(false)
	if err := enc.Encode(s); err != nil {
		return nil, fmt.Errorf("encoding event: %w", err)
	}
	content := bytes.TrimSuffix(out.Bytes(), []byte("\n"))
	if len(content) > MaxContent {
		return nil, fmt.Errorf("event of %d bytes, expected at most %d: split it", len(content), MaxContent)
	}
	return content, nil
}

// ErrNotCanonical says that content is no event this program could have
// written: not JSON, an unknown or a repeated key, another spelling.
var ErrNotCanonical = errors.New("not an event in its canonical form")

// Parse reads a canonical form. It accepts exactly the bytes that Canonical
// gives for some statement.
func Parse(content []byte) (Statement, error) {
	s, err := parse(content)
	if err != nil {
		return Statement{}, err
	}
	again, err := s.Canonical()
	if err != nil {
		return Statement{}, err
	}
	if !bytes.Equal(again, content) {
		return Statement{}, ErrNotCanonical
	}
	return s, nil
}

func parse(content []byte) (Statement, error) {
	if len(content) > MaxContent {
		return Statement{}, fmt.Errorf("event of %d bytes, expected at most %d", len(content), MaxContent)
	}
	dec := json.NewDecoder(bytes.NewReader(content))
	dec.DisallowUnknownFields()
	var s Statement
	if err := dec.Decode(&s); err != nil {
		return Statement{}, fmt.Errorf("%w: %w", ErrNotCanonical, err)
	}
	return s, nil
}

// Read decodes an event that was checked when it came into the ledger. It
// doesn't check it again.
func Read(id ID, content, signature []byte) (Event, error) {
	var s Statement
	if err := json.Unmarshal(content, &s); err != nil {
		return Event{}, fmt.Errorf("reading event %s: %w", id.Short(), err)
	}
	return Event{ID: id, Content: content, Signature: signature, Statement: s}, nil
}
