package verify

import (
	"context"
	"errors"
	"fmt"
	"io"

	"cardwright/media"
)

// readAhead is the largest size of the two blocks that go round between reading
// and hashing, in bytes.
const readAhead = 2 << 20

// overlapped reads in to its end and hands each piece to take, reading the
// next piece meanwhile. block is the size of a piece.
func overlapped(ctx context.Context, in io.Reader, block int64, take func([]byte)) error {
	type piece struct {
		bytes []byte
		err   error
	}
	full, empty := make(chan piece, 1), make(chan []byte, 2)
	empty <- make([]byte, block)
	empty <- make([]byte, block)
	go func() {
		defer close(full)
		for buffer := range empty {
			n, err := io.ReadFull(in, buffer)
			full <- piece{buffer[:n], err}
			if err != nil || ctx.Err() != nil {
				return
			}
		}
	}()
	for p := range full {
		take(p.bytes)
		if p.err != nil {
			return endOf(p.err)
		}
		if err := ctx.Err(); err != nil {
			close(empty)
			for range full { // let the reader end
			}
			return err
		}
		empty <- p.bytes[:block]
	}
	return ctx.Err()
}

func endOf(err error) error {
	if errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF) {
		return nil
	}
	return err
}

// read hands the whole content of a file to take, piece by piece.
func (f file) read(ctx context.Context, take func([]byte)) error {
	in, err := f.open()
	if err != nil {
		return err
	}
	defer in.Close()
	block := max(0, min(f.size, readAhead-1)) + 1 // one more than the file has, to find its end at once
	return overlapped(ctx, in, block, take)
}

// content is a small file's content.
func (f file) content() ([]byte, error) {
	in, err := f.open()
	if err != nil {
		return nil, err
	}
	defer in.Close()
	return io.ReadAll(io.LimitReader(in, media.MaxRecordBytes))
}

// firstDifference names the first byte that differs, where the package is at
// hand, or else the first MiB, where running digests are.
func (j *judging) firstDifference(f media.RecordFile, e file) string {
	if at, ok := j.againstPackage(f, e); ok {
		return fmt.Sprintf(", first different at byte %d of the file (MiB %d)", at, at/media.BlockSize)
	}
	want := f.Running
	if found, err := media.DecodeRecord(j.own[media.RecordPath]); err == nil {
		want = runningOf(found, f)
	}
	for i, d := range j.running[e.path] {
		if i < len(want) && d != want[i] {
			return fmt.Sprintf(", first different in MiB %d of the file (bytes %d to %d)",
				i, i*media.BlockSize, min(int64(i+1)*media.BlockSize, f.Size)-1)
		}
	}
	return ""
}

// runningOf takes running digests from the card's record only where it agrees
// on what the file should be.
func runningOf(r media.Record, f media.RecordFile) []string {
	for _, c := range r.Files {
		if c.Path == f.Path && c.SHA256 == f.SHA256 && c.Size == f.Size {
			return c.Running
		}
	}
	return nil
}

// againstPackage compares the file with its package, byte for byte. A package
// that can't be read, or is the same as the file, tells nothing.
func (j *judging) againstPackage(f media.RecordFile, e file) (at int64, ok bool) {
	if j.expected == nil || j.expected.Package == nil {
		return 0, false
	}
	return j.against(e, func() (io.ReadCloser, error) { return j.expected.Package(f.Path) }, f.Size)
}
