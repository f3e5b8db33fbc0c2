package media

import (
	"bytes"
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"hash"
	"io"
)

// saveBlock is how much of a card is copied at a time, in bytes.
const saveBlock = 1 << 20

// Save copies a whole card, sector by sector, and reads the copy back. It is nil
// only when both hold the same bytes. Blocks of zeros are not written: the copy
// must be all zeros to begin with. progress, which may be nil, gets the
// number of bytes of each step, in copying and again in reading back.
func Save(ctx context.Context, from, to Medium, progress Progress) error {
	if from.Bytes() != to.Bytes() {
		return fmt.Errorf("saving the card: it holds %d bytes, the copy %d", from.Bytes(), to.Bytes())
	}
	read, err := readThrough(ctx, from, func(block []byte, at int64) error {
		if progress != nil {
			progress(Writing, int64(len(block)))
		}
		if len(bytes.TrimLeft(block, "\x00")) == 0 {
			return nil
		}
		_, err := to.WriteAt(block, at)
		return err
	})
	if err != nil {
		return fmt.Errorf("saving the card: %w", err)
	}
	if err := errors.Join(to.Sync(), to.Forget()); err != nil {
		return fmt.Errorf("saving the card: %w", err)
	}
	written, err := readThrough(ctx, to, func(block []byte, _ int64) error {
		if progress != nil {
			progress(ReadingBack, int64(len(block)))
		}
		return nil
	})
	if err != nil {
		return fmt.Errorf("reading the saved card back: %w", err)
	}
	if !bytes.Equal(read.Sum(nil), written.Sum(nil)) {
		return &Misread{errors.New("the saved copy of the card"), "save it to another disk"}
	}
	return nil
}

// readThrough reads a medium from end to end, hashes it and hands out each block.
func readThrough(ctx context.Context, m Medium, each func(block []byte, at int64) error) (hash.Hash, error) {
	sum := sha256.New()
	buffer := alignedBytes(saveBlock)
	for at := int64(0); at < m.Bytes(); {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		block := buffer[:min(int64(len(buffer)), m.Bytes()-at)]
		if n, err := m.ReadAt(block, at); n < len(block) {
			if err == nil || errors.Is(err, io.EOF) {
				err = io.ErrUnexpectedEOF
			}
			return nil, err
		}
		sum.Write(block)
		if err := each(block, at); err != nil {
			return nil, err
		}
		at += int64(len(block))
	}
	return sum, nil
}
