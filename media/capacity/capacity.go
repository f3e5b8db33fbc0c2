// Package capacity proves that a card holds the bytes that it claims. Cards
// that overstate their size wrap or drop what is written past their true size
// while everything else about them looks normal.
//
// Every sector is written with its own offset and with bytes that follow from
// the offset and a random seed, flushed to the medium, and read back past every
// cache. Whatever is on the card is lost: the caller's guards come first.
package capacity

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"io"

	"cardwright/media"
)

// Form says how much of the card was written and read.
type Form string

// Only the full form proves a card's capacity. The quick form can find a card
// out, but what it doesn't probe it knows nothing about.
const (
	Full  Form = "full"
	Quick Form = "quick"
)

// Phase is what is being done to the card.
type Phase string

// The phases, in order.
const (
	Writing Phase = "writing"
	Syncing Phase = "syncing"
	Reading Phase = "reading"
)

// Options are how to test; the zero value is fine.
type Options struct {
	// Seed determines the bytes that are written; zero: a random one.
	Seed [32]byte
	// Reads is how often everything is read; zero: once. A second time
	// finds bytes that were right only once.
	Reads int
	// Progress is called with the bytes done of all that are to be written and
	// read; it may be nil.
	Progress func(phase Phase, done, total int64)
}

const sectorSize = media.SectorSize

// chunkBytes is the piece in which a card is written and read: the boundary
// unit of cards over 2 to 32 GB (SD File System Specification v3.00).
const chunkBytes = 4 << 20

// Prove writes and reads all of the card. The Result has the answer. An error says
// that the card could not be written, flushed or, in more than a few places, read,
// or that the context ended; nothing is proven then.
func Prove(ctx context.Context, card media.Medium, options Options) (Result, error) {
	return prove(ctx, Full, card, everything(card.Bytes()), options)
}

// Probe writes and reads chosen places: both ends, either side of every power of
// two, and random ones. What it doesn't try stays unknown.
func Probe(ctx context.Context, card media.Medium, options Options) (Result, error) {
	return prove(ctx, Quick, card, chosen(card.Bytes()), options)
}

func prove(ctx context.Context, form Form, card media.Medium, where places, options Options) (Result, error) {
	t, err := newTest(card, where, options)
	if err == nil {
		err = t.run(ctx)
	}
	if err != nil {
		return Result{}, fmt.Errorf("proving capacity: %w", err)
	}
	return t.tally.result(form, t.claimed), nil
}

// test is one run over a card.
type test struct {
	card    media.Medium
	claimed int64
	places  places
	options Options
	pattern *pattern
	tally   tally

	buffer      []byte // what is written, then what is expected
	found       []byte
	done, total int64
}

func newTest(card media.Medium, where places, options Options) (*test, error) {
	claimed := card.Bytes()
	if claimed <= 0 || claimed%sectorSize != 0 {
		return nil, fmt.Errorf("the card claims %d bytes: expected a whole number of %d-byte sectors", claimed, sectorSize)
	}
	if options.Seed == [32]byte{} {
		_, _ = rand.Read(options.Seed[:]) // never fails, by its documentation
	}
	options.Reads = max(1, options.Reads)
	return &test{
		card: card, claimed: claimed, places: where, options: options, pattern: newPattern(options.Seed), tally: newTally(),
		buffer: make([]byte, chunkBytes), found: make([]byte, chunkBytes),
		total: bytesOf(where) * int64(1+options.Reads),
	}, nil
}

// run writes from the card's end to its start: on a card that wraps, its start is
// written last and stays right, so that the first place that differs is its true
// size. A card that keeps the last writes in a cache of its own shows its far end
// wrong, too.
func (t *test) run(ctx context.Context) error {
	for i := t.places.count() - 1; i >= 0; i-- {
		if err := t.write(ctx, t.places.at(i)); err != nil {
			return err
		}
	}
	for range t.options.Reads {
		if err := t.readAll(ctx); err != nil {
			return err
		}
	}
	if now := t.card.Bytes(); now != t.claimed {
		return fmt.Errorf("the card claims %d bytes now, and %d before: it is failing", now, t.claimed)
	}
	return nil
}

func (t *test) readAll(ctx context.Context) error {
	if err := t.flush(); err != nil {
		return err
	}
	t.tally.startPass()
	for i := range t.places.count() {
		if err := t.read(ctx, t.places.at(i)); err != nil {
			return err
		}
	}
	return nil
}

func (t *test) write(ctx context.Context, s span) error {
	if err := ctx.Err(); err != nil {
		return err
	}
	content := t.buffer[:s.length]
	t.pattern.fill(content, s.offset)
	if n, err := t.card.WriteAt(content, s.offset); err != nil || n < len(content) {
		return fmt.Errorf("writing the card at byte %d: %w", s.offset+int64(n), shortOr(err, io.ErrShortWrite))
	}
	t.progress(Writing, s.length)
	return nil
}

func (t *test) flush() error {
	t.progress(Syncing, 0)
	if err := t.card.Sync(); err != nil {
		return fmt.Errorf("syncing the card: %w", err)
	}
	if err := t.card.Forget(); err != nil {
		return fmt.Errorf("dropping the caches of the card: %w", err)
	}
	return nil
}

// Places that can't be read are passed over in pieces of this length; with more
// than so many of them the card isn't worth the hours.
const (
	unreadableBytes = 64 << 10
	mostUnreadable  = 32
)

func (t *test) read(ctx context.Context, s span) error {
	for at := s.offset; at < s.end(); {
		if err := ctx.Err(); err != nil {
			return err
		}
		n, err := t.readPart(at, s.end())
		at += n
		if err != nil {
			if at, err = t.passOver(at, s.end(), err); err != nil {
				return err
			}
		}
	}
	t.progress(Reading, s.length)
	return nil
}

// readPart reads whole sectors up to an error, and judges them.
func (t *test) readPart(at, end int64) (int64, error) {
	part := t.found[:end-at]
	n, err := t.card.ReadAt(part, at)
	if n == len(part) && errors.Is(err, io.EOF) {
		err = nil
	}
	if n < len(part) {
		err = shortOr(err, io.ErrUnexpectedEOF)
	}
	if err != nil {
		n = min(n, len(part)-1) // an error is about something: not all of it was read
	}
	n -= n % sectorSize
	t.judge(part[:n], at)
	return int64(n), err
}

func (t *test) passOver(at, end int64, err error) (next int64, _ error) {
	length := min(unreadableBytes, end-at)
	t.tally.add(kindUnreadable, at, length, 0)
	if t.tally.unreadable++; t.tally.unreadable > mostUnreadable {
		return 0, fmt.Errorf("more than %d places of the card can't be read, the last at byte %d: %w", mostUnreadable, at, err)
	}
	return at + length, nil
}

func shortOr(err, short error) error {
	if err == nil || errors.Is(err, io.EOF) {
		return short
	}
	return err
}

func (t *test) progress(phase Phase, n int64) {
	t.done += n
	if t.options.Progress != nil {
		t.options.Progress(phase, t.done, t.total)
	}
}
