package verify

import (
	"bytes"
	"context"
	"fmt"
	"io"

	"cardwright/manifest/digest"
	"cardwright/media"
)

// How a file in its place compares with what is wanted there.
type state int

const (
	same state = iota
	differs
	unread // it has the right size, and couldn't be read to its end
)

func (p pairing) state() state {
	switch {
	case p.found.is(p.want.SHA256):
		return same
	case p.found.SHA256 == "" && p.found.Size == p.want.Size:
		return unread
	}
	return differs
}

// comparer finds where files differ from what is wanted.
type comparer struct {
	ctx      context.Context
	own      map[string][]byte
	expected Expected
}

func (c comparer) pair(want media.RecordFile, found *file) pairing {
	p := pairing{want: want, found: found}
	if p.state() != differs {
		return p
	}
	if found.Size == want.Size {
		p.difference = c.firstDifference(p)
	} else {
		p.beginning = c.isBeginning(p)
	}
	return p
}

// open opens the package of a wanted file.
func (c comparer) open(want media.RecordFile) func() (io.ReadCloser, error) {
	if c.expected.Package == nil {
		return nil
	}
	return func() (io.ReadCloser, error) { return c.expected.Package(want.Path) }
}

// firstDifference names the first byte that differs, where the package is at
// hand, or else the first MiB, where running digests are.
func (c comparer) firstDifference(p pairing) string {
	if at, ok := firstOtherByte(c.ctx, p.found, c.open(p.want), p.want.Size); ok {
		return differsAt(at)
	}
	want := p.want.Running
	if found, err := media.DecodeRecord(c.own[media.RecordPath]); err == nil {
		want = runningOf(found, p.want)
	}
	for i, d := range p.found.Running {
		if i < len(want) && d != want[i] {
			return fmt.Sprintf(", first different in MiB %d of the file (bytes %d to %d)",
				i, i*media.BlockSize, min(int64(i+1)*media.BlockSize, p.want.Size)-1)
		}
	}
	return ""
}

func differsAt(at int64) string {
	return fmt.Sprintf(", first different at byte %d of the file (MiB %d)", at, at/media.BlockSize)
}

// runningOf takes running digests from the card's record only where it agrees
// on what the file should be.
func runningOf(r media.Record, f media.RecordFile) []digest.SHA256 {
	for _, c := range r.Files {
		if c.Path == f.Path && c.SHA256 == f.SHA256 && c.Size == f.Size {
			return c.Running
		}
	}
	return nil
}

// firstOtherByte finds the first byte in which a file differs from a package of
// a size. A package that can't be read, or is the same as the file, proves nothing.
func firstOtherByte(ctx context.Context, f *file, pkg func() (io.ReadCloser, error), size int64) (at int64, ok bool) {
	if pkg == nil {
		return 0, false
	}
	want, err := pkg()
	if err != nil {
		return 0, false
	}
	defer want.Close()
	got, err := f.open()
	if err != nil {
		return 0, false
	}
	defer got.Close()
	a, b := make([]byte, media.BlockSize), make([]byte, media.BlockSize)
	for at < size && ctx.Err() == nil {
		n, errGot := io.ReadFull(got, a)
		m, errWant := io.ReadFull(want, b)
		n = min(n, m)
		if !bytes.Equal(a[:n], b[:n]) {
			return at + int64(firstOther(a[:n], b[:n])), true
		}
		if errGot != nil || errWant != nil {
			break
		}
		at += int64(n)
	}
	return 0, false
}

func firstOther(a, b []byte) int {
	n := min(len(a), len(b))
	for i := range n {
		if a[i] != b[i] {
			return i
		}
	}
	return n
}
